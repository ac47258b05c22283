"""The closed solution for Coulomb friction, as an oracle of the posterior.

With Coulomb friction s″ = g(sin θ(t) − µk cos θ(t)), so from rest at t₀ the distance is linear in
µk: s(t) = S₁(t; t₀) − µk·S₂(t; t₀), where S₁ and S₂ are double integrals of g sin θ and g cos θ.
For each t₀ one condition gives µk, so the other is a search in one unknown. Admissible are
0 ≤ µk ≤ tan θ(t₀): the bag does not pull itself, and it does move off. Of several admissible starts
the latest counts.
"""

from collections.abc import Callable
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
G_MM_S2 = 9806.65


class Plane:
    """The inclination on an even grid of times, and its integrals.

    Args:
        start_s: time of the first grid point.
        step_s: distance of the grid points.
        angle_deg: inclination at the grid points, shape (n,), n ≥ 2.
    """

    def __init__(self, start_s: float, step_s: float, angle_deg: Array) -> None:
        self.start_s = start_s
        self.end_s = start_s + step_s * (len(angle_deg) - 1)
        self._step = step_s
        self._angle = angle_deg
        angle = np.radians(angle_deg)
        # Acceleration, speed and distance, each for the two terms: a row per grid point.
        table = np.zeros((3, 2, len(angle_deg)))
        table[0] = G_MM_S2 * np.sin(angle), G_MM_S2 * np.cos(angle)
        before, after = table[0, :, :-1], table[0, :, 1:]
        np.cumsum(step_s / 2.0 * (before + after), axis=1, out=table[1, :, 1:])
        moved = table[1, :, :-1] * step_s + step_s**2 / 6.0 * (2.0 * before + after)
        np.cumsum(moved, axis=1, out=table[2, :, 1:])
        self._table = np.ascontiguousarray(table.reshape(6, -1).T)

    def angle_deg(self, time_s: ArrayLike) -> Array:
        """Inclination in degrees at these times."""
        index, part = self._cell(time_s)
        angle: Array = self._angle[index] + part * (self._angle[index + 1] - self._angle[index])
        return angle

    def travel_mm(self, time_s: float, onset_s: Array) -> Array:
        """S₁ and S₂ in mm at one time, from rest at each of these times: shape (2, n)."""
        _, distance = self._integrals(np.array([time_s]))
        return self.travel_between_mm(distance, time_s, onset_s, self._integrals(onset_s))

    def travels_mm(self, times_s: tuple[float, ...], onset_s: Array) -> list[Array]:
        """`travel_mm` for several times; quicker than one by one."""
        _, distances = self._integrals(np.array(times_s))
        begin = self._integrals(onset_s)
        return [
            self.travel_between_mm(distances[:, k : k + 1], time_s, onset_s, begin)
            for k, time_s in enumerate(times_s)
        ]

    @staticmethod
    def travel_between_mm(
        distance: Array, time_s: float, onset_s: Array, begin: tuple[Array, Array]
    ) -> Array:
        """Distance to `time_s` less what a body moving since before the onset would have had."""
        speed_then, distance_then = begin
        travelled: Array = distance - distance_then - speed_then * (time_s - onset_s)
        return travelled

    def _cell(self, time_s: ArrayLike) -> tuple[NDArray[np.intp], Array]:
        position = (np.asarray(time_s, dtype=float) - self.start_s) / self._step
        index = np.minimum(np.maximum(position, 0.0), len(self._angle) - 2).astype(np.intp)
        return index, position - index

    def _integrals(self, time_s: Array) -> tuple[Array, Array]:
        """The first and the second integral of both terms, each of shape (2, n)."""
        index, part = self._cell(time_s)
        h = part * self._step
        row = self._table.take(index, axis=0).T
        acceleration, speed, distance = row[0:2], row[2:4], row[4:6]
        change = self._table.take(index + 1, axis=0).T[0:2] - acceleration
        return (
            speed + h * (acceleration + part / 2.0 * change),
            distance + h * (speed + h * (acceleration / 2.0 + part / 6.0 * change)),
        )


_SCAN = 80
"""Points of the scan over the onset; a second scan between two of them ends the search."""


class Travel(NamedTuple):
    """The bag has moved `distance_mm` at `until_s`, since its start or since `since_s`."""

    until_s: float
    distance_mm: float
    since_s: float | None = None


class Onset(NamedTuple):
    """A start that explains the edges, as well as may be."""

    onset_s: float
    mu_kinetic: float | None
    kind: Literal["root", "limit"]
    misfit_mm: float
    """At a limit: how much further the bag moved, at the first edge, than the law allows."""


class NoOnset(NamedTuple):
    """No start explains the edges.

    `late`: even from rest at the first edge the bag would have met the second sooner; `early`: it
    met the second sooner than without friction.
    """

    why: Literal["late", "early"]


def _moved(plane: Plane, travel: Travel, onset_s: Array) -> Array:
    """S₁ and S₂ of a condition: shape (2, n)."""
    if travel.since_s is None:
        return plane.travel_mm(travel.until_s, onset_s)
    until, since = plane.travels_mm((travel.until_s, travel.since_s), onset_s)
    difference: Array = until - since
    return difference


def _friction(plane: Plane, fix: Travel, onset_s: Array) -> Array:
    drive, drag = _moved(plane, fix, onset_s)
    friction: Array = (drive - fix.distance_mm) / np.maximum(drag, 1e-12)
    return friction


def _static(plane: Plane, onset_s: Array) -> Array:
    tangent: Array = np.tan(np.radians(plane.angle_deg(onset_s)))
    return tangent


def _latest_crossing(values: Array) -> int | None:
    """Index of the last interval over which the values change their sign."""
    positive = values > 0.0
    changes: NDArray[np.intp] = np.flatnonzero(positive[1:] != positive[:-1])
    return int(changes[-1]) if len(changes) else None


def _refine(miss: Callable[[Array], Array], t_s: Array, index: int) -> float:
    """The zero in one interval of a scan: a finer scan, then a straight line."""
    t_s = np.linspace(t_s[index], t_s[index + 1], 9)
    values = miss(t_s)
    inner = _latest_crossing(values)
    if inner is None:
        return float(t_s[int(np.argmin(np.abs(values)))])
    low, high = float(values[inner]), float(values[inner + 1])
    return float(t_s[inner] + low / (low - high) * (t_s[inner + 1] - t_s[inner]))


def onset_of_one(
    plane: Plane, edge: Travel, ratio: float, earliest_s: float, latest_s: float
) -> float | None:
    """The start from which the bag meets one edge if µk is `ratio` times µs = tan θ(t₀).

    Returns:
        Time in s; None if the bag would have had to start before `earliest_s` or after `latest_s`.
    """

    def miss(onset_s: Array) -> Array:
        drive, drag = _moved(plane, edge, onset_s)
        missed: Array = drive - ratio * _static(plane, onset_s) * drag - edge.distance_mm
        return missed

    t_s = np.linspace(earliest_s, latest_s, _SCAN)
    index = _latest_crossing(miss(t_s))
    return None if index is None else _refine(miss, t_s, index)


def solve_onset(
    plane: Plane, meet: Travel, fix: Travel, earliest_s: float, latest_s: float
) -> Onset | NoOnset:
    """The latest admissible start that meets two conditions.

    Args:
        plane: the inclination; it must reach from `earliest_s` to the last edge.
        meet: the condition to search on (the first edge, or the pair of break edges).
        fix: the condition that gives µk (the clear edge, or the pair of clear edges).
        earliest_s: no start before this.
        latest_s: no start after this; the first break edge.

    Returns:
        A root; or, if there is none because the bag was further at the first edge than any
        admissible friction lets it be, the limit µk = tan θ(t₀) fitted to `fix`; or why neither.
    """
    t_s = np.linspace(earliest_s, latest_s, _SCAN)
    friction = _friction(plane, fix, t_s)
    excess = friction - _static(plane, t_s)
    if excess[-1] > 0.0:
        return NoOnset("late")
    low = earliest_s
    index = _latest_crossing(excess)
    if index is not None:
        low = _refine(lambda t: _friction(plane, fix, t) - _static(plane, t), t_s, index)
    high = latest_s
    if friction[-1] < 0.0:
        index = _latest_crossing(friction)
        if index is None or t_s[index + 1] <= low:
            return NoOnset("early")
        high = _refine(lambda t: _friction(plane, fix, t), t_s, index)

    def miss(onset_s: Array) -> Array:
        drive, drag = _moved(plane, meet, onset_s)
        missed: Array = drive - _friction(plane, fix, onset_s) * drag - meet.distance_mm
        return missed

    t_s = np.linspace(low, high, _SCAN)
    values = miss(t_s)
    index = _latest_crossing(values)
    if index is None:
        if values[-1] > 0.0:
            return NoOnset("early")
        return _onset(plane, fix, low, "limit", -float(values[0]))
    return _onset(plane, fix, _refine(miss, t_s, index), "root", 0.0)


def _onset(
    plane: Plane, fix: Travel, onset_s: float, kind: Literal["root", "limit"], misfit_mm: float
) -> Onset:
    friction = float(_friction(plane, fix, np.array([onset_s]))[0])
    return Onset(onset_s, friction, kind, misfit_mm)


def distance_mm(plane: Plane, time_s: float, onset_s: float, mu_kinetic: float) -> float:
    """How far the bag has moved at a time, in mm."""
    drive, drag = plane.travel_mm(time_s, np.array([onset_s]))
    return float(drive[0] - mu_kinetic * drag[0])
