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
from scipy.optimize import minimize

from rig.study.model.censored import Censoring
from rig.study.model.data import ModelData
from rig.study.model.design import Configuration, Design, F, I, Key, UsualTerms, design_of
from rig.study.model.gradient import with_gradient
from rig.study.model.importance import Lattice, Shape, log_t
from rig.study.model.laplace import FARTHEST, LEAST_CURVATURE, STEP, laplace_of
from rig.study.model.likelihood import RUNS, Likelihood
from rig.study.model.others import NOBODY, SHARED, Bound
from rig.study.model.posterior import LINEAR, SCALES
from rig.study.model.priors import PRIORS, value_at
from rig.study.model.threads import single_threaded
from rig.study.model.weights import effective, resampled, smoothed

NOT_LENT = ("response",)
"""Scales that are common to the other studies but say nothing here: their recipes are their own."""
COMMON_SCALES = tuple(name for name in SCALES if name != "rigs")
COMMON = ("level", "slope", "slope_face", "temperature", "from_damp")
"""Kinds of terms that studies share, beside bags that both know."""
ROUNDS = (120, 180, 200)
"""Points of the scales; each time from where those before lie."""
EXTRA = (300, 300, 300)
"""Further ones while fewer than LEAST_ESS count."""
LEAST_ESS = 80.0
MIXED = 48
"""Points of equal weight at which the terms are found."""
WIDER = 1.3
"""The first shape against that of each study by itself, which knows less than all together."""
WORTH = 1e-4
"""A reading with less information than this part of the prior's is left out."""
MOST_ENTRIES = 2_000_000
"""Of matrices at once."""
SEED = 19


class Term(NamedTuple):
    """Something that several studies may speak of."""

    key: Key
    usual: UsualTerms | None
    """What a level is stated against."""


class Spoken(NamedTuple):
    """Likelihoods of normal shape of some terms x, but for a constant: exp(c + h·x − x·P·x / 2)."""

    log: F
    """c at each point of the scales."""
    towards: F
    """h: points × terms."""
    precision: F
    """P: points × terms × terms."""


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
        point, parts = self.likelihood.solve(mode)
        self._sd, self._x, self._rest = point.sd, parts.xs / point.sd, parts.rest / parts.root

    def outer(self, scales: F) -> F:
        """The outer vector with the common scales in place of its own."""
        u = self.mode.copy()
        for i, place in self.places:
            u[place] = scales[i]
        return u

    def at(self, points: F) -> Spoken:
        """What it says of its terms, in degrees, at points of the common scales.

        With the doses as they are all is linear, so this is `Likelihood.solve` at many points.
        """
        of, design = self.likelihood, self.likelihood.design
        values = {
            of.names[place]: value_at(COMMON_SCALES[i], points[:, i]) for i, place in self.places
        }
        sd = np.tile(self._sd, (len(points), 1))
        for place, columns in of.scaled:
            sd[:, columns] = values[of.names[place]][:, None]
        variance = np.tile(design.fixed_variance, (len(points), 1))
        log, extra, product = np.zeros((3, len(points)))
        for rows, name, sums in zip(of.by_noise, RUNS, design.within, strict=True):
            if name in values:
                of_run = values[name][:, None] ** 2
                variance[:, rows] = values["series"][:, None] ** 2 + of_run / design.n[rows]
                variance[:, rows] += design.extra_variance[rows]
                log -= 0.5 * (sums[1] / of_run + sums[0] * np.log(of_run))[:, 0]
                extra += sums[2] / of_run[:, 0]
                product += sums[3] / of_run[:, 0]
        root = 1.0 / np.sqrt(variance)
        xw = self._x * sd[:, None, :] * root[:, :, None]
        rest = self._rest * root
        a = xw.transpose(0, 2, 1) @ xw + np.eye(len(self._sd))
        h = (xw * rest[:, :, None]).sum(axis=1)
        k = of.settle
        a[:, k, k] += sd[:, k] ** 2 * extra
        h[:, k] += sd[:, k] * product
        covariance = np.linalg.inv(a)
        mean = (covariance @ h[:, :, None])[:, :, 0]
        log -= 0.5 * ((rest**2).sum(axis=1) - (h * mean).sum(axis=1))
        log -= 0.5 * (np.log(variance).sum(axis=1) + np.linalg.slogdet(a)[1])
        # Its own prior of the terms is not what its slides say.
        chosen, sd = self.chosen, sd[:, self.chosen]
        precision = np.linalg.inv(covariance[:, chosen[:, None], chosen])
        towards = (precision @ mean[:, chosen, None])[:, :, 0]
        log -= 0.5 * (towards * mean[:, chosen]).sum(axis=1)
        log += 0.5 * np.linalg.slogdet(precision)[1]
        precision = precision - np.eye(len(chosen))
        return Spoken(log, towards / sd, precision / sd[:, :, None] / sd[:, None, :])


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

    def joined(self, points: F) -> Spoken:
        """What all studies say of all terms at points of the scales."""
        n = len(self.terms)
        scales = self.all_at(points)
        log, towards = np.zeros(len(points)), np.zeros((len(points), n))
        precision = np.zeros((len(points), n, n))
        for one, places in zip(self.studies, self._places, strict=True):
            said = one.at(scales)
            log += said.log
            towards[:, places] += said.towards
            precision[:, places[:, None], places] += said.precision
        return Spoken(log, towards, precision)

    def points(self) -> tuple[F, F]:
        """Weighted points of the common scales, given all studies."""
        mode, covariance = self._apart()
        shape = Shape(mode, _lower(WIDER**2 * covariance), 0)
        lattice = Lattice(len(mode) + 1, np.random.default_rng(SEED))
        u, density = np.empty((0, len(mode))), np.empty(0)
        weights, used = np.empty(0), list[Shape]()
        for number, n in enumerate((*ROUNDS, *EXTRA)):
            if number >= len(ROUNDS) and effective(weights) >= LEAST_ESS:
                break
            used.append(shape._replace(n=n))
            new = shape.points(lattice.next(n))
            u = np.vstack([u, new])
            density = np.append(density, self.log_density(new))
            drawn = np.array([np.log(one.n) + log_t(u, one) for one in used])
            weights, _ = smoothed(density - np.logaddexp.reduce(drawn, axis=0))
            # Where few of them count, the next shape is mostly the last one.
            kept = effective(weights) / (effective(weights) + 3.0 * len(mode))
            mean = weights @ u
            off = u - mean
            covariance = kept * (off.T * weights) @ off
            covariance += (1.0 - kept) * shape.factor @ shape.factor.T
            shape = Shape(kept * mean + (1.0 - kept) * shape.centre, _lower(covariance), 0)
        return u, weights

    def bound(self, points: F, weights: F) -> Bound:
        """Readings with the mean and covariance that the terms have over points of the scales."""
        mean_scales = weights @ points
        sd_scales = np.sqrt(weights @ (points - mean_scales) ** 2)
        sd = self._sd(mean_scales[None, :])[0]
        n = len(self.terms)
        some = points[resampled(weights, MIXED)] if len(points) > 1 else points
        means, covariance = np.empty((0, n)), np.zeros((n, n))
        for part in self._parts(some):
            said = self.joined(part)
            inverse = np.linalg.inv(said.precision * np.outer(sd, sd) + np.eye(n))
            means = np.vstack([means, (inverse @ (sd * said.towards)[:, :, None])[:, :, 0]])
            covariance += inverse.sum(axis=0) / len(some)
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

    def log_density(self, points: F) -> F:
        """Of the scales and all slides, the terms integrated out; up to a constant."""
        found = []
        for part in self._parts(points):
            said, sd = self.joined(part), self._sd(part)
            a = said.precision * sd[:, :, None] * sd[:, None, :] + np.eye(len(self.terms))
            towards = sd * said.towards
            mean = np.linalg.solve(a, towards[:, :, None])[:, :, 0]
            log = said.log - 0.5 * (part**2).sum(axis=1) + 0.5 * (towards * mean).sum(axis=1)
            found.append(log - 0.5 * np.linalg.slogdet(a)[1])
        return np.concatenate(found)

    def all_at(self, points: F) -> F:
        """All common scales, those that don't matter here 0."""
        scales = np.zeros((len(points), len(COMMON_SCALES)))
        scales[:, self.scales] = points
        return scales

    def _parts(self, points: F) -> list[F]:
        """The points, so many at a time that their matrices need little memory."""
        n = max(1, MOST_ENTRIES // len(self.terms) ** 2)
        return [points[first : first + n] for first in range(0, len(points), n)]

    def _sd(self, points: F) -> F:
        """Points × terms, beforehand, in degrees."""
        values = {
            COMMON_SCALES[i]: value_at(COMMON_SCALES[i], z)
            for i, z in zip(self.scales, points.T, strict=True)
        }
        fixed = np.ones(len(points))
        return np.array(
            [values.get(t.key[0], fixed * PRIORS[t.key[0]].spread) for t in self.terms]
        ).T

    def _apart(self) -> tuple[F, F]:
        """Mode and covariance of the scales as if each study had terms of its own."""

        def downhill(point: F) -> tuple[float, F]:
            scales = self.all_at(point[None, :])[0]
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
