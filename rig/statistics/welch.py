"""Comparing two means with unequal variances."""

from collections.abc import Sequence
from statistics import fmean, variance
from typing import NamedTuple

from rig.statistics.quantiles import t_cdf, t_p, t_quantile
from rig.statistics.satterthwaite import Satterthwaite


class MeanDifference(NamedTuple):
    """Mean of the second group minus mean of the first, as far as it is known."""

    difference: float
    u: float
    df: float

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Two-sided interval."""
        half = t_quantile((1.0 + level) / 2.0, self.df) * self.u if self.u > 0.0 else 0.0
        return self.difference - half, self.difference + half

    @property
    def p(self) -> float:
        """Two-sided probability of so large a difference where there is none."""
        if self.u == 0.0:
            return 1.0 if self.difference == 0.0 else 0.0
        return t_p(self.difference / self.u, self.df)

    def p_equivalence(self, margin: float) -> float:
        """The larger p of the two one-sided tests that it lies within ± `margin`."""
        excess = abs(self.difference) - margin
        if self.u == 0.0:
            return 0.0 if excess < 0.0 else 1.0
        return t_cdf(excess / self.u, self.df)


def welch(first: Sequence[float], second: Sequence[float]) -> MeanDifference | None:
    """The difference of two means (Welch, Biometrika 34, 1947).

    Returns:
        None unless both groups have two values or more.
    """
    if len(first) < 2 or len(second) < 2:
        return None
    total = Satterthwaite()
    for group in (first, second):
        total.add(variance(group) / len(group), len(group) - 1)
    return MeanDifference(fmean(second) - fmean(first), total.u, total.df)
