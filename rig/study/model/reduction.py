"""From the slides of other owners' studies to a few readings, with all else integrated out.

At given scales everything linear is normal: what one study's slides say of the terms that it may
share with others is then a likelihood of normal shape (`OtherStudy.at`), and those of all studies
are joined by addition. What their recipes did is left free, since nothing of it is taken along;
what throws and slides did is taken as linear in the logarithms of the doses about their likeliest.

The scales themselves are known from all studies *together*: that the studies agree in their slopes
says how little sessions scatter, which none of them knows alone. So they are drawn from what the
joined likelihood says of them, the terms are found at each of these points, and what is handed on
has the mean and the covariance of the mixture.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from rig.study.model.censored import Censoring
from rig.study.model.data import ModelData
from rig.study.model.design import Configuration, Design, F, I, Key, UsualTerms, design_of
from rig.study.model.gradient import with_gradient
from rig.study.model.importance import Lattice, Shape, log_t
from rig.study.model.laplace import FARTHEST, LEAST_CURVATURE, STEP, laplace_of
from rig.study.model.likelihood import Likelihood
from rig.study.model.others import NOBODY, SHARED, Bound
from rig.study.model.posterior import LINEAR, SCALES
from rig.study.model.priors import PRIORS, scalar_at
from rig.study.model.threads import single_threaded
from rig.study.model.weights import resampled, smoothed

NOT_LENT = ("response",)
"""Scales that are common to the other studies but say nothing here: their recipes are their own."""
COMMON_SCALES = tuple(name for name in SCALES if name != "rigs")
COMMON = ("level", "slope", "slope_face", "temperature", "from_damp")
"""Kinds of terms that studies share, beside bags that both know."""
ROUNDS = (60, 120)
"""Points of the scales; the second time from where the first ones lie."""
MIXED = 24
"""Points of equal weight at which the terms are found."""
WIDER = 1.3
"""The first shape against that of each study by itself, which knows less than all together."""
WORTH = 1e-4
"""A reading with less information than this part of the prior's is left out."""
SEED = 19


class Term(NamedTuple):
    """Something that several studies may speak of."""

    key: Key
    usual: UsualTerms | None
    """What a level is stated against."""

    def sd(self, scales: dict[str, float]) -> float:
        """Standard deviation beforehand, in degrees."""
        return scales.get(self.key[0]) or PRIORS[self.key[0]].spread


class Spoken(NamedTuple):
    """A likelihood of normal shape of some terms, but for a constant: exp(c + h·x − x·P·x / 2)."""

    log: float
    towards: F
    precision: F


def _is_named(model: str, face: str) -> bool:
    return bool(model and face)


@single_threaded
def reduced(datas: Sequence[ModelData], wanted: Callable[[str, str], bool] = _is_named) -> Bound:
    """Reduce studies of others.

    Args:
        datas: the reduced slide tables; shared bags and boards have names that begin with SHARED.
        wanted: which model's faces to speak of.

    Raises:
        BadInputError: their figures are too large to be compared.
    """
    league = League([OtherStudy(data, wanted) for data in datas])
    return league.bound(*league.points()) if league.terms else NOBODY


class OtherStudy:
    """One other study, its wear stated about what is likeliest of it.

    Args:
        data: its reduced slide table.
        wanted: which model's faces to speak of.
    """

    def __init__(self, data: ModelData, wanted: Callable[[str, str], bool] = _is_named) -> None:
        below = np.array([one.below_deg for one in data.censored]) - PRIORS["level"].centre
        design = Censoring(below).fitted(design_of(data))
        configuration = (LINEAR,) * len(design.recipes)
        likelihood = Likelihood(design, configuration)
        mode = laplace_of(likelihood, {}).mode
        self.likelihood = _straightened(design, configuration, likelihood, mode)
        self.mode = mode
        names = self.likelihood.names
        self.places = [(i, names.index(n)) for i, n in enumerate(COMMON_SCALES) if n in names]
        treated = {one.bag for one in data.applications}
        keys = [self.likelihood.design.keys[i] for i in self.likelihood.active]
        chosen = [i for i, key in enumerate(keys) if _is_common(key, wanted, treated)]
        self.chosen: I = np.array(chosen, dtype=np.intp)
        self.terms = [
            Term(keys[i], design.usual if keys[i][0] == "level" else None) for i in chosen
        ]

    def outer(self, scales: F) -> F:
        """The outer vector with the common scales in place of its own."""
        u = self.mode.copy()
        for i, place in self.places:
            u[place] = scales[i]
        return u

    def at(self, scales: F) -> Spoken:
        """What it says of its terms, in degrees."""
        u = self.outer(scales)
        point = self.likelihood.at(u)
        chosen, sd = self.chosen, point.sd[self.chosen]
        unit = np.eye(len(point.mean))[:, chosen]
        covariance = cho_solve((point.factor, True), unit)[chosen]
        precision = np.linalg.inv(covariance)
        mean = point.mean[chosen]
        towards = precision @ mean
        # Its own prior of scales and terms is not what its slides say.
        log = point.log_density + 0.5 * float(u @ u) - 0.5 * float(towards @ mean)
        log += 0.5 * float(np.linalg.slogdet(precision)[1])
        return Spoken(
            log, towards / sd, (precision - np.eye(len(chosen))) / sd[:, None] / sd[None, :]
        )


def _straightened(
    design: Design, configuration: Configuration, likelihood: Likelihood, mode: F
) -> Likelihood:
    """The same with what doses of wear add written as linear terms about their likeliest."""
    wear = [i for i, name in enumerate(likelihood.names) if name not in SCALES]
    if not wear:
        return likelihood
    mean = likelihood.at(mode).mean

    def angles(u: F) -> F:
        parts = likelihood.solve(u)[1]
        return np.asarray(parts.offset + parts.xs @ mean)

    steps = STEP * np.eye(len(mode))[wear]
    slopes = [(angles(mode + d) - angles(mode - d)) / (2.0 * STEP) for d in steps]
    columns = np.array(slopes).T
    straight = design._replace(
        y=design.y + columns @ mode[wear],
        matrix=np.hstack([design.matrix, columns]),
        keys=(*design.keys, *(("wear", likelihood.names[i]) for i in wear)),
        # Standard normals, as the checks of a material are by their definition.
        scale=(*design.scale, *("material" for _ in wear)),
    )
    return Likelihood(straight, configuration)


def _is_common(key: Key, wanted: Callable[[str, str], bool], treated: set[str]) -> bool:
    if key[0] in ("bag", "bag_face"):
        return key[1].startswith(SHARED) and key[1] not in treated
    return key[0] in COMMON and (len(key) == 1 or wanted(key[1], key[2]))


class League:
    """Studies that share scales and terms.

    Args:
        studies: at least one.
    """

    def __init__(self, studies: Sequence[OtherStudy]) -> None:
        self.studies = studies
        self.terms = list(dict.fromkeys(term for one in studies for term in one.terms))
        place = {term: i for i, term in enumerate(self.terms)}
        self._places = [np.array([place[t] for t in one.terms], dtype=np.intp) for one in studies]
        known = {i for one in studies for i, _ in one.places}
        self.scales: I = np.array(sorted(known), dtype=np.intp)
        """Numbers of the common scales that matter here."""

    def joined(self, scales: F) -> Spoken:
        """What all studies say of all terms at these common scales."""
        n = len(self.terms)
        log, towards, precision = 0.0, np.zeros(n), np.zeros((n, n))
        for one, places in zip(self.studies, self._places, strict=True):
            said = one.at(scales)
            log += said.log
            towards[places] += said.towards
            precision[np.ix_(places, places)] += said.precision
        return Spoken(log, towards, precision)

    def points(self) -> tuple[F, F]:
        """Weighted points of the common scales, given all studies."""
        mode, covariance = self._apart()
        shape = Shape(mode, _lower(WIDER**2 * covariance), 0)
        lattice = Lattice(len(mode) + 1, np.random.default_rng(SEED))
        u, density = np.empty((0, len(mode))), np.empty(0)
        used: list[Shape] = []
        for n in ROUNDS:
            used.append(shape._replace(n=n))
            new = shape.points(lattice.next(n))
            u = np.vstack([u, new])
            density = np.append(density, [self.log_density(one) for one in new])
            drawn = np.array([np.log(one.n) + log_t(u, one) for one in used])
            weights, _ = smoothed(density - np.logaddexp.reduce(drawn, axis=0))
            mean = weights @ u
            off = u - mean
            shape = Shape(mean, _lower((off.T * weights) @ off), 0)
        return u, weights

    def bound(self, points: F, weights: F) -> Bound:
        """Readings with the mean and covariance that the terms have over points of the scales."""
        mean_scales = weights @ points
        sd_scales = np.sqrt(weights @ (points - mean_scales) ** 2)
        sd = self._sd(mean_scales)
        n = len(self.terms)
        some = points[resampled(weights, MIXED)] if len(points) > 1 else points
        means, covariance = np.empty((len(some), n)), np.zeros((n, n))
        for i, point in enumerate(some):
            said = self.joined(self.all_at(point))
            factor = cho_factor(said.precision * np.outer(sd, sd) + np.eye(n), lower=True)
            means[i] = cho_solve(factor, sd * said.towards)
            covariance += cho_solve(factor, np.eye(n)) / len(some)
        mean = means.mean(axis=0)
        covariance += (means - mean).T @ (means - mean) / len(some)
        precision = np.linalg.inv(covariance)
        size, directions = np.linalg.eigh(precision - np.eye(n))
        towards = precision @ mean
        kept = [
            (value, direction)
            for value, direction in zip(size, directions.T, strict=True)
            if value > WORTH
        ]
        names = [COMMON_SCALES[i] for i in self.scales]
        told = zip(names, mean_scales.tolist(), sd_scales.tolist(), strict=True)
        return Bound(
            keys=tuple(term.key for term in self.terms),
            usual=tuple(term.usual for term in self.terms),
            weights=tuple(tuple((value**0.5 * d / sd).tolist()) for value, d in kept),
            readings=tuple(float(d @ towards / value**0.5) for value, d in kept),
            scales={name: (at, spread) for name, at, spread in told if name not in NOT_LENT},
        )

    def log_density(self, point: F) -> float:
        """Of the scales and all slides, the terms integrated out; up to a constant."""
        said, sd = self.joined(self.all_at(point)), self._sd(point)
        factor = cho_factor(said.precision * np.outer(sd, sd) + np.eye(len(self.terms)), lower=True)
        towards = sd * said.towards
        log = said.log - 0.5 * float(point @ point)
        log += 0.5 * float(towards @ cho_solve(factor, towards))
        return log - float(np.log(np.diagonal(factor[0])).sum())

    def all_at(self, point: F) -> F:
        """All common scales, those that don't matter here 0."""
        scales = np.zeros(len(COMMON_SCALES))
        scales[self.scales] = point
        return scales

    def _sd(self, point: F) -> F:
        values = {
            COMMON_SCALES[i]: scalar_at(COMMON_SCALES[i], z)
            for i, z in zip(self.scales, point.tolist(), strict=True)
        }
        return np.array([term.sd(values) for term in self.terms])

    def _apart(self) -> tuple[F, F]:
        """Mode and covariance of the scales as if each study had terms of its own."""

        def downhill(point: F) -> tuple[float, F]:
            scales = self.all_at(point)
            value, gradient = 0.5 * float(point @ point), scales.copy()
            for one in self.studies:
                u = one.outer(scales)
                density, by_outer = with_gradient(one.likelihood, u)
                value -= density + 0.5 * float(u @ u)
                for i, place in one.places:  # each study's own prior would count again and again
                    gradient[i] -= by_outer[place] + u[place]
            return value, gradient[self.scales]

        n = len(self.scales)
        found = minimize(
            downhill, np.zeros(n), jac=True, method="L-BFGS-B", bounds=[(-FARTHEST, FARTHEST)] * n
        )
        mode = np.asarray(found.x, dtype=np.float64)
        steps = STEP * np.eye(n)
        curvature = np.array(
            [(downhill(mode + d)[1] - downhill(mode - d)[1]) / (2.0 * STEP) for d in steps]
        )
        values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
        return mode, np.asarray((vectors / np.maximum(values, LEAST_CURVATURE)) @ vectors.T)


def _lower(covariance: F) -> F:
    return np.linalg.cholesky(covariance).astype(np.float64)
