"""Quantiles and tail probabilities of the usual distributions.

scipy's special functions are loaded when they are first needed: that takes a quarter of a second.
"""

from functools import lru_cache
from math import inf, isfinite


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
