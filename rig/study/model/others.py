"""What other owners' studies say, small enough to go beside a study's own slides.

Each other study is reduced by itself, at scales that all of them share and the likeliest doing of
its recipes, where all that is linear is normal: what its slides say of the terms that it may share
with another study is then a likelihood of normal shape, with everything else (its sessions, its own
bags, its treatments) integrated out. A study that takes it along gets a few *readings* of
combinations of its own terms, beside its series, and another centre and spread for its scales.

Levels are as that study's rig shows them on its board. So a reading has the offset of the other rig
less that of the own one, and the same for boards; bags that both know hold them together.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from scipy.linalg import cho_solve
from scipy.optimize import minimize

from rig.study.model.censored import Censoring
from rig.study.model.configurations import candidates
from rig.study.model.data import ModelData
from rig.study.model.design import RIG, Design, F, Key, UsualTerms, design_of
from rig.study.model.gradient import with_gradient
from rig.study.model.laplace import FARTHEST, LEAST_CURVATURE, STEP
from rig.study.model.likelihood import Likelihood
from rig.study.model.posterior import SCALES
from rig.study.model.priors import PRIORS
from rig.study.model.threads import single_threaded

SHARED = "shared "
"""Begins the names of bags and boards that several owners know under one name."""
COMMON_SCALES = tuple(name for name in SCALES if name != "rigs")
WORTH = 1e-4
"""A reading with less information than this part of the prior's is left out."""


class Other(Struct, frozen=True, kw_only=True):
    """What another study says."""

    usual: UsualTerms
    """Its board, instrument and method that all is stated against."""
    keys: tuple[tuple[str, ...], ...]
    """Terms: `level`, `slope_face` and `from_damp` of a model's face, `slope`, `temperature`, and
    `bag` and `bag_face` of shared bags that it did not treat."""
    weights: tuple[tuple[float, ...], ...]
    """Readings × terms, in units of 1/°, so that each reading has the standard deviation 1."""
    readings: tuple[float, ...]
    n_slides: int


class Bound(NamedTuple):
    """Other studies as they are taken along by one study."""

    others: tuple[Other, ...] = ()
    aliases: Mapping[str, str] = {}
    """Shared name → the study's own name, of bags and boards."""
    instruments: Mapping[str, str] = {}
    """The study's own name of an instrument → how others know it."""
    scales: Mapping[str, tuple[float, float]] = {}
    """Scale → centre and standard deviation of its standard normal after the others."""

    def rows(self, design: Design) -> tuple[list[dict[Key, float]], list[float]]:
        """Readings as entries by column, for a study of this design, and their values."""
        rows: list[dict[Key, float]] = []
        values: list[float] = []
        for one in self.others:
            columns = [self._columns(key, one.usual, design.usual) for key in one.keys]
            for weights, value in zip(one.weights, one.readings, strict=True):
                row: dict[Key, float] = {}
                for weight, entries in zip(weights, columns, strict=True):
                    for key, entry in entries.items():
                        row[key] = row.get(key, 0.0) + weight * entry
                rows.append(row)
                values.append(value)
        return rows, values

    def _columns(self, key: Key, theirs: UsualTerms, usual: UsualTerms) -> dict[Key, float]:
        """What a term of theirs is in terms of the own study."""
        if key[0] in ("bag", "bag_face"):
            own = (key[0], self.aliases.get(key[1], key[1]), *key[2:])
            return {own: 1.0}
        found: dict[Key, float] = {key: 1.0}
        if key[0] != "level":
            return found
        board, instrument, method = theirs
        board = self.aliases.get(board, board)
        mine = self.instruments.get(usual.instrument, usual.instrument)
        if board != usual.board:
            for name, sign in ((board, 1.0), (usual.board, -1.0)):
                found["board", name] = sign
                found["board_face", name, key[2]] = sign
        if instrument != mine:
            for name, sign in ((instrument, 1.0), (mine, -1.0)):
                found["reader" if name.startswith("reader ") else "rigs", name] = sign
        if method and usual.method and method != usual.method:
            found["method", method] = 1.0
        return found


NOBODY = Bound()


class Told(NamedTuple):
    """What other studies say, and how many they are."""

    bound: Bound
    n_studies: int
    n_slides: int
    n_rigs: int
    n_readers: int
    shared_bags: tuple[str, ...]
    """Own names of the bags that others measured, too."""


def _is_named(model: str, face: str) -> bool:
    return bool(model and face)


@single_threaded
def reduced(datas: Sequence[ModelData], wanted: Callable[[str, str], bool] = _is_named) -> Bound:
    """Reduce studies of others, all at the scales that explain them best together.

    One study says little of how sessions scatter, and much of a slope if they scatter little. So
    the scales are found from all of them at once, each with its own recipes and doses, before any
    is reduced.

    Args:
        datas: the reduced slide tables; shared bags and boards have names that begin with SHARED.
        wanted: which model's faces to speak of.

    Raises:
        BadInputError: their figures are too large to be compared.
    """
    fitted = [_fitted(data) for data in datas]
    centre, spread = _common_scales(fitted)
    return Bound(
        others=tuple(
            _reduced(data, one.likelihood, one.at(centre), wanted)
            for data, one in zip(datas, fitted, strict=True)
        ),
        scales={name: (float(centre[i]), float(spread[i])) for i, name in enumerate(COMMON_SCALES)},
    )


class _Fitted(NamedTuple):
    """A study at its own mode."""

    likelihood: Likelihood
    mode: F

    def at(self, scales: F) -> F:
        """The outer vector with the common scales in place of its own."""
        u = self.mode.copy()
        for i, place in self.places():
            u[place] = scales[i]
        return u

    def places(self) -> list[tuple[int, int]]:
        """Numbers of the common scales that matter here, and their places in the outer vector."""
        names = self.likelihood.names
        return [(i, names.index(name)) for i, name in enumerate(COMMON_SCALES) if name in names]


def _fitted(data: ModelData) -> _Fitted:
    below = np.array([one.below_deg for one in data.censored]) - PRIORS["level"].centre
    best = candidates(Censoring(below).fitted(design_of(data)))[0]
    return _Fitted(best.likelihood, best.shape.mode)


def _common_scales(fitted: Sequence[_Fitted]) -> tuple[F, F]:
    """Mode and standard deviation of each scale's standard normal, from all studies together."""

    def uphill(u: F) -> tuple[float, F]:
        value, gradient = -0.5 * float(u @ u), -u
        for one in fitted:
            density, by_outer = with_gradient(one.likelihood, one.at(u))
            value += density
            for i, place in one.places():  # each study's own prior would count again and again
                value += 0.5 * float(u[i] ** 2)
                gradient[i] += by_outer[place] + u[i]
        return value, gradient

    def downhill(u: F) -> tuple[float, F]:
        value, gradient = uphill(u)
        return -value, -gradient

    n = len(COMMON_SCALES)
    found = minimize(
        downhill, np.zeros(n), jac=True, method="L-BFGS-B", bounds=[(-FARTHEST, FARTHEST)] * n
    )
    mode = np.asarray(found.x, dtype=np.float64)
    steps = STEP * np.eye(n)
    curvature = np.array(
        [(uphill(mode - d)[1] - uphill(mode + d)[1]) / (2.0 * STEP) for d in steps]
    )
    values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
    covariance = (vectors / np.maximum(values, LEAST_CURVATURE)) @ vectors.T
    return mode, np.sqrt(np.diagonal(covariance))


def _reduced(
    data: ModelData, likelihood: Likelihood, u: F, wanted: Callable[[str, str], bool]
) -> Other:
    design, point = likelihood.design, likelihood.at(u)
    treated = tuple(sorted({one.bag for one in data.applications}))
    keys = [design.keys[i] for i in likelihood.active]
    chosen = [i for i, key in enumerate(keys) if _is_common(key, wanted, treated)]
    covariance = cho_solve((point.factor, True), np.eye(len(keys)))[np.ix_(chosen, chosen)]
    precision = np.linalg.inv(covariance)
    size, directions = np.linalg.eigh(precision - np.eye(len(chosen)))
    towards = precision @ point.mean[chosen]
    weights, readings = [], []
    for value, direction in zip(size, directions.T, strict=True):
        if value > WORTH:
            weights.append(tuple((value**0.5 * direction / point.sd[chosen]).tolist()))
            readings.append(float(direction @ towards / value**0.5))
    return Other(
        usual=design.usual,
        keys=tuple(keys[i] for i in chosen),
        weights=tuple(weights),
        readings=tuple(readings),
        n_slides=data.n_slides,
    )


def _is_common(key: Key, wanted: Callable[[str, str], bool], treated: Sequence[str]) -> bool:
    if key[0] in ("level", "slope_face", "from_damp"):
        return wanted(key[1], key[2])
    if key[0] in ("bag", "bag_face"):
        return key[1].startswith(SHARED) and key[1] not in treated
    return key[0] in ("slope", "temperature")


def with_others(design: Design, bound: Bound, n_censored: int) -> Design:
    """The design with the others' readings before its censored rows, and its scales' priors."""
    rows, values = bound.rows(design)
    if not rows:
        return design
    keys = tuple(sorted({*design.keys, *(key for row in rows for key in row)}))
    place = {key: i for i, key in enumerate(keys)}
    first = len(design.y) - n_censored
    matrix = np.zeros((len(design.y), len(keys)))
    matrix[:, [place[key] for key in design.keys]] = design.matrix
    told = np.zeros((len(rows), len(keys)))
    for i, row in enumerate(rows):
        for key, entry in row.items():
            told[i, place[key]] = entry

    def joined(own: F, value: float) -> F:
        return np.insert(own, first, np.full(len(rows), value))

    return design._replace(
        y=np.insert(design.y, first, values),
        n=joined(design.n, 1.0),
        noise=np.insert(design.noise, first, np.full(len(rows), RIG)),
        fixed_variance=joined(design.fixed_variance, 1.0),
        extra_variance=joined(design.extra_variance, 0.0),
        matrix=np.insert(matrix, first, told, axis=0),
        keys=keys,
        scale=tuple("response" if key[0] == "application" else key[0] for key in keys),
        slides=joined(design.slides, 0.0),
        damp=joined(design.damp, 0.0),
        throws=joined(design.throws, 0.0),
        applied=np.insert(
            design.applied, first, np.zeros((len(rows), design.applied.shape[1])), axis=0
        ),
        scale_priors=bound.scales,
    )
