"""Analysis of variance and straight regression, by least squares on well-scaled columns."""

from collections.abc import Hashable, Sequence
from math import fsum, nan, sqrt

import numpy as np
from msgspec import Struct

from rig.errors import BadInputError
from rig.statistics.quantiles import f_p


class OneWay(Struct, frozen=True, kw_only=True):
    """A one-way analysis of variance; sums of squares in the unit squared."""

    f: float
    p: float
    df_between: int
    df_within: int
    ss_between: float
    ss_within: float

    @property
    def r_squared(self) -> float:
        """Share of the scatter that lies between the groups."""
        return self.ss_between / (self.ss_between + self.ss_within)

    @property
    def residual_sd(self) -> float:
        """Standard deviation within groups."""
        return sqrt(self.ss_within / self.df_within)


def one_way(groups: Sequence[Sequence[float]]) -> OneWay:
    """Compare the means of groups.

    The values are moved near 0 before anything is squared, and sums are exact (`math.fsum`), so
    that values with a large common part lose no digits beyond those lost in writing them down.

    Raises:
        BadInputError: fewer than two groups, or no group with two values.
    """
    groups = [list(group) for group in groups if len(group)]
    n, k = sum(map(len, groups)), len(groups)
    if k < 2 or n <= k:
        raise BadInputError(
            "An analysis of variance needs two groups or more, one of them with two values or "
            "more; measure more runs."
        )
    origin = groups[0][0]
    moved = [[value - origin for value in group] for group in groups]
    grand = fsum(value for group in moved for value in group) / n
    means = [fsum(group) / len(group) for group in moved]
    between = fsum(len(g) * (m - grand) ** 2 for g, m in zip(moved, means, strict=True))
    within = fsum((v - m) ** 2 for g, m in zip(moved, means, strict=True) for v in g)
    f = (between / (k - 1)) / (within / (n - k)) if within > 0 else nan
    return OneWay(
        f=f,
        p=nan if within == 0 else f_p(f, k - 1, n - k),
        df_between=k - 1,
        df_within=n - k,
        ss_between=between,
        ss_within=within,
    )


class Regression(Struct, frozen=True, kw_only=True):
    """A least-squares fit with intercept; the intercept comes first."""

    coefficients: tuple[float, ...]
    standard_errors: tuple[float, ...]
    residual_sd: float
    df: int
    r_squared: float
    f: float


def regress(y: Sequence[float], *predictors: Sequence[float]) -> Regression:
    """Fit y = b₀ + Σ bᵢ·xᵢ; columns are centred and scaled first, so large offsets do no harm.

    Raises:
        BadInputError: too few values, or predictors that cannot be told apart.
    """
    target = np.asarray(y, dtype=float)
    x = np.column_stack([np.asarray(p, dtype=float) for p in predictors])
    n, k = x.shape
    if n < k + 2:
        raise BadInputError(f"{n} values are too few to fit {k} slopes with an error; add runs.")
    x_mean, y_mean = x.mean(axis=0), target.mean()
    centred = x - x_mean
    scale = np.sqrt((centred**2).sum(axis=0))
    if (scale <= 1e-12 * np.abs(x).max(axis=0)).any():
        raise BadInputError("A predictor does not vary, so it has no slope; measure other values.")
    q, r = np.linalg.qr(centred / scale)
    if np.abs(np.diag(r)).min() < 1e-10:
        raise BadInputError("Two predictors vary together, so their slopes can't be told apart.")
    inverse = np.linalg.inv(r)
    slopes = inverse @ (q.T @ (target - y_mean)) / scale
    residual = target - y_mean - centred @ slopes
    df = n - k - 1
    ss, total = float(residual @ residual), float(((target - y_mean) ** 2).sum())
    s2 = ss / df
    covariance = s2 * (inverse @ inverse.T) / np.outer(scale, scale)
    u_intercept = sqrt(s2 / n + float(x_mean @ covariance @ x_mean))
    return Regression(
        coefficients=(float(y_mean - x_mean @ slopes), *map(float, slopes)),
        standard_errors=(u_intercept, *map(float, np.sqrt(np.diag(covariance)))),
        residual_sd=sqrt(s2),
        df=df,
        r_squared=1.0 - ss / total if total > 0 else nan,
        f=((total - ss) / k) / s2 if s2 > 0 else nan,
    )


class Term(Struct, frozen=True, kw_only=True):
    """A line of an analysis of variance with more than one source of error."""

    name: str
    df: int
    sum_of_squares: float
    f: float | None = None
    p: float | None = None
    against: str = ""
    """The line that it is tested against."""


def split_plot(
    values: Sequence[float],
    group: Sequence[Hashable],
    bag: Sequence[Hashable],
    climate: Sequence[Hashable],
) -> list[Term]:
    """Treatment × climate, with bags inside treatments; sums of squares are of type II.

    Treatments differ between bags, so they are tested against bags within treatments; climate and
    the interaction vary within each bag and are tested against what is left. Type II: each line is
    adjusted for all others that do not contain it, which for unbalanced data does not depend on
    the order; for balanced data all types agree. Empty cells take their degrees of freedom with
    them.

    Args:
        values: one for each bag and climate, such as changes in degrees.
        group: treatment of each.
        bag: bag of each; each belongs to one treatment.
        climate: climate of each.

    Returns:
        Lines treatment, bag within treatment, climate, treatment × climate, rest.
    """
    y = np.asarray(values, dtype=float)
    y = y - y.mean()
    both = list(zip(group, climate, strict=True))
    ss_c, r_c = _fit(y, climate)
    ss_tc, r_tc = _fit(y, climate, group)
    ss_b, r_b = _fit(y, bag)
    ss_bc, r_bc = _fit(y, climate, bag)
    ss_all, r_all = _fit(y, climate, bag, both)
    bags = (ss_tc - ss_bc, r_bc - r_tc)
    rest = (ss_all, len(y) - r_all)
    return [
        _term("treatment", ss_c - ss_tc, r_tc - r_c, bags, "bag within treatment"),
        Term(name="bag within treatment", df=bags[1], sum_of_squares=bags[0]),
        _term("climate", ss_b - ss_bc, r_bc - r_b, rest, "rest"),
        _term("treatment × climate", ss_bc - ss_all, r_all - r_bc, rest, "rest"),
        Term(name="rest", df=rest[1], sum_of_squares=rest[0]),
    ]


def _term(name: str, ss: float, df: int, error: tuple[float, int], against: str) -> Term:
    if df <= 0 or error[1] <= 0 or error[0] <= 0.0:
        return Term(name=name, df=df, sum_of_squares=ss)
    f = (ss / df) / (error[0] / error[1])
    return Term(name=name, df=df, sum_of_squares=ss, f=f, p=f_p(f, df, error[1]), against=against)


def _fit(y: np.ndarray, *factors: Sequence[Hashable]) -> tuple[float, int]:
    """Residual sum of squares and rank of an additive fit of factors."""
    x = design(*factors)
    solution, _, rank, _ = np.linalg.lstsq(x, y, rcond=1e-10)
    residual = y - x @ solution
    return float(residual @ residual), int(rank)


def design(*factors: Sequence[Hashable]) -> np.ndarray:
    """Columns of 0 and 1 for the labels of factors; more than needed, so solve by `lstsq`."""
    blocks = []
    for labels in factors:
        places = {label: i for i, label in enumerate(dict.fromkeys(labels))}
        block = np.zeros((len(labels), len(places)))
        block[np.arange(len(labels)), [places[label] for label in labels]] = 1.0
        blocks.append(block)
    return np.hstack(blocks)
