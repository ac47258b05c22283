"""Quantiles and tail probabilities, from scipy's special functions, which load quickly."""

from functools import lru_cache
from math import inf, isfinite, sqrt

from scipy import special


@lru_cache(maxsize=4096)
def t_quantile(probability: float, df: float) -> float:
    """Student's t at a cumulative probability; the normal one for infinite degrees of freedom."""
    if df <= 0.0:
        return inf
    if not isfinite(df):
        return float(special.ndtri(probability))
    return float(special.stdtrit(df, probability))


def t_p(t: float, df: float) -> float:
    """Two-sided probability of a |t| at least as large."""
    if df <= 0.0:
        return 1.0
    return float(2.0 * (special.ndtr(-abs(t)) if df == inf else special.stdtr(df, -abs(t))))


def f_p(f: float, df_1: float, df_2: float) -> float:
    """Probability of an F at least as large."""
    return float(special.fdtrc(df_1, df_2, max(f, 0.0)))


@lru_cache(maxsize=1024)
def studentized_range(probability: float, groups: int, df: float) -> float:
    """The studentized range q at a cumulative probability, for 2 or more groups."""
    if df <= 0.0:
        return inf
    if groups == 2:
        return sqrt(2.0) * t_quantile((1.0 + probability) / 2.0, df)
    from scipy import stats  # most of a second to load

    return float(stats.studentized_range.ppf(probability, groups, df))


@lru_cache(maxsize=1024)
def studentized_range_p(q: float, groups: int, df: float) -> float:
    """Probability of a studentized range at least as large."""
    if df <= 0.0:
        return 1.0
    if groups == 2:
        return t_p(q / sqrt(2.0), df)
    from scipy import stats

    return float(stats.studentized_range.sf(q, groups, df))


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
