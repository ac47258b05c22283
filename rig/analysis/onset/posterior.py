"""The onset as a posterior over friction laws, from whatever edges were seen.

For each law of `rig.analysis.onset.laws` three values are sought: the onset t₀, the drop of
friction and the distance from the leading edge to the first beam. The edges, the distance as placed
and a wide prior of the drop give them by generalised least squares (Gauss and Newton); all that is
uncertain enters as a *source* with its own direction in the residuals, so that the uncertainty
comes apart by source. Laws are weighted by their evidence.
"""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.analysis.angle.plane import Array
from rig.analysis.onset.laws import DROP_END, Table, table
from rig.sliding import G_MM_S2

U_TIME_MS = 0.2
"""Of one edge, beside the receiver's delay: a judged figure for slits and a soft edge."""
U_EDGE_MM = 0.2
"""How far the place where one edge breaks a beam may differ from what the distances say. Judged."""
RATIO, U_RATIO_LOG, MOST_RATIO = 0.15, 1.2, 0.8
"""Prior of the drop as a part of µs: its middle, the standard deviation of log(1 + A), and the
most. It matters only where one edge is known."""
LEAST_MM = 0.3
"""The bag starts at least this far from a beam that it breaks."""
MOST_STEPS, SETTLED = 16, 0.03
"""Steps to the best drop of a law, at most; no more are needed once one is below this part of the
drop's own uncertainty, since another, linear one follows."""
HOPELESS = 40.0
"""A law whose χ² lies this far above the least can have no weight, and takes no further step."""
LARGEST_STEP = 0.8
"""Of the drop; half of the last step at most, where it turns back: whole ones overshoot where
friction hardly falls."""


class SeenEdge(NamedTuple):
    """One edge of the slide."""

    time_s: float
    beam: int
    """0 for the upper, 1 for the lower one."""
    leading: bool


class Distances(NamedTuple):
    """What the edges are measured by, in mm, each with its standard uncertainty."""

    gap: tuple[float, float]
    slump: tuple[float, float]
    length: tuple[float, float]
    spacing: tuple[float, float]


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
    """Least χ² of edges and distances."""
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
) -> OnsetPosterior:
    """The onset that some edges tell.

    Args:
        edges: at least one, in the order of their times.
        distances: of this run.
        angle_deg: inclination at the first edge.
        rate_deg_s: rate of the raise up to there.
        u_response_ms: standard uncertainty of the beams' delay.
        weights: of the laws in the table, in place of the prior.
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
    fit = _Fit(laws, law, edges, distances, unit_s, u_response_ms, middle)
    drop, onset, gap = fit.solve(most)
    near = fit.near(law, onset, drop, gap)
    cov, moved = near.covariance, near.moved
    chi2, log_weight, drop_mean, drop_var = fit.evidence(near, drop, most)
    log_weight = log_weight + np.log(prior[law])
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()

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
    fallen = laws.fallen(law, (reach[:, final] + reach[:, first]) / 2.0, speed * unit_s)
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
    likeliest, fits = int(np.argmax(weight)), int(chi2.argmin())
    return OnsetPosterior(
        onset_s=best,
        law_s=math.sqrt(float(weight @ (onsets - best) ** 2)),
        mu_kinetic=mu,
        law_mu_kinetic=math.sqrt(float(weight @ (kinetic - mu) ** 2)),
        speed_mm_s=speed,
        misfit=float(chi2.min()),
        limit="low" if drop[fits] <= 0.0 else "high" if drop[fits] >= most else None,
        to_break_mm=float(weight @ mean[:, 2]),
        length_off=fit.length_off(near, likeliest),
        sources=[
            Source(name, math.copysign(math.sqrt(a), -sign), math.sqrt(b))
            for name, (a, b, sign) in sources.items()
        ],
        law=int(law[likeliest]),
        law_drop=float(mean[likeliest, 1]),
        law_onset_s=float(onsets[likeliest]),
        unit_s=unit_s,
    )


class _Fit:
    """The least squares of all laws at once; unknown are onset, drop and distance to the beam."""

    def __init__(
        self,
        laws: Table,
        law: NDArray[np.intp],
        edges: Sequence[SeenEdge],
        distances: Distances,
        unit_s: float,
        u_response_ms: float,
        middle: float,
    ) -> None:
        self.laws, self.law, self.unit_s, self.middle = laws, law, unit_s, middle
        self.times = np.array([edge.time_s for edge in edges])
        self.leading = np.array([edge.leading for edge in edges])
        self.beam = np.array([float(edge.beam) for edge in edges])
        self.edges = len(edges)
        (gap, u_gap), (slump, u_slump), (length, u_length), (spacing, u_spacing) = distances
        self.to_break = gap - slump
        sees_first = any(edge.leading and edge.beam == 0 for edge in edges)
        self.least = LEAST_MM if sees_first else -20.0
        self.to_break = max(self.to_break, self.least)
        self.offset = np.where(self.leading, 0.0, gap - self.to_break + length)
        self.offset = self.offset + spacing * self.beam
        n = self.edges
        # Sources that act through the place of an edge: columns of lengths in mm for each edge.
        trailing = np.where(self.leading, 0.0, 1.0)
        self.by_place = np.stack(
            [
                np.zeros(n),
                u_slump * trailing,
                u_length * trailing,
                u_spacing * self.beam,
                *(U_EDGE_MM * np.eye(n)),
            ],
            axis=1,
        )
        self.names = ["gap", "slump", "length and skew", "beam spacing"]
        self.names += ["shape of the edges"] * (2 * n)
        self.names += ["beam response", "kinetic friction"]
        m = len(self.names)
        fixed = np.zeros((n + 1, m))
        fixed[n, 0], fixed[n, 1] = -u_gap, u_slump
        fixed[:n, 4 + n : 4 + 2 * n] = 1e-3 * U_TIME_MS * np.eye(n)
        fixed[:n, m - 2] = 1e-3 * u_response_ms
        self.fixed = fixed
        # The same as variances: those that go with the slopes by place, and those that do not.
        moving = np.zeros((n + 1, n + 1))
        moving[:n, :n] = self.by_place @ self.by_place.T
        moving[n, :n] = moving[:n, n] = self.by_place @ fixed[n, : 4 + n]
        self.moving, self.still = moving, fixed @ fixed.T

    def paths(self, gap: Array) -> Array:
        """Distance from the start to each edge, shape (laws, edges)."""
        return np.maximum(gap[:, None] + self.offset, 1e-3)

    def near(self, law: NDArray[np.intp], onset: Array, drop: Array, gap: Array) -> "_Near":
        """Generalised least squares of each law, linear about these unknowns."""
        n = self.edges
        time, by_drop, by_path = self.laws.times(law, drop, self.paths(gap))
        by_place = np.ones((len(gap), n + 1))
        by_place[:, :n] = by_path * self.unit_s
        rows = np.zeros((len(gap), n + 1, 4))
        rows[:, :n, 0] = 1.0
        rows[:, :n, 1] = by_drop * self.unit_s
        rows[:, :, 2] = by_place
        rows[:, :n, 3] = self.times - onset[:, None] - self.unit_s * time
        rows[:, n, 3] = self.to_break - gap
        variance = self.still + self.moving * by_place[:, :, None] * by_place[:, None, :]
        weighted: Array = np.linalg.solve(variance, rows).astype(np.float64, copy=False)
        normal = rows[:, :, :3].transpose(0, 2, 1) @ weighted
        normal[:, 1, 1] += U_RATIO_LOG**-2
        normal[:, 1, 3] += (self.middle - drop) * U_RATIO_LOG**-2
        covariance: Array = np.linalg.inv(normal[:, :, :3]).astype(np.float64, copy=False)
        moved = (covariance @ normal[:, :, 3:])[:, :, 0]
        least = np.sum(rows[:, :, 3] * weighted[:, :, 3], axis=1)
        least += ((self.middle - drop) / U_RATIO_LOG) ** 2 - np.sum(normal[:, :, 3] * moved, axis=1)
        return _Near(rows, weighted, variance, covariance, moved, least)

    def solve(self, most: float) -> tuple[Array, Array, Array]:
        """The best admissible drop, with onset and gap, for each law."""
        many = len(self.law)
        gap = np.full(many, self.to_break)
        drop = self._first_drop(most)
        onset = np.full(many, self.times.min())
        last, largest = np.zeros(many), np.full(many, LARGEST_STEP)
        moves, best = np.arange(many), math.inf
        for _ in range(MOST_STEPS):
            near = self.near(self.law[moves], onset[moves], drop[moves], gap[moves])
            cov, moved = near.covariance, near.moved
            before = last[moves]
            most_now = np.where(
                moved[:, 1] * before < 0.0,
                np.minimum(largest[moves], np.abs(before) / 2.0),
                largest[moves],
            )
            wanted = drop[moves] + np.minimum(np.maximum(moved[:, 1], -most_now), most_now)
            wanted = np.minimum(np.maximum(wanted, 0.0), most)
            step = wanted - drop[moves]
            held = (step - moved[:, 1]) / cov[:, 1, 1]
            onset[moves] += moved[:, 0] + cov[:, 0, 1] * held
            gap[moves] = np.maximum(gap[moves] + moved[:, 2] + cov[:, 2, 1] * held, self.least)
            drop[moves], last[moves], largest[moves] = wanted, step, most_now
            best = min(best, float(near.least.min()))
            moves = moves[
                (near.least < best + HOPELESS) & (np.abs(step) > SETTLED * np.sqrt(cov[:, 1, 1]))
            ]
            if not len(moves):
                break
        return drop, onset, gap

    def _first_drop(self, most: float) -> Array:
        """From the time between the outer edges, which falls as the drop grows."""
        if self.edges == 1:
            return np.full(len(self.law), min(self.middle, most))
        first, last = int(self.times.argmin()), int(self.times.argmax())
        drops, took = self.laws.between(
            self.law, *self.paths(np.array([self.to_break]))[0, [first, last]].tolist()
        )
        seen = (self.times[last] - self.times[first]) / self.unit_s
        before = np.minimum(np.maximum((took > seen).sum(axis=1), 1), len(drops) - 1)
        every = np.arange(len(self.law))
        longer, shorter = took[every, before - 1], took[every, before]
        part = (longer - seen) / np.maximum(longer - shorter, 1e-9)
        found = drops[before - 1] + (drops[before] - drops[before - 1]) * part
        drop: Array = np.minimum(np.maximum(found, 0.0), most)
        return drop

    def shares(self, near: "_Near") -> Array:
        """What each source does to the unknowns, shape (laws, 3, sources)."""
        n = self.edges
        gain = near.covariance @ near.weighted[:, :, :3].transpose(0, 2, 1)
        shares: Array = gain @ self.fixed
        shares[:, :, : 4 + n] += (gain * near.rows[:, None, :, 2])[:, :, :n] @ self.by_place
        shares[:, :, -1] = near.covariance[:, :, 1] / U_RATIO_LOG
        return shares

    def length_off(self, near: "_Near", law: int) -> tuple[float, float]:
        """The length as one of the sources, from what is left over under one law."""
        n, k = self.edges, self.names.index("length and skew")
        rows, moved = near.rows[law], near.moved[law]
        of_length = self.fixed[:, k].copy()
        of_length[:n] += rows[:n, 2] * self.by_place[:, k]
        towards = np.linalg.solve(near.variance[law], of_length)
        hidden = towards @ rows[:, :3]
        seen = float(towards @ of_length - hidden @ near.covariance[law] @ hidden)
        return float(towards @ (rows[:, 3] - rows[:, :3] @ moved)), seen

    def evidence(
        self, near: "_Near", drop: Array, most: float
    ) -> tuple[Array, Array, Array, Array]:
        """χ² without the drop's prior, log evidence, and mean and variance of the drop."""
        cov, moved = near.covariance, near.moved
        u_drop = np.sqrt(cov[:, 1, 1])
        free = drop + moved[:, 1]
        # The drop lies between 0 and the most: a normal curve cut off, by its values at nodes.
        low = np.minimum(np.maximum(free - 4.0 * u_drop, 0.0), most)
        high = np.minimum(np.maximum(free + 4.0 * u_drop, 0.0), most)
        nearest = np.minimum(np.maximum(free, 0.0), most)
        away = np.abs(nearest - free) / u_drop
        thin = 8.0 * u_drop / np.maximum(away, 2.0)
        low = np.where(high - low < thin, np.maximum(high - thin, 0.0), low)
        high = np.where(high - low < thin, np.minimum(low + thin, most), high)
        nodes = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, 33)
        z = (nodes - free[:, None]) / u_drop[:, None]
        density = np.exp((away**2)[:, None] / 2.0 - z * z / 2.0)
        density[:, [0, -1]] /= 2.0
        whole = density.sum(axis=1)
        mean = (density * nodes).sum(axis=1) / whole
        var = (density * nodes**2).sum(axis=1) / whole - mean**2
        mass = whole * (high - low) / 32.0 / u_drop
        log_evidence = (
            -0.5 * (near.least + away**2)
            + np.log(np.maximum(mass, 1e-300))
            + 0.5 * (np.linalg.slogdet(cov)[1] - np.linalg.slogdet(near.variance)[1])
        )
        of_prior = ((self.middle - nearest) / U_RATIO_LOG) ** 2
        return near.least + away**2 - of_prior, log_evidence, mean, np.maximum(var, 1e-12)


class _Near(NamedTuple):
    """The fits of all laws about some values of the unknowns: onset, drop, distance to the beam.

    Rows are the edges and the distance as placed, in this order; the prior of the drop stands apart
    from them in the covariance.
    """

    rows: Array
    """Derivatives by the three unknowns, and residuals; shape (laws, rows, 4)."""
    weighted: Array
    """The same by the inverse of the variances."""
    variance: Array
    """Of the rows, shape (laws, rows, rows)."""
    covariance: Array
    """Of the unknowns, shape (laws, 3, 3)."""
    moved: Array
    """The step to the best unknowns, shape (laws, 3)."""
    least: Array
    """χ² after that step, with the prior of the drop, shape (laws,)."""
