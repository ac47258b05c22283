"""One lift: from a trace to the board's inclination before the tap, or the reason why not."""

from math import cos, degrees, hypot, radians, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInputError
from rig.study.folder.journal import ByPhone
from rig.study.phone.smooth import smooth
from rig.study.phone.trace import Trace
from rig.study.phone.zero import GRAVITY_M_S2, Level, level_of, resolution_of

F = NDArray[np.float64]

REST_S = 1.0
"""The board rests so long after the recording begins; the gyroscope's offset comes from it."""
REST_DEG = 1.0
"""A mean over 0.25 s that moves farther meanwhile was no rest."""
GAP_S = 0.5
"""A silence of the sensor that the smoother does not bridge: a locked screen, another page."""
LEAST_HZ = 10.0
TURN_DEG = 3.0
STEEPEST_DEG = 60.0
SLOWEST_DEG_S, FASTEST_DEG_S = 0.1, 5.0
STEP_S = 0.05
BEFORE_S = np.arange(13) * STEP_S
"""Times before the tap at which the inclination is kept."""
SPAN_S = float(BEFORE_S[-1])

SCALE_SD = 0.01 / sqrt(3.0)
"""Sensitivity of the accelerometer within ±1 %, rectangular: typical data sheets of phone chips."""
LATITUDE_SD = 0.013 / GRAVITY_M_S2
"""Gravity where nobody says where."""
OFFSET_SD = 0.020
"""Offset of the accelerometer as a part of gravity: ±20 mg typical in data sheets."""
CROSS_SD = 0.01
"""What one axis feels of another: 1 % typical in data sheets."""


def measure(trace: Trace, name: str, series: str) -> ByPhone:
    """What a trace says of its slide.

    Args:
        trace: of one lift.
        name: of its file.
        series: that it belongs to.

    Raises:
        BadInputError: there is no tap, or the lift can't be used; the sentence says what to do.
    """
    samples = trace.samples
    if not samples.taps_s:
        raise BadInputError("There is no tap in this lift, so no slide; the trace is kept.")
    t_s = np.array(samples.t_s)
    force = np.array(samples.acceleration_m_s2).reshape(-1, 3)
    tap_s = samples.taps_s[0]
    level = level_of(trace.header.zero, resolution_of(force.ravel()))
    n = _checked(t_s, tap_s)
    turning = np.array(samples.rotation_deg_s).reshape(-1, 3)[:n]
    t_s, force = t_s[:n] - t_s[0], force[:n]
    tap_s -= samples.t_s[0]
    seen = _seen_deg(t_s, force, level)
    _check_rest(t_s, seen)
    turned = _turned_deg(t_s, turning) if len(turning) else None
    found = smooth(t_s, seen, turned, np.minimum(tap_s - BEFORE_S, t_s[-1]))
    rate = float(found.angle_deg[0] - found.angle_deg[-1]) / SPAN_S
    middle = len(BEFORE_S) // 2
    angle = float(found.angle_deg[middle])
    if not TURN_DEG <= angle <= STEEPEST_DEG:
        raise BadInputError(
            f"The board stood at {angle:.1f}° at the tap; a slide lies between {TURN_DEG:g} and"
            f" {STEEPEST_DEG:g}°. Was the phone zeroed on this board? The trace is kept."
        )
    if not SLOWEST_DEG_S <= rate <= FASTEST_DEG_S:
        raise BadInputError(
            f"The board moved at {rate:.1f} °/s at the tap; lift it evenly until the bag slides,"
            f" and no faster than {FASTEST_DEG_S:g} °/s. The trace is kept."
        )
    return ByPhone(
        trace=name,
        series=series,
        pace_deg_s=trace.header.pace_deg_s,
        rate_deg_s=round(rate, 4),
        before_tap_deg=tuple(round(float(one), 4) for one in found.angle_deg),
        u_fit_deg=round(float(found.u_deg[middle]), 4),
        u_sensor_deg=round(u_sensor_deg(angle), 4),
        u_zero_deg=round(level.u_deg, 4),
    )


def u_sensor_deg(angle_deg: float) -> float:
    """Standard uncertainty of an inclination from the chip's scale, offset and cross-talk.

    The inclination is asin(f/g) with f along the slope, so a part of f or g counts with tan θ. The
    zero takes an offset off at level; 1 − cos θ of it comes back when the board is raised.
    """
    angle = radians(angle_deg)
    scale = tan(angle) * hypot(SCALE_SD, LATITUDE_SD)
    offset = (1.0 - cos(angle)) / cos(angle) * hypot(OFFSET_SD, CROSS_SD)
    return degrees(hypot(scale, offset))


def _checked(t_s: F, tap_s: float) -> int:
    """Number of readings up to the tap; raises BadInputError where they can't carry a slide."""
    n = int(np.searchsorted(t_s, tap_s, side="right"))
    if n < 2 or t_s[n - 1] - t_s[0] < REST_S + 1.0:
        raise BadInputError(
            "The tap came within two seconds of the beginning; wait for “lift now”, then lift. The"
            " trace is kept."
        )
    widest = max(float(np.diff(t_s[:n]).max()), tap_s - float(t_s[n - 1]))
    if widest > GAP_S:
        raise BadInputError(
            f"The phone gave no readings for {widest:.1f} s during this lift (screen locked, or"
            " another page in front?); lift again. The trace is kept."
        )
    if n / (t_s[n - 1] - t_s[0]) < LEAST_HZ:
        raise BadInputError(
            f"The phone gave fewer than {LEAST_HZ:g} readings a second; close other pages, leave"
            " power saving, and lift again. The trace is kept."
        )
    return n


def _seen_deg(t_s: F, force: F, level: Level) -> F:
    """The accelerometer's inclination: asin of what lies along the slope, over gravity.

    Only that part is used: a trembling board swings about its hinge, which accelerates the phone
    along the board's normal, and what lies along the slope stays that of gravity.
    """
    normal = level.normal
    across = force - (force @ normal)[:, None] * normal
    uphill = across[t_s > t_s[-1] - 1.0].mean(axis=0)
    length = float(np.linalg.norm(uphill))
    if length < GRAVITY_M_S2 * np.sin(radians(TURN_DEG)):
        raise BadInputError(
            f"The board was not lifted by {TURN_DEG:g}° before the tap; tap when the bag slides."
            " The trace is kept."
        )
    part = across @ (uphill / length) / GRAVITY_M_S2
    return np.asarray(np.degrees(np.arcsin(np.clip(part, -1.0, 1.0))))


def _check_rest(t_s: F, seen: F) -> None:
    is_rest = t_s <= REST_S
    parts = (t_s[is_rest] / 0.25).astype(int)
    sums = np.bincount(parts, seen[is_rest])
    counts = np.bincount(parts)
    means = sums[counts > 0] / counts[counts > 0]
    if means.max() - means.min() > REST_DEG:
        raise BadInputError(
            "The board moved already when the recording began; let it rest until “lift now”. The"
            " trace is kept."
        )


def _turned_deg(t_s: F, turning: F) -> F:
    """Integral of the rotation about the hinge.

    The hinge is where most of the rotation was about, so neither the order nor the signs in which
    a browser gives the axes matter.
    """
    turning = turning - turning[t_s <= REST_S].mean(axis=0)
    steps = np.diff(t_s)[:, None] * (turning[1:] + turning[:-1]) / 2.0
    total = steps.sum(axis=0)
    hinge = total / max(float(np.linalg.norm(total)), 1e-9)
    return np.concatenate([[0.0], np.cumsum(steps @ hinge)])
