"""Quantiles and tail probabilities of the usual distributions.

scipy's special functions are loaded when they are first needed: that takes a quarter of a second.
"""

from functools import lru_cache
from math import inf, isfinite, sqrt


@lru_cache(maxsize=4096)
def t_quantile(probability: float, df: float) -> float:
    """Student's t at a cumulative probability; the normal one for infinite degrees of freedom."""
    from scipy import special

    if df <= 0.0:
        return inf
    if not isfinite(df):
        return float(special.ndtri(probability))
    return float(special.stdtrit(df, probability))


def t_cdf(t: float, df: float) -> float:
    """Probability of a Student's t below this; the normal one for infinite degrees of freedom."""
    from scipy import special

    return float(special.stdtr(df, t) if isfinite(df) else special.ndtr(t))


def t_p(t: float, df: float) -> float:
    """Two-sided probability of a |t| at least as large."""
    return 1.0 if df <= 0.0 else 2.0 * t_cdf(-abs(t), df)


def f_p(f: float, df_1: float, df_2: float) -> float:
    """Probability of an F at least as large."""
    from scipy import special

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
