"""The board's moves in a simulated run, in command angle, as the motor's pulses give them."""

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from math import radians

import numpy as np

from rig.motion.profile import Profile
from rig.settings.kinematics import Kinematics
from rig.twin.mechanics import TrueLinkage
from rig.twin.motor import SPAN_S
from rig.twin.sensor import Array, Motion

PULSE_GRID = 4000
"""Points of a move at which its way is tabled; between them it is as good as straight."""


@dataclass(frozen=True)
class Move:
    """One move: a profile of degrees travelled, from an angle, up (+1) or down (−1)."""

    start_s: float
    from_deg: float
    direction: int
    profile: Profile
    cut_s: float | None = None
    """The switch stops it here, at once."""

    @property
    def end_s(self) -> float:
        """When the board stands again."""
        return self.start_s + float(self.profile.time_s[-1]) if self.cut_s is None else self.cut_s

    def angle_deg(self, times_s: Array) -> Array:
        """Command angle at times in the move."""
        return np.asarray(self.from_deg + self.direction * self._at(times_s)[0])

    def _at(self, times_s: Array) -> tuple[Array, Array, Array]:
        last = float(self.profile.time_s[-1])
        return self.profile.at(np.clip(times_s - self.start_s, 0.0, last))

    def rates(self, times_s: Array) -> tuple[Array, Array]:
        """Command speed (°/s) and acceleration (°/s²), signed."""
        _, speed, acceleration = self._at(times_s)
        return self.direction * speed, self.direction * acceleration

    def scalar(self) -> Callable[[float], float]:
        """Command angle (degrees) as a quick function of one time (s)."""
        p = self.profile
        columns = (p.time_s, p.distance, p.speed, p.acceleration, p.jerk)
        rows = list(zip(*(column.tolist() for column in columns), strict=True))
        starts, last = p.time_s.tolist(), len(rows) - 1
        start_s, from_deg, direction = self.start_s, self.from_deg, self.direction

        def angle(time_s: float) -> float:
            at = time_s - start_s
            t0, x, v, a, j = rows[min(last, max(0, bisect_right(starts, at) - 1))]
            t = max(0.0, at - t0)
            return float(from_deg + direction * (x + t * (v + t * (a / 2.0 + t * j / 6.0))))

        return angle


class Timeline:
    """All moves of a run, in order of time; between them the board stands.

    Args:
        nominal: kinematics that the pulses are planned with.
        true: the screw's triangle as it is.
        home_deg: angle at count 0, in both.
        start_deg: angle before the first move.
    """

    def __init__(
        self, nominal: Kinematics, true: TrueLinkage, home_deg: float, start_deg: float
    ) -> None:
        self.nominal = nominal
        self.moves: list[Move] = []
        self._true = true
        self._home_mm = true.length_mm(float(np.radians(home_deg)))
        self._start_deg = start_deg

    def true_angle(self, move: Move) -> Callable[[float], float]:
        """The cradle's true angle (rad) in a move as a quick function of one time (s)."""
        command = move.scalar()
        grid = np.linspace(move.from_deg, move.from_deg + move.direction * move.profile.end, 65)
        error = [self.true_rad(degrees) - radians(degrees) for degrees in grid.tolist()]
        if max(map(abs, error)) < 1e-12:
            return lambda time_s: radians(command(time_s))
        # Horner's form of a fit that is good to far below a microradian.
        middle, half = (
            0.5 * float(grid[0] + grid[-1]),
            max(0.5 * float(abs(grid[-1] - grid[0])), 1e-9),
        )
        c6, c5, c4, c3, c2, c1, c0 = np.polyfit((grid - middle) / half, error, 6).tolist()

        def true(time_s: float) -> float:
            degrees = command(time_s)
            u = (degrees - middle) / half
            off = c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * (c5 + u * c6)))))
            return radians(degrees) + float(off)

        return true

    def true_rad(self, command_deg: float) -> float:
        """The cradle's true angle where the count says `command_deg`."""
        grown = self.nominal.count_at(command_deg) / self.nominal.counts_per_mm
        return self._true.angle_rad(self._home_mm + grown)

    def _true_array(self, command_deg: Array) -> tuple[Array, Array]:
        """True angles (rad) and the counts for command angles; smooth, so a table will do."""
        counts = np.asarray(self.nominal.count_at(command_deg))
        low, high = float(command_deg.min()), float(command_deg.max())
        grid = np.linspace(low, high + 1e-6, 33)
        error = [self.true_rad(float(d)) - float(np.radians(d)) for d in grid]
        return np.radians(command_deg) + np.interp(command_deg, grid, error), counts

    def motion(self, times_s: Array) -> Motion:
        """True motion at increasing times."""
        command = np.full(times_s.size, self._start_deg)
        rate, acceleration = np.zeros(times_s.size), np.zeros(times_s.size)
        for move in self.moves:
            first, last = np.searchsorted(times_s, [move.start_s, move.end_s])
            if first < last:
                inside = times_s[first:last]
                command[first:last] = move.angle_deg(inside)
                rate[first:last], acceleration[first:last] = move.rates(inside)
            command[last:] = move.angle_deg(np.array([move.end_s]))[0]
        angle, counts = self._true_array(command)
        slope = np.asarray(self.nominal.mm_per_deg(command)) * self.nominal.counts_per_mm
        pulse_hz = np.abs(rate * slope)
        # Slower pulses are single jerks that have rung out, and no vibration.
        pulse_hz[pulse_hz < 0.5 / SPAN_S] = 0.0
        return Motion(angle, np.radians(rate), np.radians(acceleration), counts, pulse_hz)

    def pulses(self, times_s: Array) -> list[tuple[float, int]]:
        """Time and count of the last pulse at each of some times (increasing)."""
        out: list[tuple[float, int]] = []
        for move in self.moves:
            first, last = np.searchsorted(times_s, [move.start_s, move.end_s + 1e-9])
            inside = times_s[first:last]
            if inside.size == 0:
                continue
            counts = np.rint(np.asarray(self.nominal.count_at(move.angle_deg(inside))))
            begun = round(float(self.nominal.count_at(move.from_deg)))
            # The pulse to a count came when the wanted angle was half-way from the one before.
            grid_s = np.linspace(move.start_s, move.end_s, PULSE_GRID)
            way = move.direction * np.asarray(self.nominal.count_at(move.angle_deg(grid_s)))
            at = np.interp(move.direction * counts - 0.5, way, grid_s)
            for time, count in zip(at.tolist(), counts.tolist(), strict=True):
                if int(count) != begun:
                    out.append((time, int(count)))
        return out
