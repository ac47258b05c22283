"""Repeatability and reproducibility from one material measured by several (ISO 5725-2:2019)."""

from collections.abc import Mapping, Sequence
from math import sqrt
from typing import NamedTuple


class Precision(NamedTuple):
    """Standard deviations in the unit of the results."""

    n_labs: int
    n_results: int
    mean: float
    s_r: float
    """Repeatability: within one place, in a short time."""
    s_l: float
    """Between places; 0 where they scatter less than repeats would let them."""
    s_r_cap: float
    """Reproducibility (the standard's s_R): √(s_L² + s_r²)."""


def precision_of(cells: Mapping[str, Sequence[float]]) -> Precision | None:
    """Precision by the basic method: one-way analysis of variance with unequal numbers.

    s_r² is the pooled variance within cells, s_d² the variance between their means weighted by
    their numbers, n̄ = (Σn − Σn²/Σn)/(p − 1), s_L² = (s_d² − s_r²)/n̄.

    Args:
        cells: place → its results under repeatability conditions, at least one each.

    Returns:
        None with fewer than two places or no repeat at all.
    """
    filled = [list(of) for of in cells.values() if of]
    p, total = len(filled), sum(map(len, filled))
    if p < 2 or total <= p:
        return None
    means = [sum(of) / len(of) for of in filled]
    mean = sum(map(sum, filled)) / total
    within = sum((x - m) ** 2 for of, m in zip(filled, means, strict=True) for x in of)
    between = sum(len(of) * (m - mean) ** 2 for of, m in zip(filled, means, strict=True))
    s_r2, s_d2 = within / (total - p), between / (p - 1)
    each = (total - sum(len(of) ** 2 for of in filled) / total) / (p - 1)
    s_l2 = max((s_d2 - s_r2) / each, 0.0)
    return Precision(p, total, mean, sqrt(s_r2), sqrt(s_l2), sqrt(s_l2 + s_r2))
