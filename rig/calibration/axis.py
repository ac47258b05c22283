"""Evaluation of unloaded sweeps: the hinge's axis, noise, vibration and filter delay."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.calibration.apply import cross
from rig.errors import BadInputError

Array = NDArray[np.float64]

MIN_SWEEP_DEG = 5.0
U_TIME_MS = 1.0
"""Of a sample's time against a pulse's, left by the mapping of the chip's clock."""
U_BACKLASH_DEG = 0.02
"""Of the screw's lost motion when all sweeps have one rate and it looks the same as delay."""


class Axis(NamedTuple):
    """The hinge in the sensor's frame."""

    axis: tuple[float, float, float]
    u_axis_deg: float
    misfit_g: float
    """RMS distance of gravity from a plane; more than noise means that the frame twists."""
    chord: tuple[float, float, float]
    """Unit vector from the first to the last direction of gravity, across the axis."""
    u_chord_deg: float
    """Of the axis' tilt towards the chord, known much better than the tilt across it."""


def axis_of_sweep(gravity: ArrayLike) -> Axis:
    """Find the hinge's axis from calibrated gravity vectors of one upward sweep.

    Gravity runs along an arc about the hinge, so it stays in a plane at right angles to it; the
    normal of the best plane (least singular value) is the axis.

    Args:
        gravity: vectors in g, averaged over blocks, in order of time, shape (n, 3).

    Raises:
        BadInputError: the sweep is too short for a plane.
    """
    points = np.asarray(gravity, dtype=float)
    first, last = points[: max(1, len(points) // 20)].mean(axis=0), points[-1]
    normal_of_ends = cross(first, last)
    swept = float(np.degrees(np.linalg.norm(normal_of_ends)))
    if len(points) < 8 or swept < MIN_SWEEP_DEG:
        raise BadInputError(
            f"The sweep covers {swept:.1f}° and must cover {MIN_SWEEP_DEG:g}° to show the hinge's"
            " axis; sweep further."
        )
    centred = points - points.mean(axis=0)
    _, size, directions = np.linalg.svd(centred, full_matrices=False)
    # The sign of a singular vector is arbitrary.
    normal = directions[2] * np.copysign(1.0, directions[2] @ normal_of_ends)
    chord = directions[0] * np.copysign(1.0, directions[0] @ (last - first))
    misfit = float(size[2] / np.sqrt(len(points) - 3))
    # The plane's tilt about its long direction is known least: a short arc is hardly curved.
    u_axis = float(np.degrees(misfit / size[1]))
    x, y, z = (float(value) for value in normal)
    chord_x, chord_y, chord_z = (float(value) for value in chord)
    u_chord = float(np.degrees(misfit / size[0]))
    return Axis((x, y, z), u_axis, misfit, (chord_x, chord_y, chord_z), u_chord)


def noise_g(counts: ArrayLike, counts_per_g: float) -> tuple[float, float, float]:
    """Standard deviation of one sample at rest, axis by axis, in g, with slow drift removed."""
    samples = np.asarray(counts, dtype=float)
    t = np.arange(len(samples)) - (len(samples) - 1) / 2.0
    slope = t @ samples / (t @ t)
    rest = samples - samples.mean(axis=0) - np.outer(t, slope)
    x, y, z = (rest.std(axis=0, ddof=2) / counts_per_g).tolist()
    return x, y, z


def aliased_hz(frequency_hz: ArrayLike, sample_rate_hz: float) -> Array:
    """Alias of a frequency after sampling: folded into 0…half the sample rate."""
    turns = np.asarray(frequency_hz, dtype=float) / sample_rate_hz
    folded: Array = np.abs(turns - np.round(turns)) * sample_rate_hz
    return folded


class Spectrum(NamedTuple):
    """Vibration amplitudes in a sweep."""

    frequency_hz: Array
    amplitude_g: Array
    """Of a line at each frequency, shape (n,), the largest of the three axes."""
    line_hz: Array
    """Aliases of the pulse rate and its double, averaged over the sweep, shape (2,)."""
    line_g: Array
    """RMS amplitude there, tracked along the sweep, noise removed, shape (2,)."""


def vibration(
    gravity: ArrayLike, sample_rate_hz: float, pulse_rate_hz: ArrayLike, block: int = 64
) -> Spectrum:
    """Spectrum of a sweep, and the stepper's lines in it at their aliases.

    Args:
        gravity: consecutive samples in g, shape (n, 3).
        sample_rate_hz: rate of the samples.
        pulse_rate_hz: rate of the step pulses at each sample, shape (n,).
        block: samples per short spectrum; the pulse rate hardly changes over it.

    Raises:
        BadInputError: fewer samples than four blocks.
    """
    samples = np.asarray(gravity, dtype=float)
    count = len(samples) // block
    if count < 4:
        raise BadInputError(
            f"The sweep has {len(samples)} samples and needs {4 * block} for a spectrum; sweep"
            " further or slower."
        )
    window = np.hanning(block + 1)[:-1]
    pieces = samples[: count * block].reshape(count, block, 3)
    t = np.arange(block) - (block - 1) / 2.0
    # The board turns: subtract each block's straight line to leave the vibration.
    pieces = pieces - pieces.mean(axis=1, keepdims=True)
    pieces = pieces - t[None, :, None] * (np.einsum("b,kbi->ki", t, pieces) / (t @ t))[:, None, :]
    weighted = pieces * window[None, :, None]
    spectra = np.abs(np.fft.rfft(weighted, axis=1)) * 2.0 / window.sum()
    power = (spectra**2).mean(axis=0)
    frequency = np.asarray(np.arange(block // 2 + 1) * (sample_rate_hz / block), dtype=np.float64)
    floor = np.median(power[2:], axis=0)
    rates = np.asarray(pulse_rate_hz, dtype=float)[: count * block].reshape(count, block)
    line_hz, line_g = [], []
    for harmonic in (1, 2):
        folded = aliased_hz(harmonic * rates.mean(axis=1), sample_rate_hz)
        turn = np.exp(-2j * np.pi * np.outer(folded / sample_rate_hz, np.arange(block)))
        line = np.abs(np.einsum("kb,kbi->ki", turn, weighted)) * 2.0 / window.sum()
        clear = folded > 2.0 * sample_rate_hz / block
        if not np.any(clear):
            line_hz.append(float(folded.mean()))
            line_g.append(float("nan"))
            continue
        excess = (line[clear] ** 2).mean(axis=0) - floor
        line_hz.append(float(folded.mean()))
        line_g.append(float(np.sqrt(max(0.0, excess.max()))))
    amplitude = np.asarray(np.sqrt(power.max(axis=1)), dtype=np.float64)
    return Spectrum(frequency, amplitude, np.array(line_hz), np.array(line_g))


class Sweep(NamedTuple):
    """The steady part of one sweep, averaged over blocks."""

    by_sensor_deg: Array
    """Inclination by the calibrated sensor, at the sample times."""
    by_steps_deg: Array
    """Inclination by the step count at the same times."""
    rate_deg_s: float
    """Signed: lowering is negative."""


class Delay(NamedTuple):
    """Delay of the sensor's angle."""

    delay_ms: float
    u_delay_ms: float
    backlash_deg: float
    """Lost motion of the screw; 0 where it could not be separated from the delay."""


def filter_delay(sweeps: Sequence[Sweep]) -> Delay:
    """Delay of the sensor's filters from sweeps up and down.

    Sensor minus steps is o(θ) − rate·delay ∓ backlash/2: errors of the linkage's dimensions and of
    the sensor depend on the angle only, the delay on the rate, the backlash on the direction. With
    sweeps of one rate the last two look alike, and an allowance for backlash widens u.

    Args:
        sweeps: one or more in each direction.

    Raises:
        BadInputError: only one direction, or too few blocks.
    """
    directions = {bool(sweep.rate_deg_s > 0.0) for sweep in sweeps}
    if len(directions) < 2:
        raise BadInputError(
            "The delay of the sensor needs sweeps up and down; all went one way. Sweep both ways."
        )
    rates = np.concatenate([np.full(len(s.by_steps_deg), s.rate_deg_s) for s in sweeps])
    angle = np.concatenate([s.by_steps_deg for s in sweeps])
    difference = np.concatenate([s.by_sensor_deg for s in sweeps]) - angle
    if len(rates) < 20:
        raise BadInputError(f"The sweeps have {len(rates)} blocks and need 20; sweep further.")
    middle = (angle - angle.mean()) / max(float(np.ptp(angle)), 1e-9)
    columns = [middle**k for k in range(5)] + [-rates]
    speeds = np.abs(rates)
    has_backlash = speeds.max() > 1.5 * speeds.min()
    if has_backlash:
        columns.append(-np.sign(rates) / 2.0)
    design = np.stack(columns, axis=1)
    normal = np.linalg.inv(design.T @ design)
    solution = normal @ design.T @ difference
    misfit = difference - design @ solution
    variance = float(misfit @ misfit) / (len(rates) - design.shape[1])
    u_fit_s = float(np.sqrt(variance * normal[5, 5]))
    u_backlash_s = 0.0 if has_backlash else U_BACKLASH_DEG / 2.0 / float(speeds.mean())
    u_ms = float(np.sqrt((1e3 * u_fit_s) ** 2 + (1e3 * u_backlash_s) ** 2 + U_TIME_MS**2))
    backlash = float(solution[6]) if has_backlash else 0.0
    return Delay(1e3 * float(solution[5]), u_ms, backlash)
