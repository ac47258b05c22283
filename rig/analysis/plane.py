"""A body on a plane whose inclination changes: distances for any start and any friction.

With Coulomb friction s″ = g(sin θ(t) − µk cos θ(t)), so from rest at t₀ the distance is linear in
µk: s(t) = S₁(t; t₀) − µk·S₂(t; t₀), where S₁ and S₂ are double integrals of g sin θ and g cos θ.
Both follow for every t₀ at once from integrals taken once along the ramp. Centripetal, tangential
and Coriolis terms are neglected: at 1 °/s and 0.7 m they are below 0.003°.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.sliding import G_MM_S2

Array = NDArray[np.float64]


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
