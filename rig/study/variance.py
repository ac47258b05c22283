"""Layers of variance from unbalanced data: run < series < session < bag, or any other factors.

The factors are fitted one after the other. Each sum of squares is equated to its expected value,
whose coefficients come from the fitted columns themselves (Searle, Casella and McCulloch, Variance
Components, 1992, section 5.4: Henderson's methods). For balanced data this is the textbook analysis
of variance; for unbalanced data it is unbiased, needs no iteration and no normality. Degrees of
freedom of sums of components are Satterthwaite's.
"""

from collections.abc import Hashable, Sequence
from math import inf

import numpy as np
from msgspec import Struct

from rig.statistics.satterthwaite import Satterthwaite


class Factor(Struct, frozen=True, kw_only=True):
    """A grouping of the data, in the order in which the factors are fitted."""

    name: str
    labels: Sequence[Hashable]
    """One for each value; labels of a nested factor must differ between its parents."""
    random: bool = True


class VarianceComponent(Struct, frozen=True, kw_only=True):
    """One line of the analysis."""

    name: str
    df: int
    sum_of_squares: float
    expected: dict[str, float]
    """Expected sum of squares: how often each component is in it."""
    variance: float | None
    """None for a fixed factor, and where nothing was left to estimate it from; 0 if negative."""
    raw_variance: float | None = None
    """As estimated, negative or not."""

    @property
    def mean_square(self) -> float | None:
        """Sum of squares over its degrees of freedom."""
        return self.sum_of_squares / self.df if self.df else None


class Layers(Struct, frozen=True, kw_only=True):
    """Components of variance, in fitting order, the scatter within the finest group last."""

    components: tuple[VarianceComponent, ...]

    def __getitem__(self, name: str) -> VarianceComponent:
        return next(one for one in self.components if one.name == name)

    def variance(self, name: str) -> float | None:
        """The variance of one layer, or None if it is not known or there is no such layer."""
        return next((one.variance for one in self.components if one.name == name), None)

    def combine(self, weights: dict[str, float]) -> Satterthwaite:
        """A weighted sum of components, as the sum of mean squares that it is.

        Args:
            weights: how often each component is in the wanted variance; unknown ones count nothing.

        Returns:
            The variance with its degrees of freedom; never less than 0.
        """
        wanted = {one.name: weights.get(one.name, 0.0) for one in self.components}
        total = Satterthwaite()
        for one in self.components:
            if one.raw_variance is None:
                continue
            share = wanted[one.name] / one.expected[one.name]
            if one.raw_variance < 0.0:
                continue  # taken as 0; its scatter stays in the finer layers
            total.add(share * one.sum_of_squares, one.df)
            for name in wanted:
                wanted[name] -= share * one.expected.get(name, 0.0)
        return total


RESIDUAL = "run"


def components(values: Sequence[float], factors: Sequence[Factor]) -> Layers:
    """Split the scatter of values into components.

    Args:
        values: n numbers, any unit.
        factors: groupings, coarse to fine; the last layer, named `run`, is what they leave.

    Returns:
        Variances in the unit squared.
    """
    y = np.asarray(values, dtype=float)
    y = y - y.mean()
    n = len(y)
    basis = np.full((n, 1), 1.0 / np.sqrt(max(n, 1)))
    dummies = [_dummies(factor.labels) for factor in factors]
    lines: list[tuple[str, int, float, dict[str, float], bool]] = []
    left = y.copy()
    for place, factor in enumerate(factors):
        new = _new_directions(dummies[place], basis)
        projected = new.T @ y
        left = left - new @ projected
        expected = {
            later.name: float(np.sum((new.T @ dummies[place + i]) ** 2))
            for i, later in enumerate(factors[place:])
            if later.random
        }
        expected[RESIDUAL] = float(new.shape[1])
        squares = float(projected @ projected)
        lines.append((factor.name, new.shape[1], squares, expected, factor.random))
        basis = np.hstack([basis, new])
    df = n - basis.shape[1]
    lines.append((RESIDUAL, df, float(left @ left), {RESIDUAL: float(df)}, True))
    return Layers(components=_solve(lines))


def _solve(
    lines: list[tuple[str, int, float, dict[str, float], bool]],
) -> tuple[VarianceComponent, ...]:
    raw: dict[str, float | None] = {}
    for name, df, squares, expected, random in reversed(lines):
        if not random or df == 0 or expected.get(name, 0.0) < 1e-9:
            raw[name] = None
            continue
        finer = sum((raw.get(k) or 0.0) * c for k, c in expected.items() if k != name)
        raw[name] = (squares - finer) / expected[name]
    return tuple(
        VarianceComponent(
            name=name,
            df=df,
            sum_of_squares=squares,
            expected=expected,
            variance=None if (value := raw[name]) is None else max(value, 0.0),
            raw_variance=raw[name],
        )
        for name, df, squares, expected, _ in lines
    )


def _dummies(labels: Sequence[Hashable]) -> np.ndarray:
    """A column of 0 and 1 for each label."""
    places = {label: i for i, label in enumerate(dict.fromkeys(labels))}
    columns = np.zeros((len(labels), len(places)))
    columns[np.arange(len(labels)), [places[label] for label in labels]] = 1.0
    return columns


def _new_directions(columns: np.ndarray, basis: np.ndarray) -> np.ndarray:
    """An orthonormal basis of what the columns add to a basis."""
    rest = columns - basis @ (basis.T @ columns)
    rest = rest - basis @ (basis.T @ rest)  # twice is enough, against rounding
    u, s, _ = np.linalg.svd(rest, full_matrices=False)
    return np.asarray(u[:, s > 1e-8 * max(float(np.sqrt(len(rest))), 1.0)])


def pooled(groups: Sequence[Sequence[float]]) -> tuple[float, int]:
    """Variance within groups, pooled, and its degrees of freedom (0 if there is nothing)."""
    squares, df = 0.0, 0
    for group in groups:
        if len(group) > 1:
            mean = sum(group) / len(group)
            squares += sum((value - mean) ** 2 for value in group)
            df += len(group) - 1
    return (squares / df if df else inf), df
