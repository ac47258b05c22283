"""Weighted draws of all that is unknown, by importance sampling that adapts to its own draws.

Each configuration has a t₈ shape about each of its modes. After a round a shape's centre and
covariance are taken from all draws so far, each by the chance that it belongs to that shape, and
shrunk towards the last ones where few of them count (Cappé et al., Stat. Comput. 18, 447, 2008). A
draw's weight is taken against the mixture of all shapes its configuration was drawn from
(deterministic-mixture weights: Owen and Zhou, J. Am. Stat. Assoc. 95, 135, 2000). The draws follow
a lattice, so that a few hundred of them lie evenly (Richtmyer's, whose steps are the square roots
of primes).
"""

from collections.abc import Sequence
from itertools import count, islice
from math import isqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack, solve_triangular
from scipy.special import gammaincinv, gammaln, ndtri

from rig.study.model.censored import Censoring
from rig.study.model.configurations import Candidate
from rig.study.model.design import F
from rig.study.model.likelihood import Likelihood
from rig.study.model.weights import TRUSTED_K, effective, smoothed

ROUNDS = (500, 800, 1200)
EXTRA = (1200, 1200)
"""Further rounds while the weights are not to be trusted."""
LEAST_ESS = 200.0
LEAST_EACH = 12
"""Draws of a configuration or a mode in a round, however small its share."""
LEAST_SHARE = 1e-6
"""Of the weights, for a mode to keep its shape."""
DF = 8.0
PER_POINT = 24
"""Draws of the linear terms for each point of the outer vector, in pairs about their mean."""


class Drawn(NamedTuple):
    """Weighted draws: one entry for each point and, within it, each draw of the linear terms."""

    outer: F
    """Points × outer names; NaN where a name does not matter in the point's configuration."""
    kinds: F
    """Points × tested recipes."""
    linear: NDArray[np.float32]
    """Points × PER_POINT × columns, in degrees; 0 where a column does not matter."""
    weights: F
    """Points × PER_POINT, summing to 1."""
    pareto_k: float
    ess: float


class Shape(NamedTuple):
    """A t shape with DF degrees of freedom, from which points are drawn."""

    centre: F
    factor: F
    """Lower Cholesky factor of its covariance but for DF / (DF − 2)."""
    n: int
    """Draws that it gave."""

    def points(self, even: F) -> F:
        """Points × names, from even ones of a cube with one dimension more."""
        widths = np.sqrt(DF / _chi2_quantile(even[:, -1:], DF))
        return np.asarray(self.centre + (ndtri(even[:, :-1]) * widths) @ self.factor.T)


class _Sampler:
    """The draws of one configuration so far."""

    def __init__(self, candidate: Candidate, censoring: Censoring, seed: int, spare: int) -> None:
        self.likelihood, self.censoring = candidate.likelihood, censoring
        # Those of a small share decide where an interval of a mixture ends, so they get more.
        self.log_share = 0.5 * candidate.log_evidence
        self.shapes = [Shape(one.mode, one.factor, 0) for one in candidate.shapes]
        evidence = np.array([one.log_evidence for one in candidate.shapes])
        self.shares = np.exp(0.5 * (evidence - evidence.max()))
        """Of each shape, in the next draws."""
        self.used: list[Shape] = []
        self.u = np.empty((0, len(self.likelihood.names)))
        self.log_density = np.empty(0)
        self.log_ratios = np.empty((0, PER_POINT))
        self.terms = np.empty((0, PER_POINT, len(self.likelihood.active)), dtype=np.float32)
        self.rng = np.random.default_rng([seed, spare])
        self.lattice = Lattice(len(self.likelihood.names) + 1, self.rng)

    def draw(self, n: int) -> None:
        """Draw `n` more points and adapt."""
        each = np.maximum(np.rint(n * self.shares / self.shares.sum()).astype(int), LEAST_EACH)
        shapes = [s._replace(n=int(k)) for s, k in zip(self.shapes, each, strict=True)]
        u = np.vstack([shape.points(self.lattice.next(shape.n)) for shape in shapes])
        self.used += shapes
        density, ratios, terms = _evaluated(self.likelihood, self.censoring, u, self.rng)
        self.u = np.vstack([self.u, u])
        self.log_density = np.append(self.log_density, density)
        self.log_ratios = np.vstack([self.log_ratios, ratios])
        self.terms = np.concatenate([self.terms, terms])
        self._adapt()

    def log_weights(self) -> F:
        """Of each point, against all shapes it may have come from."""
        shapes = np.array([np.log(s.n) + log_t(self.u, s) for s in self.used])
        return np.asarray(self.log_density - np.logaddexp.reduce(shapes, axis=0))

    def _adapt(self) -> None:
        mean_ratio = np.logaddexp.reduce(self.log_ratios, axis=1) - np.log(PER_POINT)
        weights, _ = smoothed(self.log_weights() + mean_ratio)
        belongs = np.log(self.shares)[:, None] + [log_t(self.u, shape) for shape in self.shapes]
        parts = weights * np.exp(belongs - np.logaddexp.reduce(belongs, axis=0))
        shares = parts.sum(axis=1)
        self.shapes = [
            _adapted(shape, self.u, part / share)
            for shape, part, share in zip(self.shapes, parts, shares, strict=True)
            if share > LEAST_SHARE
        ]
        self.shares = shares[shares > LEAST_SHARE] ** 0.5


def drawn(
    chosen: Sequence[Candidate], censoring: Censoring, names: Sequence[str], seed: int
) -> Drawn:
    """Draw from all configurations.

    Args:
        chosen: configurations with their shapes, at least one.
        censoring: the slides that are only known to lie below an angle.
        names: the outer vector of all configurations together.
        seed: of the draws.
    """
    samplers = [_Sampler(one, censoring, seed, number) for number, one in enumerate(chosen)]
    log_shares = np.array([sampler.log_share for sampler in samplers])
    shares = np.exp(log_shares - np.logaddexp.reduce(log_shares))
    for number, n in enumerate((*ROUNDS, *EXTRA)):
        if number >= len(ROUNDS):
            weights, k = _weights(samplers)
            if k <= TRUSTED_K and effective(weights.sum(axis=1)) >= LEAST_ESS:
                break
        for sampler, share in zip(samplers, shares.tolist(), strict=True):
            sampler.draw(max(LEAST_EACH, round(n * share)))
    weights, k = _weights(samplers)
    design = chosen[0].likelihood.design
    sizes = [len(sampler.u) for sampler in samplers]
    outer = np.full((sum(sizes), len(names)), np.nan)
    kinds = np.zeros((sum(sizes), len(design.recipes)))
    linear = np.zeros((sum(sizes), PER_POINT, len(design.keys)), dtype=np.float32)
    first = 0
    for sampler, size in zip(samplers, sizes, strict=True):
        rows = slice(first, first + size)
        outer[rows, [names.index(name) for name in sampler.likelihood.names]] = sampler.u
        kinds[rows] = sampler.likelihood.configuration
        linear[rows, :, sampler.likelihood.active] = sampler.terms
        first += size
    return Drawn(outer, kinds, linear, weights, k, effective(weights.sum(axis=1)))


def _adapted(shape: Shape, u: F, weights: F) -> Shape:
    """A shape after its draws, by the weights of those that belong to it."""
    kept = effective(weights) / (effective(weights) + 3.0 * u.shape[1])
    centre = weights @ u
    off = u - centre
    covariance = kept * (off.T * weights) @ off
    covariance += (1.0 - kept) * shape.factor @ shape.factor.T
    centre = kept * centre + (1.0 - kept) * shape.centre
    return Shape(np.asarray(centre), np.linalg.cholesky(covariance).astype(np.float64), 0)


def _weights(samplers: Sequence[_Sampler]) -> tuple[F, float]:
    """Of each point and draw of the linear terms."""
    ratios = np.vstack([sampler.log_ratios for sampler in samplers])
    mean_ratio = np.logaddexp.reduce(ratios, axis=1) - np.log(PER_POINT)
    points = np.concatenate([sampler.log_weights() for sampler in samplers]) + mean_ratio
    weights, k = smoothed(points)
    return weights[:, None] * np.exp(ratios - mean_ratio[:, None]) / PER_POINT, k


def _evaluated(
    likelihood: Likelihood, censoring: Censoring, u: F, rng: np.random.Generator
) -> tuple[F, F, NDArray[np.float32]]:
    """Log densities of points, log ratios of censored slides, and draws of the linear terms."""
    density = np.empty(len(u))
    ratios = np.empty((len(u), PER_POINT))
    terms = np.empty((len(u), PER_POINT, len(likelihood.active)), dtype=np.float32)
    for i, point_u in enumerate(u):
        point, parts = likelihood.solve(point_u)
        half = rng.standard_normal((len(point.mean), PER_POINT // 2))
        off, _ = lapack.dtrtrs(point.factor, half, lower=1, trans=1)
        b = point.mean[:, None] + np.hstack([off, -off])
        density[i] = point.log_density
        ratios[i] = censoring.log_ratios(likelihood.design, parts, b)
        terms[i] = (b * point.sd[:, None]).T
    return density, ratios, terms


def log_t(u: F, shape: Shape) -> F:
    """Log density of a multivariate t with DF degrees of freedom (Kotz and Nadarajah 2004)."""
    d = u.shape[1]
    off = solve_triangular(shape.factor, (u - shape.centre).T, lower=True)
    size = gammaln((DF + d) / 2.0) - gammaln(DF / 2.0) - 0.5 * d * np.log(DF * np.pi)
    size -= np.log(np.diagonal(shape.factor)).sum()
    return np.asarray(size - 0.5 * (DF + d) * np.log1p((off**2).sum(axis=0) / DF))


class Lattice:
    """Points that fill a cube evenly, however many are taken."""

    def __init__(self, d: int, rng: np.random.Generator) -> None:
        primes = (p for p in count(2) if all(p % q for q in range(2, isqrt(p) + 1)))
        self.steps = np.sqrt([float(p) for p in islice(primes, d)]) % 1.0
        self.shift = rng.random(d)
        self.taken = 0

    def next(self, n: int) -> F:
        """The next `n` points, none on the cube's faces."""
        numbers = np.arange(self.taken + 1, self.taken + n + 1)
        self.taken += n
        even = (self.shift + numbers[:, None] * self.steps) % 1.0
        return np.asarray(np.clip(even, 1e-9, 1.0 - 1e-9))


def _chi2_quantile(p: F, df: float) -> F:
    return np.asarray(2.0 * gammaincinv(df / 2.0, p))
