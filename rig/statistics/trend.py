"""One slope for several series, each with its own level."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from rig.statistics.quantiles import t_p


class Slope(NamedTuple):
    """A slope by least squares."""

    slope: float
    u: float
    df: int
    p: float
    """Two-sided probability of so strong a slope by chance, by Student's t."""
    n_series: int


def common_slope(series: Iterable[Sequence[tuple[float, float]]]) -> Slope | None:
    """The common slope of series of (x, y); their own levels cost a degree of freedom each.

    Returns:
        None without a degree of freedom, or where x is the same all over each series.
    """
    used = [np.array(points) for points in series if len(points) > 1]
    df = sum(map(len, used)) - len(used) - 1
    if df < 1:
        return None
    centred = np.concatenate([points - points.mean(axis=0) for points in used])
    x, y = centred[:, 0], centred[:, 1]
    spread = float(x @ x)
    if spread == 0.0:
        return None
    slope = float(x @ y) / spread
    residual = y - slope * x
    u = float(np.sqrt(float(residual @ residual) / df / spread))
    p = t_p(slope / u, df) if u > 0.0 else 0.0 if slope else 1.0
    return Slope(slope, u, df, p, len(used))
