"""Comparing means in pairs: Tukey–Kramer for a family, Welch for one pair of unequal groups."""

from collections.abc import Mapping, Sequence
from itertools import combinations
from math import sqrt

from msgspec import Struct

from rig.statistics.quantiles import studentized_range, studentized_range_p
from rig.statistics.welch import welch
from rig.study.variance import pooled


class Pair(Struct, frozen=True, kw_only=True):
    """The difference of two means, with an interval."""

    first: str
    second: str
    difference: float
    """Mean of the second minus mean of the first."""
    u: float
    df: float
    lower: float
    upper: float
    p: float

    @property
    def differs(self) -> bool:
        """True when the interval leaves out 0."""
        return self.lower > 0.0 or self.upper < 0.0


def tukey_kramer(groups: Mapping[str, Sequence[float]], level: float = 0.95) -> list[Pair]:
    """All pairs of group means; the level holds for the whole family of pairs.

    Kramer (Biometrics 12, 1956): q·s·√((1/nᵢ + 1/nⱼ)/2) with the variance pooled over all groups;
    exact for equal n, on the safe side otherwise (Hayter, Annals of Statistics 12, 1984).

    Returns:
        Nothing when no group has two values.
    """
    variance, df = pooled(list(groups.values()))
    if df == 0 or len(groups) < 2:
        return []
    q = studentized_range(level, len(groups), float(df))
    pairs = []
    for one, other in combinations(groups, 2):
        a, b = groups[one], groups[other]
        u = sqrt(variance * (1.0 / len(a) + 1.0 / len(b)))
        difference = sum(b) / len(b) - sum(a) / len(a)
        p = studentized_range_p(sqrt(2.0) * abs(difference) / u, len(groups), df) if u > 0 else 0.0
        half = q * u / sqrt(2.0)
        pairs.append(_pair(one, other, difference, u, float(df), half, p))
    return pairs


def welch_pair(groups: Mapping[str, Sequence[float]], level: float = 0.95) -> list[Pair]:
    """The one pair of two groups with unequal variances; nothing where one has a single value."""
    first, second = groups
    found = welch(groups[first], groups[second])
    if found is None:
        return []
    half = found.interval(level)[1] - found.difference
    return [_pair(first, second, found.difference, found.u, found.df, half, found.p)]


def _pair(
    first: str, second: str, difference: float, u: float, df: float, half: float, p: float
) -> Pair:
    return Pair(
        first=first,
        second=second,
        difference=difference,
        u=u,
        df=df,
        lower=difference - half,
        upper=difference + half,
        p=p,
    )
