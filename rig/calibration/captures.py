"""Captures at one pose of the board, and checks that they suit a fit."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from rig.calibration.model import Vector
from rig.calibration.reference import ReferenceReading, Turned
from rig.errors import BadInputError

MIN_POINTS = 6
SPAN_DEG = (9.0, 36.0)
"""Range of span points: 10° to 35° with 1° of tolerance on either side."""
MIN_RANGE_DEG = 15.0
MIN_DIFFERENT = 3
"""Least number of different angles, each 3° from the next."""
APART_DEG = 3.0
SATURATED_COUNTS = 32700
SHAKEN_G = 0.02
"""Largest standard deviation of one sample with the board at rest."""
U_COUNTS = 0.6
"""Lower bound for a mean: half a count and the limit of trust in averaging."""


class Rest(Struct, frozen=True, kw_only=True):
    """The sensor's mean over some seconds of rest."""

    counts: Vector
    scatter_counts: Vector
    """Standard deviation of one sample, axis by axis."""
    peak_counts: int
    """Largest magnitude of any sample."""
    n: int
    temperature_c: float


class Zero(Struct, frozen=True, kw_only=True):
    """The board near level, with readings of a turned level along and across."""

    rest: Rest
    along: Turned
    across: Turned


class Span(Struct, frozen=True, kw_only=True):
    """The board at one inclination, with the reference's reading."""

    rest: Rest
    reading: ReferenceReading
    across_deg: float | None = None
    """Level reading across the board, if taken; it reveals a twisted board."""
    u_across_deg: float = 0.05
    direction: str = "up"


def rest_of(counts: Sequence[Sequence[int]], temperature_c: float) -> Rest:
    """Mean, scatter and peak of raw samples (n, 3)."""
    samples = np.asarray(counts, dtype=float)
    mean, scatter = samples.mean(axis=0), samples.std(axis=0, ddof=1)
    return Rest(
        counts=(float(mean[0]), float(mean[1]), float(mean[2])),
        scatter_counts=(float(scatter[0]), float(scatter[1]), float(scatter[2])),
        peak_counts=int(np.abs(samples).max()),
        n=len(samples),
        temperature_c=temperature_c,
    )


def u_mean_counts(rest: Rest) -> float:
    """Standard uncertainty of a mean, in counts; filtered samples are not independent."""
    independent = max(1.0, rest.n / 10.0)
    return float(np.hypot(max(rest.scatter_counts) / np.sqrt(independent), U_COUNTS))


def check_captures(zero: Zero, span: Sequence[Span], counts_per_g: float) -> None:
    """Refuse captures that do not suit a calibration.

    Raises:
        BadInputError: names the capture and the reason.
    """
    named = [("zero", zero.rest)]
    named += [(f"{s.reading.along_deg:.1f}° ({s.direction})", s.rest) for s in span]
    for name, rest in named:
        check_rest(rest, counts_per_g, f"the capture at {name}")
    check_angles([s.reading.along_deg for s in span], [s.direction for s in span])


def check_angles(angles_deg: Sequence[float], directions: Sequence[str]) -> None:
    """Refuse too few span points, points too close together or reached from one side only.

    Raises:
        BadInputError: states what is needed.
    """
    angles = sorted(angles_deg)
    remedy = "take span points between 10° and 35°, on the way up and on the way down"
    if len(angles) < MIN_POINTS:
        raise BadInputError(
            f"Only {len(angles)} span points, and a calibration needs {MIN_POINTS}; {remedy}."
        )
    outside = [angle for angle in angles if not SPAN_DEG[0] <= angle <= SPAN_DEG[1]]
    if outside:
        raise BadInputError(f"A span point at {outside[0]:.1f}° can't be used; {remedy}.")
    different = 1
    last = angles[0]
    for angle in angles:
        if angle - last >= APART_DEG:
            different, last = different + 1, angle
    if angles[-1] - angles[0] < MIN_RANGE_DEG or different < MIN_DIFFERENT:
        raise BadInputError(
            f"The span points are too close together, from {angles[0]:.1f}° to {angles[-1]:.1f}°"
            f" in {different} place{'s' if different > 1 else ''}; they must cover"
            f" {MIN_RANGE_DEG:g}° in {MIN_DIFFERENT} places or more: {remedy}."
        )
    if len(set(directions)) < 2:
        raise BadInputError(f"All span points were reached from the same side; {remedy}.")


def check_rest(rest: Rest, counts_per_g: float, what: str) -> None:
    """Refuse a capture of a moving board, a saturated sensor, or without gravity.

    Raises:
        BadInputError: names the cause.
    """
    if rest.peak_counts >= SATURATED_COUNTS:
        raise BadInputError(
            f"In {what} the sensor is at the end of its range ({rest.peak_counts} counts):"
            " the board is shaking, or the range is too small; find the cause and capture again."
        )
    if max(rest.scatter_counts) > SHAKEN_G * counts_per_g:
        shaken = 1e3 * max(rest.scatter_counts) / counts_per_g
        raise BadInputError(
            f"In {what} the board was not at rest ({shaken:.0f} mg of scatter); wait until it is"
            " still and capture again."
        )
    size = float(np.linalg.norm(rest.counts)) / counts_per_g
    if abs(size - 1.0) > 0.15:
        raise BadInputError(
            f"In {what} the sensor measures gravity as {size:.2f} g; check it with `rig check`."
        )
