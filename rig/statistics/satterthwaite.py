"""Degrees of freedom of sums of variances, and their coverage factor."""

from collections.abc import Iterable
from math import floor, inf, isfinite, sqrt

from rig.statistics.quantiles import t_quantile


class Satterthwaite:
    """Adds up variances, each with its degrees of freedom (Welch–Satterthwaite).

    ν_eff = (Σ vᵢ)² / Σ vᵢ²/νᵢ (JCGM 100, G.4.1). Terms that are subtracted keep their share of
    the uncertainty, which makes ν_eff smaller, never larger.
    """

    def __init__(self) -> None:
        self.variance = 0.0
        self._parts = 0.0

    def add(self, variance: float, df: float) -> "Satterthwaite":
        """Add a variance (negative to subtract) that is known with these degrees of freedom."""
        self.variance += variance
        if variance != 0.0:
            self._parts += 0.0 if df == inf else variance**2 / df if df > 0 else inf
        return self

    @property
    def df(self) -> float:
        """Effective degrees of freedom; infinite when every part is exactly known."""
        if self._parts == inf:
            return 0.0
        return self.variance**2 / self._parts if self._parts > 0.0 else inf

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return sqrt(max(self.variance, 0.0))


def welch_satterthwaite(parts: Iterable[tuple[float, float]]) -> float:
    """Effective degrees of freedom of a sum of parts (u, degrees of freedom)."""
    total = Satterthwaite()
    for u, df in parts:
        total.add(u * u, df)
    return total.df


def coverage_factor(df: float, probability: float = 0.95) -> float:
    """Student's t for a two-sided interval; degrees of freedom are cut to an integer (G.4.1).

    Args:
        df: effective degrees of freedom; below 1 there is no interval (infinity).
        probability: coverage, 0…1.
    """
    return t_quantile(0.5 + probability / 2.0, floor(df + 1e-9) if isfinite(df) else df)
