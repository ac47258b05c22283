"""The least squares of all friction laws at once, which the posterior of the onset weighs.

For each law three values are sought: the onset, the drop of friction and the distance from the
leading edge to the first beam. The edges, the distance as placed and a wide prior of the drop give
them by generalised least squares (Gauss and Newton).
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.analysis.angle.plane import Array
from rig.analysis.onset.laws import Table

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


class Fit:
    """The least squares of all laws at once; unknown are onset, drop and distance to the beam.

    With several sets of distances there is a row for each law under each set, in this order.
    """

    def __init__(
        self,
        laws: Table,
        law: NDArray[np.intp],
        edges: Sequence[SeenEdge],
        sets: Sequence[Distances],
        unit_s: float,
        u_response_ms: float,
        middle: float,
    ) -> None:
        self.laws, self.unit_s, self.middle = laws, unit_s, middle
        self.law = np.tile(law, len(sets))
        self.set = np.repeat(np.arange(len(sets)), len(law))
        self.times = np.array([edge.time_s for edge in edges])
        self.edges = len(edges)
        sees_first = any(edge.leading and edge.beam == 0 for edge in edges)
        self.least = LEAST_MM if sees_first else -20.0
        n = self.edges
        self.names = ["gap", "slump", "length and skew", "beam spacing"]
        self.names += ["shape of the edges"] * (2 * n)
        self.names += ["beam response", "kinetic friction"]
        parts = [_placed(edges, one, self.least, len(self.names), u_response_ms) for one in sets]
        self.to_break = np.array([part.to_break for part in parts])
        self.offset, self.by_place, self.fixed = (
            np.stack([part[k] for part in parts]) for k in (1, 2, 3)
        )
        # The same as variances: those that go with the slopes by place, and those that do not.
        self.moving = np.zeros((len(sets), n + 1, n + 1))
        self.moving[:, :n, :n] = self.by_place @ self.by_place.transpose(0, 2, 1)
        mixed = (self.by_place @ self.fixed[:, n, : 4 + n, None])[:, :, 0]
        self.moving[:, n, :n] = self.moving[:, :n, n] = mixed
        self.still = self.fixed @ self.fixed.transpose(0, 2, 1)

    def paths(self, gap: Array, which: NDArray[np.intp] | slice = slice(None)) -> Array:
        """Distance from the start to each edge, shape (rows, edges)."""
        path: Array = np.maximum(gap[:, None] + self.offset[self.set[which]], 1e-3)
        return path

    def near(self, which: NDArray[np.intp], onset: Array, drop: Array, gap: Array) -> "Near":
        """Generalised least squares of some rows, linear about these unknowns."""
        n, of = self.edges, self.set[which]
        time, by_drop, by_path = self.laws.times(self.law[which], drop, self.paths(gap, which))
        by_place = np.ones((len(gap), n + 1))
        by_place[:, :n] = by_path * self.unit_s
        rows = np.zeros((len(gap), n + 1, 4))
        rows[:, :n, 0] = 1.0
        rows[:, :n, 1] = by_drop * self.unit_s
        rows[:, :, 2] = by_place
        rows[:, :n, 3] = self.times - onset[:, None] - self.unit_s * time
        rows[:, n, 3] = self.to_break[of] - gap
        variance = self.still[of] + self.moving[of] * by_place[:, :, None] * by_place[:, None, :]
        weighted: Array = np.linalg.solve(variance, rows).astype(np.float64, copy=False)
        normal = rows[:, :, :3].transpose(0, 2, 1) @ weighted
        normal[:, 1, 1] += U_RATIO_LOG**-2
        normal[:, 1, 3] += (self.middle - drop) * U_RATIO_LOG**-2
        covariance: Array = np.linalg.inv(normal[:, :, :3]).astype(np.float64, copy=False)
        moved = (covariance @ normal[:, :, 3:])[:, :, 0]
        least = np.sum(rows[:, :, 3] * weighted[:, :, 3], axis=1)
        least += ((self.middle - drop) / U_RATIO_LOG) ** 2 - np.sum(normal[:, :, 3] * moved, axis=1)
        return Near(rows, weighted, variance, covariance, moved, least)

    def solve(self, most: float) -> tuple[Array, Array, Array]:
        """The best admissible drop, with onset and gap, for each law."""
        many = len(self.law)
        gap = self.to_break[self.set]
        drop = self._first_drop(most)
        onset = np.full(many, self.times.min())
        last, largest = np.zeros(many), np.full(many, LARGEST_STEP)
        moves, best = np.arange(many), math.inf
        for _ in range(MOST_STEPS):
            near = self.near(moves, onset[moves], drop[moves], gap[moves])
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
        outer = np.maximum(self.to_break[:, None] + self.offset, 1e-3)[:, [first, last]]
        law = self.law[self.set == 0]
        found = [self.laws.between(law, *ends) for ends in outer.tolist()]
        drops, took = found[0][0], np.concatenate([one[1] for one in found])
        seen = (self.times[last] - self.times[first]) / self.unit_s
        before = np.minimum(np.maximum((took > seen).sum(axis=1), 1), len(drops) - 1)
        every = np.arange(len(self.law))
        longer, shorter = took[every, before - 1], took[every, before]
        part = (longer - seen) / np.maximum(longer - shorter, 1e-9)
        drop: Array = drops[before - 1] + (drops[before] - drops[before - 1]) * part
        drop = np.minimum(np.maximum(drop, 0.0), most)
        return drop

    def shares(self, near: "Near") -> Array:
        """What each source does to the unknowns, shape (laws, 3, sources)."""
        n = self.edges
        gain = near.covariance @ near.weighted[:, :, :3].transpose(0, 2, 1)
        shares: Array = gain @ self.fixed[self.set]
        by_place = (gain * near.rows[:, None, :, 2])[:, :, :n]
        shares[:, :, : 4 + n] += by_place @ self.by_place[self.set]
        shares[:, :, -1] = near.covariance[:, :, 1] / U_RATIO_LOG
        return shares

    def length_off(self, near: "Near", law: int) -> tuple[float, float]:
        """The length as one of the sources, from what is left over under one law."""
        n, k = self.edges, self.names.index("length and skew")
        rows, moved, of = near.rows[law], near.moved[law], self.set[law]
        of_length = self.fixed[of, :, k].copy()
        of_length[:n] += rows[:n, 2] * self.by_place[of, :, k]
        towards = np.linalg.solve(near.variance[law], of_length)
        hidden = towards @ rows[:, :3]
        seen = float(towards @ of_length - hidden @ near.covariance[law] @ hidden)
        return float(towards @ (rows[:, 3] - rows[:, :3] @ moved)), seen

    def evidence(self, near: "Near", drop: Array, most: float) -> tuple[Array, Array, Array, Array]:
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


class _Placed(NamedTuple):
    """One set of distances: to the first beam, from there to each edge, and what is uncertain."""

    to_break: float
    offset: Array
    by_place: Array
    """Sources that act through the place of an edge: lengths in mm, shape (edges, 4 + edges)."""
    fixed: Array
    """Sources that act as they are: times in s, and the gap in mm; shape (rows, sources)."""


def _placed(
    edges: Sequence[SeenEdge],
    distances: Distances,
    least_mm: float,
    sources: int,
    u_response_ms: float,
) -> _Placed:
    n = len(edges)
    trailing = np.array([0.0 if edge.leading else 1.0 for edge in edges])
    beam = np.array([float(edge.beam) for edge in edges])
    (gap, u_gap), (slump, u_slump), (length, u_length), (spacing, u_spacing) = distances
    to_break = max(gap - slump, least_mm)
    lengths = [np.zeros(n), u_slump * trailing, u_length * trailing, u_spacing * beam]
    by_place = np.stack([*lengths, *(U_EDGE_MM * np.eye(n))], axis=1)
    fixed = np.zeros((n + 1, sources))
    fixed[n, 0], fixed[n, 1] = -u_gap, u_slump
    fixed[:n, 4 + n : 4 + 2 * n] = 1e-3 * U_TIME_MS * np.eye(n)
    fixed[:n, sources - 2] = 1e-3 * u_response_ms
    offset = trailing * (gap - to_break + length) + spacing * beam
    return _Placed(to_break, offset, by_place, fixed)


class Near(NamedTuple):
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
