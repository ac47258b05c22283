"""Least squares in two layers: units and sessions first, then session effects on the climate.

Every cell is `unit + session + (own slope − common slope)·x + e`. Sessions act on all bags alike
(the board, the air, the hour), so slopes against the climate stand or fall with the number of
*sessions*, not of runs. Layer 1 fits units and sessions as fixed effects; what is left is the
scatter e of a unit in a session. Layer 2 regresses the session effects on the climate; what is left
there is the scatter between sessions. Each layer keeps its own degrees of freedom. For balanced
data this is the exact split-plot analysis.

The first predictor's slope is free. Further ones are shrunk towards 0 by a judged prior: sessions
are few, and picking predictors by how well they fit would make intervals too narrow.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from math import inf
from typing import NamedTuple

import numpy as np

from rig.statistics.satterthwaite import Satterthwaite
from rig.study.anova import design
from rig.study.cells import Cell
from rig.study.rows import BagFace

MIN_SPREAD = {"surface_humidity_pct": 3.0, "temperature_c": 2.0, "damp_share": 0.5}
"""A predictor whose sessions spread less than this has no slope."""

PRIOR_SD = {"temperature_c": 0.1, "damp_share": 1.0}
"""Judged size of the slopes of further predictors, in degrees per unit of the predictor."""

FIRST_GUESS = 0.36
"""Variance between sessions to begin with, in deg²; it is found by iteration."""

Classes = Callable[[BagFace], Hashable]


class ClimateFit(NamedTuple):
    """A fitted model; `sessions` and `units` index its arrays."""

    predictors: tuple[str, ...]
    units: dict[BagFace, int]
    sessions: dict[str, int]
    x: np.ndarray
    """Sessions × predictors, as deviations from `x_mean`."""
    x_mean: np.ndarray
    theta: np.ndarray
    """Units, sessions, then the deviations of each class's slope for the first predictor."""
    covariance: np.ndarray
    """Of theta, per unit variance of e."""
    classes: dict[Hashable, int]
    class_of: Classes
    loadings: np.ndarray
    """Predictors × sessions: the slopes as linear functions of the session effects."""
    prior_left: np.ndarray
    """Predictors × predictors: covariance of the slopes that the prior leaves, beside that from
    the scatter of the sessions."""
    sessions_of: dict[BagFace, list[int]]
    variance_own: float
    """Of e: a unit in a session, in deg²."""
    df_own: int
    rss_own: float
    variance_between: float
    """Of the session effects about the regression, as estimated (with e's share in it)."""
    df_between: int
    share: float
    """How much of the variance of e is in `variance_between`."""

    def slope(self, unit: BagFace) -> np.ndarray:
        """Slopes of one unit, in degrees per unit of each predictor."""
        return np.array([row @ self.theta for row in self._slope_rows(unit)])

    def slope_row(self, unit: BagFace) -> np.ndarray:
        """Row that turns theta into the unit's slope for the first predictor."""
        return self._slope_rows(unit)[0]

    def _slope_rows(self, unit: BagFace) -> list[np.ndarray]:
        rows = []
        n_u, n_s = len(self.units), len(self.sessions)
        for k in range(len(self.predictors)):
            row = np.zeros(len(self.theta))
            row[n_u : n_u + n_s] = self.loadings[k]
            place = self.classes.get(self.class_of(unit))
            if k == 0 and place is not None and len(self.classes) > 1:
                row[n_u + n_s + place] = 1.0
            rows.append(row)
        return rows

    def functional(self, unit: BagFace, x: np.ndarray) -> np.ndarray:
        """Row that turns theta into the prediction of a unit where the predictors are x."""
        n_u, n_s = len(self.units), len(self.sessions)
        own = self.sessions_of[unit]
        row = np.zeros(len(self.theta))
        row[self.units[unit]] = 1.0
        for session in own:
            row[n_u + session] += 1.0 / len(own)
        centre = self.x[own].mean(axis=0)
        place = self.classes.get(self.class_of(unit))
        if len(self.classes) > 1 and place is not None and len(centre):
            row[n_u + n_s + place] += centre[0]
        for k, slope_row in enumerate(self._slope_rows(unit)):
            row += (x[k] - self.x_mean[k] - centre[k]) * slope_row
        return row

    def away(self, unit: BagFace, x: np.ndarray) -> np.ndarray:
        """How far x is from where a unit was measured."""
        return np.asarray(x - self.x_mean - self.x[self.sessions_of[unit]].mean(axis=0))

    def session_part(self, rows: np.ndarray) -> np.ndarray:
        """The part of functionals that multiplies the session effects."""
        n_u, n_s = len(self.units), len(self.sessions)
        return np.asarray(rows[..., n_u : n_u + n_s])

    @property
    def variance_session(self) -> float:
        """Of the sessions alone, never less than 0."""
        return max(self.variance_between - self.share * self.variance_own, 0.0)

    def variance(self, session_factor: float, own_factor: float) -> Satterthwaite:
        """`session_factor`·var(session) + `own_factor`·var(e), from the layers' mean squares."""
        total = Satterthwaite()
        total.add(session_factor * self.variance_between, self.df_between)
        total.add(
            (own_factor - session_factor * self.share) * self.variance_own,
            self.df_own if self.df_own else inf,
        )
        return total


def fit(
    cells: Sequence[Cell],
    x_of: Mapping[str, Sequence[float]],
    predictors: Sequence[str],
    by: Classes,
) -> ClimateFit:
    """Fit both layers.

    Args:
        cells: at least one; every cell's session must be in `x_of`.
        x_of: predictors of each session.
        predictors: their names; a predictor without spread gets the slope 0 here.
        by: units of one class share their slopes.
    """
    units = {u: i for i, u in enumerate(dict.fromkeys(cell.unit for cell in cells))}
    sessions = {s: i for i, s in enumerate(dict.fromkeys(cell.session for cell in cells))}
    raw = np.array([x_of[s] for s in sessions], dtype=float).reshape(len(sessions), -1)
    x_mean = raw.mean(axis=0)
    x = raw - x_mean
    y = np.array([cell.angle_deg for cell in cells])
    session_at = [sessions[cell.session] for cell in cells]
    classes = {c: i for i, c in enumerate(dict.fromkeys(by(unit) for unit in units))}
    columns = [_indicator([units[cell.unit] for cell in cells], len(units))]
    columns.append(_indicator(session_at, len(sessions)))
    if len(classes) > 1 and len(predictors):
        own = _indicator([classes[by(cell.unit)] for cell in cells], len(classes))
        columns.append(own * x[session_at, :1])
    full = np.hstack(columns)
    u, s, vt = np.linalg.svd(full, full_matrices=False)
    rank = int((s > 1e-9 * s[0]).sum())
    inverse = vt[:rank].T / s[:rank]
    theta = inverse @ (u[:, :rank].T @ y)
    covariance = inverse @ inverse.T
    residual = y - full @ theta
    df_own = len(y) - rank
    rss = float(residual @ residual)
    own_variance = rss / df_own if df_own else 0.0
    effects = theta[len(units) : len(units) + len(sessions)]
    layer = _second_layer(x, effects, _components(cells, sessions), predictors)
    loadings, resid, df_between = layer.loadings, layer.residual, layer.df
    block = covariance[len(units) : len(units) + len(sessions)][
        :, len(units) : len(units) + len(sessions)
    ]
    share = float(np.trace(resid @ block)) / df_between if df_between and df_own else 0.0
    sessions_of: dict[BagFace, list[int]] = {}
    for cell in cells:
        sessions_of.setdefault(cell.unit, []).append(sessions[cell.session])
    return ClimateFit(
        predictors=tuple(predictors),
        units=units,
        sessions=sessions,
        x=x,
        x_mean=x_mean,
        theta=theta,
        covariance=covariance,
        classes=classes,
        class_of=by,
        loadings=loadings,
        prior_left=layer.prior_left,
        sessions_of=sessions_of,
        variance_own=own_variance,
        df_own=df_own,
        rss_own=rss,
        variance_between=layer.variance,
        df_between=df_between,
        share=share,
    )


def _indicator(places: Sequence[int], n: int) -> np.ndarray:
    columns = np.zeros((len(places), n))
    columns[np.arange(len(places)), places] = 1.0
    return columns


def _components(cells: Sequence[Cell], sessions: dict[str, int]) -> list[int]:
    """Which sessions can be compared: those linked by units measured in both."""
    group = list(range(len(sessions)))
    first: dict[BagFace, int] = {}
    for cell in cells:
        place = sessions[cell.session]
        other = group[first.setdefault(cell.unit, place)]
        mine = group[place]
        if mine != other:
            group = [other if g == mine else g for g in group]
    return group


class _Layer(NamedTuple):
    loadings: np.ndarray
    residual: np.ndarray
    df: int
    variance: float
    prior_left: np.ndarray


def _second_layer(
    x: np.ndarray, effects: np.ndarray, groups: list[int], predictors: Sequence[str]
) -> _Layer:
    """Regress session effects on the predictors, each group of sessions with its own level.

    With slopes β ~ N(0, P) and λ = σ²/P the estimate is L·a, L = (X'X + Λ)⁻¹X', and
    a'(I − XL)a is distributed as σ²·χ² with as many degrees of freedom as there are sessions less
    groups less free slopes.
    """
    n, q = len(groups), len(predictors)
    constants = design(groups)
    centre = constants @ np.linalg.pinv(constants)
    within = x - centre @ x if q else np.zeros((n, 0))
    free = int(q > 0 and np.abs(within[:, 0]).max() > 1e-8)
    df = n - len(set(groups)) - free
    priors = np.array([PRIOR_SD[name] ** 2 for name in predictors[1:]])
    variance = FIRST_GUESS
    for _ in range(4):
        extra = np.concatenate([np.zeros(min(q, 1)), variance / priors])
        loadings = np.linalg.pinv(within.T @ within + np.diag(extra), rcond=1e-10) @ within.T
        residual = np.eye(n) - centre - within @ loadings
        found = float(effects @ residual @ effects) / df if df else 0.0
        if not len(priors):
            break
        variance = max(found, 1e-4) if df else FIRST_GUESS
    miss = loadings @ within - np.eye(q)
    prior = np.concatenate([np.zeros(min(q, 1)), priors])
    return _Layer(loadings, residual, df, found, miss @ np.diag(prior) @ miss.T)
