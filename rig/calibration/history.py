"""Home readings over a calibration's life, and possible causes of their trend."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SLIP_AXIS_DEG = 0.3
BENT_DEG = 0.15
"""Change of sensor minus steps along the raise, per 20°."""
TREND_DEG = 0.05
"""Smallest shift of the home reading worth reporting."""


class HomeRecord(NamedTuple):
    """One run's home reading and findings of its raise; None where not observed."""

    started_at: str
    day: float
    """Days since the first record."""
    angle_deg: float
    """Home reading minus the calibration's, along."""
    cross_deg: float
    axis_shift_deg: float | None = None
    bend_deg: float | None = None
    """Growth of sensor minus steps over 20° of the raise."""


class HomeDrift(NamedTuple):
    """Change of the home readings since the calibration."""

    n: int
    shift_deg: float
    """Along: median of the last three, relative to the calibration."""
    cross_shift_deg: float
    per_month_deg: float
    """Slope of a straight line along, per 30 days; 0 for under three records or one day."""
    u_per_month_deg: float
    words: tuple[str, ...]


def home_trend(records: Sequence[HomeRecord]) -> HomeDrift:
    """Trend with an explanation; takes at least one record, in order of time."""
    day = np.array([record.day for record in records])
    along = np.array([record.angle_deg for record in records])
    cross = np.array([record.cross_deg for record in records])
    last = min(3, len(records))
    shift, cross_shift = float(np.median(along[-last:])), float(np.median(cross[-last:]))
    slope, u_slope = _slope(day, along)
    words = _words(records, shift, cross_shift, 30.0 * slope, 30.0 * u_slope)
    return HomeDrift(len(records), shift, cross_shift, 30.0 * slope, 30.0 * u_slope, words)


def _slope(day: Array, values: Array) -> tuple[float, float]:
    """Least-squares slope per day and its standard error."""
    if len(day) < 3 or np.ptp(day) < 1.0:
        return 0.0, 0.0
    centred = day - day.mean()
    square = float(centred @ centred)
    slope = float(centred @ values) / square
    rest = values - values.mean() - slope * centred
    return slope, float(np.sqrt(rest @ rest / (len(day) - 2) / square))


def _late(records: Sequence[HomeRecord], name: str) -> float | None:
    """Median of the last three that have this value, already relative to the calibration."""
    values = [v for v in (getattr(record, name) for record in records) if v is not None]
    if not values:
        return None
    return float(np.median(values[-3:]))


def _words(
    records: Sequence[HomeRecord], shift: float, cross: float, month: float, u_month: float
) -> tuple[str, ...]:
    words = []
    axis, bend = _late(records, "axis_shift_deg"), _late(records, "bend_deg")
    if axis is not None and axis > SLIP_AXIS_DEG:
        words.append(
            f"The hinge has moved by {axis:.2f}° in the sensor's frame: the sensor has turned on"
            " its mount. Fasten it and calibrate again."
        )
    elif bend is not None and abs(bend) > BENT_DEG:
        words.append(
            f"Sensor and steps drift apart by {bend:+.2f}° over 20° of the raise: the frame or the"
            " screw's pivots have bent, or steps are lost. Check them."
        )
    elif max(abs(shift), abs(cross)) > TREND_DEG:
        where = "along and across" if min(abs(shift), abs(cross)) > TREND_DEG / 2 else "one way"
        words.append(
            f"The home reading has moved {where} ({shift:+.2f}° along, {cross:+.2f}° across) and"
            " the hinge has not: the floor or the feet have moved, or the sensor has slipped about"
            " the hinge's axis. Only a level can tell: `rig level check`."
        )
    if u_month > 0.0 and abs(month) > max(3.0 * u_month, TREND_DEG):
        words.append(f"It changes by {month:+.2f} ± {u_month:.2f}° per month.")
    if not words:
        words.append("The home reading has not changed.")
    return tuple(words)
