"""A smoother: the gyroscope gives the movement, the accelerometer what it adds up to.

The inclination is θ(t) = c + k·G(t) + b·t + w(t). G is the integral of the rotation, k the
gyroscope's scale, b its drift since the rest before the lift, and w a random walk for what its
noise and uneven event times add up to. All are fitted at once to the inclination that the
accelerometer sees, in blocks of 0.2 s: a hand trembles at 8 to 12 Hz, so tremor nearly averages out
within a block. Without a gyroscope G is 0 and the walk is free enough to follow a hand.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]

BLOCK_S = 0.2
KNOT_S = 1.0
SCALE_SD = 0.02
"""Sensitivity of a phone's gyroscope: ±1 to ±3 % in data sheets."""
DRIFT_DEG_S = 0.05
"""Mean of a second at rest, readings rounded to 0.1 °/s."""
WALK_DEG_RT_S = 0.02
"""Noise (0.004 to 0.008 °/s/√Hz in data sheets) and event times that are off by some ms."""
FREE_WALK_DEG_RT_S = 1.0
"""Instead, where there is no gyroscope: a hand keeps its pace to some tenths of a degree."""
FREE_DRIFT_DEG_S = 5.0
LEAST_SD_DEG = 0.01
OUTLIER = 2.5
"""Residuals count in full up to so many standard deviations (Huber's weights)."""
MOST_CORRELATED = 0.9


class Smoothed(NamedTuple):
    """The inclination at the times asked for."""

    angle_deg: F
    u_deg: F
    residual_deg: float
    """Standard deviation of the blocks about the fit."""


def smooth(t_s: F, seen_deg: F, turned_deg: F | None, at_s: F) -> Smoothed:
    """Fit, and evaluate.

    Args:
        t_s: times, n of them, rising from 0.
        seen_deg: the accelerometer's inclination at each.
        turned_deg: the gyroscope's integral at each; None without a gyroscope.
        at_s: where the inclination is wanted, within `t_s`.
    """
    turned = np.zeros_like(t_s) if turned_deg is None else turned_deg
    walk = FREE_WALK_DEG_RT_S if turned_deg is None else WALK_DEG_RT_S
    spacing = BLOCK_S if turned_deg is None else KNOT_S
    knots = np.arange(0.0, t_s[-1] + spacing, spacing)[1:]
    design = _columns(t_s, turned, knots)
    number = (t_s / BLOCK_S).astype(int)
    present, place = np.unique(number, return_inverse=True)
    count = np.bincount(place).astype(float)
    x = np.stack([np.bincount(place, column) / count for column in design.T], axis=1)
    y = np.bincount(place, seen_deg) / count
    centre = np.zeros(design.shape[1])
    centre[1] = 0.0 if turned_deg is None else 1.0
    precision = np.zeros(design.shape[1])
    drift = FREE_DRIFT_DEG_S if turned_deg is None else DRIFT_DEG_S
    precision[1], precision[2] = SCALE_SD**-2, drift**-2
    precision[3:] = 1.0 / (walk**2 * spacing)
    share = np.minimum(count / np.median(count), 1.0)
    weight, sd = share, max(float(np.std(y - turned[_last(place)])), 0.2)
    for _ in range(6):
        a = (x.T * weight) @ x / sd**2 + np.diag(precision)
        found = np.linalg.solve(a, x.T @ (weight * y) / sd**2 + precision * centre)
        rest = y - x @ found
        sd = max(1.4826 * float(np.median(np.abs(rest) * np.sqrt(share))), LEAST_SD_DEG)
        size = np.abs(rest) / (OUTLIER * sd)
        weight = share / np.maximum(size, 1.0)
    covariance = np.linalg.inv(a)
    rows = _columns(at_s, np.interp(at_s, t_s, turned), knots)
    own = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    return Smoothed(rows @ found, own * _inflation(rest, present), sd)


def _columns(t_s: F, turned: F, knots: F) -> F:
    """Constant, scale, drift, and a ramp of the walk over each piece between two knots."""
    spacing = knots[0]
    ramps = np.clip((t_s[:, None] - (knots - spacing)[None, :]) / spacing, 0.0, 1.0)
    return np.column_stack([np.ones_like(t_s), turned, t_s, ramps])


def _last(place: NDArray[np.intp]) -> NDArray[np.intp]:
    return np.flatnonzero(np.append(np.diff(place) > 0, True))


def _inflation(rest: F, present: NDArray[np.intp]) -> float:
    """For neighbouring blocks that err alike, as readings do that are rounded to coarse steps."""
    if len(rest) < 8:
        return 2.0
    is_next = np.diff(present) == 1
    clipped = np.clip(rest, -4.0 * np.median(np.abs(rest)), 4.0 * np.median(np.abs(rest)))
    variance = float(np.mean(clipped**2))
    if variance <= 0.0:
        return 1.0
    alike = (
        float(np.mean((clipped[1:] * clipped[:-1])[is_next])) / variance if is_next.any() else 0.0
    )
    alike = min(max(alike, 0.0), MOST_CORRELATED)
    return float(np.sqrt((1.0 + alike) / (1.0 - alike)))
