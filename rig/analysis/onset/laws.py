"""How long a bag takes from rest for a distance, under each law of a family of friction laws.

Near the onset a board that turns at ω drives the bag with s″ = b·τ + A·f, where τ counts from the
onset, b = g·ω/cos θ, A = g·cos θ·(µs − µk) and f grows from 0 to 1: at once (Coulomb), with the
path (1 − exp(−s/D), slip weakening), or with the speed (1 − exp(−(v/V)²), Stribeck's curve). In
units of time of b^(−1/3) the first factor is 1, so one table serves all rates and angles; A and V
are scaled by that unit, D is not. Left out is a part µs·ω·τ of A, below 1 % of it at 1 °/s.
"""

import math
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.analysis.angle.plane import Array

WEIGHTS = (0.2, 0.4, 0.4)
"""Of Coulomb, slip weakening and Stribeck in the mixture. Judged."""
WEAKENING_MM = (0.1, 5.0)
STRIBECK_MM_S = (1.0, 100.0)
"""Even in their logarithms between these. Judged: what is known of fabrics is less."""

LOG_STEP = 0.2
"""Of the nodes of D and V, in natural logarithms."""
DROP_STEP, DROP_END = 0.12, 8.4
"""Nodes of log(1 + A); the end is a drop of 0.9 at 0.05 °/s."""
PATH_MM = (0.25, 420.0)
PATH_STEP, START_STEP = 0.04, 0.1
"""Steps in the logarithm of the path: in the table, and before its first node."""
START_MM = 2e-6
"""Here a bag has hardly felt that friction falls."""


class Table(NamedTuple):
    """Logarithm of the time to each node of the path, shape (laws, drops, paths)."""

    log_time: Array
    family: NDArray[np.intp]
    """0 Coulomb, 1 slip weakening, 2 Stribeck."""
    scale: Array
    """D in mm, or V in mm per unit of time; 1 for Coulomb."""

    def prior(self, unit_s: float) -> Array:
        """Weight of each law, with V measured in units of this length."""
        speed = STRIBECK_MM_S[0] * unit_s, STRIBECK_MM_S[1] * unit_s
        low, high = np.log([(0.5, 2.0), WEAKENING_MM, speed]).T[:, self.family]
        logs = np.log(self.scale)
        share = np.minimum(logs + LOG_STEP / 2.0, high) - np.maximum(logs - LOG_STEP / 2.0, low)
        share = np.maximum(share, 0.0)
        weight: Array = np.array(WEIGHTS)[self.family] * share
        return weight / np.bincount(self.family, share)[self.family]

    def fallen(self, law: NDArray[np.intp], path_mm: Array, speed: float) -> Array:
        """How much of the drop is done at a path, in mm, and a speed, in mm per unit of time."""
        family, scale = self.family[law], self.scale[law]
        slip = -np.expm1(-path_mm / scale)
        swift = -np.expm1(-((speed / scale) ** 2))
        done: Array = np.where(family == 0, 1.0, np.where(family == 1, slip, swift))
        return done

    def between(self, law: NDArray[np.intp], from_mm: float, to_mm: float) -> tuple[Array, Array]:
        """Time from one distance to another at some drops (n,), roughly; shape (laws, n)."""
        drops = np.arange(0, self.log_time.shape[1], 3)
        ends = np.log(np.array([from_mm, to_mm]) / PATH_MM[0]) / PATH_STEP
        nodes = np.minimum(np.maximum(np.rint(ends), 0.0), self.log_time.shape[2] - 1.0)
        start, end = (np.exp(self.log_time[:, ::3, int(node)][law]) for node in nodes)
        took: Array = end - start
        return np.linspace(0.0, DROP_STEP * drops[-1], len(drops)), took

    def times(
        self, law: NDArray[np.intp], drop: Array, path_mm: Array
    ) -> tuple[Array, Array, Array]:
        """Time from rest, its derivative by the drop, and by the path; shape (laws, edges).

        Args:
            law: indices of the laws.
            drop: log(1 + A) for each law.
            path_mm: distances, shape (laws, edges).
        """
        _, drops, paths = self.log_time.shape
        place = np.minimum(np.maximum(drop / DROP_STEP, 0.0), drops - 1.0)
        node = np.minimum(np.maximum(np.rint(place), 1.0), drops - 2.0)
        off = (place - node)[:, None]
        path_mm = np.maximum(path_mm, 1e-3)
        along = np.log(path_mm / PATH_MM[0]) / PATH_STEP
        cell = np.minimum(np.maximum(along, 0.0), paths - 2.0).astype(np.intp)
        part = along - cell
        middle = (law * drops + node.astype(np.intp))[:, None] * paths + cell
        # Three nodes of the drop about each place, and two of the path.
        around = paths * np.array([-1, 0, 1])[:, None] + np.array([0, 1])
        below, at, above = self.log_time.ravel()[middle + around[:, :, None, None]]
        slope, bend = (above - below) / 2.0, above - 2.0 * at + below
        near, far = at + off * (slope + off / 2.0 * bend)
        time = np.exp(near + part * (far - near))
        by_drop, by_drop_far = slope + off * bend
        by_drop = by_drop + part * (by_drop_far - by_drop)
        return (
            time,
            time * by_drop / DROP_STEP,
            time * (far - near) / PATH_STEP / path_mm,
        )


@cache
def table() -> Table:
    """All laws, integrated once in a process (about 0.2 s)."""
    spans = [WEAKENING_MM, (0.1, 60.0)]
    nodes = [np.ones(1)]
    nodes += [
        low * np.exp(np.arange(LOG_STEP / 2.0, math.log(high / low), LOG_STEP))
        for low, high in spans
    ]
    family = np.repeat(np.arange(3), [len(some) for some in nodes])
    scale = np.concatenate(nodes)
    drops = np.expm1(np.arange(0.0, DROP_END, DROP_STEP))
    return Table(_integrate(family, scale, drops), family, scale)


def _integrate(family: NDArray[np.intp], scale: Array, drops: Array) -> Array:
    """Runge and Kutta's method along the logarithm of the path, from almost nothing."""
    first = math.ceil(math.log(PATH_MM[0] / START_MM) / START_STEP)
    start = np.log(PATH_MM[0]) + START_STEP * np.arange(-first, 0.5)
    last = np.log(PATH_MM[0]) + PATH_STEP * np.arange(
        1, math.ceil(math.log(PATH_MM[1] / PATH_MM[0]) / PATH_STEP) + 1
    )
    nodes = np.concatenate([start, last])
    by_path = np.where(family == 1, 1.0 / scale, 0.0)[:, None]
    by_speed = np.where(family == 2, 1.0 / scale**2, 0.0)[:, None]
    always = np.where(family == 0, 1.0, 0.0)[:, None]

    def rates(path: float, time: Array, speed: Array) -> tuple[Array, Array]:
        grown = always - np.expm1(-(path * by_path + speed * speed * by_speed))
        lasts = path / speed
        return lasts, lasts * (time + drops * grown)

    path = math.exp(nodes[0])
    # Coulomb: s = A τ²/2 + τ³/6, by Newton from its larger part; the others start as if A were 0.
    drop = always * drops
    time = np.minimum(np.cbrt(6.0 * path), np.sqrt(2.0 * path / np.maximum(drop, 1e-12)))
    for _ in range(8):
        time = time - (drop * time**2 / 2.0 + time**3 / 6.0 - path) / (drop * time + time**2 / 2.0)
    speed = drop * time + time**2 / 2.0
    kept = np.empty((len(last) + 1, *time.shape))
    kept[0] = time
    for k, step in enumerate(np.diff(nodes), start=1):
        half, end = math.exp(nodes[k - 1] + step / 2.0), math.exp(nodes[k])
        t1, v1 = rates(path, time, speed)
        t2, v2 = rates(half, time + step / 2.0 * t1, speed + step / 2.0 * v1)
        t3, v3 = rates(half, time + step / 2.0 * t2, speed + step / 2.0 * v2)
        t4, v4 = rates(end, time + step * t3, speed + step * v3)
        time = time + step / 6.0 * (t1 + 2.0 * (t2 + t3) + t4)
        speed = speed + step / 6.0 * (v1 + 2.0 * (v2 + v3) + v4)
        path = end
        if k >= first:
            kept[k - first] = time
    return np.ascontiguousarray(np.log(kept).transpose(1, 2, 0))
