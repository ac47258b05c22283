"""The stepper and its screw: where the pulses bring the cradle, and where it was."""

from bisect import bisect_left
from math import degrees, radians

import numpy as np

from rig.settings.model import Settings
from rig.twin.mechanics import TrueLinkage
from rig.twin.scenario import BoardTruth
from rig.twin.sensor import Array, Motion

SPAN_S = 0.008
"""Span before and after a time that speed and acceleration are averaged over."""
AHEAD_S = 0.03
"""Pulses that come more slowly than this move the cradle in jerks, not smoothly."""
STANDS_S = 0.02
"""After a pause this long the rotor has lost its swing and must be pulled in again."""
KEEP_S = 4.0
TRIM_AT = 40_000


class Motor:
    """Position of the rotor in step pulses; 0 is where the lower switch opens.

    Args:
        settings: screw and home angle.
        linkage: the true triangle.
        board: where it starts and what the motor can do.
    """

    def __init__(self, settings: Settings, linkage: TrueLinkage, board: BoardTruth) -> None:
        screw = settings.screw
        self._linkage = linkage
        self._per_mm = screw.full_steps_per_turn * screw.microsteps / screw.lead_mm
        self._home_mm = linkage.length_mm(radians(settings.linkage.home_angle_deg))
        self.direction = 1
        self.is_enabled = False
        self.lost = 0
        """Pulses that did not move the rotor."""
        self.position = round(self.position_at(board.start_angle_deg))
        self.last_s = -1e9
        self._last_gap_s = 1e9
        self._shortest_s = 1.0 / board.pull_out_hz
        self._pull_in_s = 1.0 / board.pull_in_hz
        self._times: list[float] = [-1e9]
        self._places: list[int] = [self.position]

    def position_at(self, angle_deg: float) -> float:
        """Position at a cradle angle, with its fraction."""
        return (self._linkage.length_mm(radians(angle_deg)) - self._home_mm) * self._per_mm

    def angle_rad(self, position: float) -> float:
        """Cradle angle at a position."""
        return self._linkage.angle_rad(self._home_mm + position / self._per_mm)

    @property
    def angle_deg(self) -> float:
        """Cradle angle now."""
        return degrees(self.angle_rad(self.position))

    def step(self, now_s: float) -> bool:
        """A pulse came; returns whether the rotor followed.

        It does not when the driver is off, when the pulses come faster than the torque can turn
        the load, or when they come that fast to a rotor that stands.
        """
        if not self.is_enabled:
            return False
        gap_s = now_s - self.last_s
        if gap_s < self._pull_in_s and (gap_s < self._shortest_s or self._last_gap_s > STANDS_S):
            self.lost += 1
            self.last_s = now_s
            return False
        if gap_s > AHEAD_S:
            # It stood until shortly before this pulse.
            self._times.append(now_s - AHEAD_S)
            self._places.append(self.position)
        self.position += self.direction
        self.last_s = now_s
        self._last_gap_s = gap_s
        self._times.append(now_s)
        self._places.append(self.position)
        return True

    def push_back(self) -> None:
        """Something hard was in the way of the last pulse."""
        self.position -= self.direction
        self._places[-1] = self.position
        self.lost += 1

    def motion(self, times_s: Array, now_s: float) -> Motion:
        """The cradle's motion at increasing times up to now, none older than a few seconds."""
        knots_s, places = self._knots(float(times_s[0]) - SPAN_S, now_s)
        around = np.concatenate((times_s - SPAN_S, times_s, times_s + SPAN_S))
        before, at, after = np.interp(around, knots_s, places).reshape(3, -1)
        middle = float(at[-1])
        per_pulse = self.angle_rad(middle + 0.5) - self.angle_rad(middle - 0.5)
        speed = (after - before) / (2.0 * SPAN_S)
        angle = self._angles(at)
        return Motion(
            angle,
            speed * per_pulse,
            (after - 2.0 * at + before) * (per_pulse / SPAN_S**2),
            at,
            np.abs(speed),
        )

    def _angles(self, places: Array) -> Array:
        a, b = self._linkage.base_pivot_mm, self._linkage.cradle_pivot_mm
        length = self._home_mm + places / self._per_mm
        cosine = (a * a + b * b - length * length) / (2.0 * a * b)
        return np.asarray(np.arccos(cosine) - self._linkage.level_angle_rad)

    def _knots(self, from_s: float, now_s: float) -> tuple[list[float], list[int]]:
        """Times and positions from before a time; the next pulse is guessed, one at most."""
        times, places = self._times, self._places
        if len(times) > TRIM_AT:
            keep = max(0, bisect_left(times, now_s - KEEP_S) - 1)
            del times[:keep], places[:keep]
        first = max(0, bisect_left(times, from_s) - 1)
        gap_s = self._last_gap_s
        if gap_s < AHEAD_S and now_s < times[-1] + 1.5 * gap_s:
            return [*times[first:], times[-1] + gap_s], [
                *places[first:],
                places[-1] + self.direction,
            ]
        return times[first:], places[first:]
