"""The onset as a posterior over friction laws, from whatever edges were seen.

Each law of `rig.analysis.onset.laws` is fitted to the edges (`rig.analysis.onset.fit`), and is
weighted by its evidence; all that is uncertain enters as a *source* with its own direction in the
residuals, so that the uncertainty comes apart by source. Where the fill may have slumped further
than is stated, the laws are fitted with those distances as well, and weighted along with the rest.
"""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from rig.analysis.angle.plane import Array
from rig.analysis.onset.fit import MOST_RATIO, RATIO, Distances, Fit, SeenEdge
from rig.analysis.onset.laws import DROP_END, table
from rig.sliding import G_MM_S2

SLUMPS = 0.1
"""Part of the slides before which the fill slumps by more than is stated, anywhere up to the beam.
Judged: it widens u where that explains the edges better, and hardly elsewhere."""


class Source(NamedTuple):
    """What one input's uncertainty does to the onset's time and to the kinetic coefficient.

    The time is below 0 where a larger figure for the input gives an earlier onset.
    """

    name: str
    time_s: float
    mu_kinetic: float


class OnsetPosterior(NamedTuple):
    """The onset and what else the edges tell."""

    onset_s: float
    law_s: float
    """Standard deviation of the onset from law to law."""
    mu_kinetic: float
    law_mu_kinetic: float
    speed_mm_s: float
    """Mean speed between the first and the last edge, which the kinetic coefficient holds for."""
    misfit: float
    """Least χ² of edges and distances as stated."""
    log_evidence: float
    """Logarithm of the edges' probability density, in 1/s for each edge, up to a constant that is
    alike for all edges of a slide."""
    slumped: float
    """Probability that the fill had slumped further than stated."""
    limit: Literal["low", "high"] | None
    """The law that fits best would rather have no drop of friction, or more than there can be."""
    to_break_mm: float
    length_off: tuple[float, float]
    """How far the edges take the length from what was stated, in standard uncertainties of it; and
    the share of its variance that the edges tell at all, 0 to 1."""
    sources: list[Source]
    law: int
    """Index of the likeliest law in the table, with its drop and its onset; see `motion_mm`."""
    law_drop: float
    law_onset_s: float
    unit_s: float

    def motion_mm(self, time_s: Array) -> Array:
        """The way of the bag under the likeliest law, from its onset."""
        path_mm = np.exp(np.linspace(math.log(0.3), math.log(400.0), 300))
        law, drop = np.array([self.law]), np.array([self.law_drop])
        taken, *_ = table().times(law, drop, path_mm[None, :])
        then = self.law_onset_s + self.unit_s * np.concatenate([[0.0], taken[0]])
        way: Array = np.interp(time_s, then, np.concatenate([[0.0], path_mm]))
        return way

    @property
    def u_time_s(self) -> float:
        """Standard deviation of the onset over all."""
        return math.sqrt(self.law_s**2 + math.fsum(one.time_s**2 for one in self.sources))


def posterior(
    edges: Sequence[SeenEdge],
    distances: Distances,
    angle_deg: float,
    rate_deg_s: float,
    u_response_ms: float,
    weights: Array | None = None,
    slumped: Distances | None = None,
) -> OnsetPosterior:
    """The onset that some edges tell.

    Args:
        edges: at least one, in the order of their times.
        distances: of this run.
        angle_deg: inclination at the first edge.
        rate_deg_s: rate of the raise up to there.
        u_response_ms: standard uncertainty of the beams' delay.
        weights: of the laws in the table, in place of the prior.
        slumped: the distances where the fill slumped further than stated; None: it can't have.
    """
    laws = table()
    angle, turn = math.radians(angle_deg), math.radians(rate_deg_s)
    unit_s = (G_MM_S2 * turn / math.cos(angle)) ** (-1.0 / 3.0)
    prior = laws.prior(unit_s) if weights is None else weights
    law = np.flatnonzero(prior > 0.0)
    static = math.tan(angle)
    # A in units of the table for a drop of 1; µk = µs − drop.
    per_drop = G_MM_S2 * math.cos(angle) * unit_s**2
    middle, most = (math.log1p(per_drop * static * part) for part in (RATIO, MOST_RATIO))
    most = min(most, DROP_END - 0.2)
    sets = [distances] if slumped is None else [distances, slumped]
    fit = Fit(laws, law, edges, sets, unit_s, u_response_ms, middle)
    drop, onset, gap = fit.solve(most)
    near = fit.near(np.arange(len(fit.law)), onset, drop, gap)
    cov, moved = near.covariance, near.moved
    chi2, log_weight, drop_mean, drop_var = fit.evidence(near, drop, most)
    share = np.array([1.0] if slumped is None else [1.0 - SLUMPS, SLUMPS])
    log_weight = log_weight + np.log(prior[fit.law] * share[fit.set])
    weight = np.exp(log_weight - log_weight.max())
    whole = float(weight.sum())
    log_evidence = float(log_weight.max()) + math.log(whole)
    weight /= whole
    of_set = np.bincount(fit.set, weight)

    # Given the drop, onset and gap follow it along a line.
    along = cov[:, :, 1] / cov[:, 1, 1][:, None]
    free = np.stack([onset, drop, gap], axis=1) + moved
    mean = free + along * (drop_mean - free[:, 1])[:, None]
    shrunk = cov[:, 0, 0] + along[:, 0] ** 2 * (drop_var - cov[:, 1, 1])
    onsets = mean[:, 0]
    best = float(weight @ onsets)
    ends = sorted(edges)
    span_s = ends[-1].time_s - ends[0].time_s
    reach = fit.paths(mean[:, 2])
    first, final = edges.index(ends[0]), edges.index(ends[-1])
    speed = float(weight @ (reach[:, final] - reach[:, first])) / max(span_s, 1e-9)
    if len(edges) == 1:
        speed = 2.0 * float(weight @ (reach[:, 0] / np.maximum(ends[0].time_s - onsets, 1e-3)))
    fallen = laws.fallen(fit.law, (reach[:, final] + reach[:, first]) / 2.0, speed * unit_s)
    static_then = np.tan(angle + turn * (onsets - ends[0].time_s))
    by_time = turn / math.cos(angle) ** 2
    kinetic = static_then - fallen * np.expm1(mean[:, 1]) / per_drop
    mu = float(weight @ kinetic)
    by_drop = fallen * np.exp(mean[:, 1]) / per_drop

    scale = np.sqrt(np.maximum(shrunk, 0.0) / cov[:, 0, 0])
    narrower = np.sqrt(drop_var / cov[:, 1, 1])
    shares = fit.shares(near)
    of_time = shares[:, 0, :] * scale[:, None]
    of_drop = shares[:, 1, :] * narrower[:, None]
    both = by_time * of_time - by_drop[:, None] * of_drop
    sources: dict[str, Array] = {}
    means = weight @ np.stack([of_time**2, both**2, of_time])
    for name, sums in zip(fit.names, means.T, strict=True):
        sources[name] = sources.get(name, 0.0) + sums
    # What one set of distances moves against the other is the slump's doing, not the law's.
    onset_of, kinetic_of = (
        np.bincount(fit.set, weight * each) / np.maximum(of_set, 1e-300)
        for each in (onsets, kinetic)
    )
    sources["slump"][0] += of_set @ (onset_of - best) ** 2
    sources["slump"][1] += of_set @ (kinetic_of - mu) ** 2
    likeliest, fits = int(np.argmax(weight)), int(chi2[fit.set == 0].argmin())
    return OnsetPosterior(
        onset_s=best,
        law_s=math.sqrt(float(weight @ (onsets - onset_of[fit.set]) ** 2)),
        mu_kinetic=mu,
        law_mu_kinetic=math.sqrt(float(weight @ (kinetic - kinetic_of[fit.set]) ** 2)),
        speed_mm_s=speed,
        misfit=float(chi2[fits]),
        log_evidence=log_evidence - 0.5 * len(edges) * math.log(2.0 * math.pi),
        slumped=float(of_set[1]) if len(of_set) > 1 else 0.0,
        limit="low" if drop[fits] <= 0.0 else "high" if drop[fits] >= most else None,
        to_break_mm=float(weight @ mean[:, 2]),
        length_off=fit.length_off(near, likeliest),
        sources=[
            Source(name, math.copysign(math.sqrt(a), -sign), math.sqrt(b))
            for name, (a, b, sign) in sources.items()
        ],
        law=int(fit.law[likeliest]),
        law_drop=float(mean[likeliest, 1]),
        law_onset_s=float(onsets[likeliest]),
        unit_s=unit_s,
    )
