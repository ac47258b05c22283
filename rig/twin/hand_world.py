"""The world of a board that a simulated person raises; moved on lazily, as `World` is."""

from math import degrees, pi, radians

import numpy as np

from rig.clock import Clock
from rig.settings.model import Settings
from rig.twin.hand import LOWERING_DEG_S, STEP_S, HandPath
from rig.twin.placed import bag_radius_m
from rig.twin.scenario import Scenario
from rig.twin.sensor import Array, Motion
from rig.twin.streams import stream
from rig.twin.world import World

TOP_DEG = 45.0
CHUNK_S = 0.01


class PropPath(HandPath):
    """A raise that can also be left at an angle, with a prop under the board."""

    def hold(self, at_s: float, to_rad: float) -> None:
        """Go to an angle without any unrest, and stay."""
        start = self.angle_rad(at_s)
        seconds = max(degrees(abs(to_rad - start)) / LOWERING_DEG_S, 1.0)
        turn = np.linspace(0.0, 1.0, int(seconds / STEP_S) + 1)
        angle = start + (to_rad - start) * (turn - np.sin(2.0 * pi * turn) / (2.0 * pi))
        self._start_s = at_s
        self._set(angle, np.gradient(angle, STEP_S))

    def motion(self, times_s: Array) -> Motion:
        """As it is asked for again and again: only the part of the grid around the times counts."""
        low, high = (int((t - self._start_s) / STEP_S) for t in (times_s[0], times_s[-1]))
        last = self._angle.size - 1
        part = slice(min(max(low, 0), last - 1), min(max(high, 0), last - 1) + 2)
        grid = self._start_s + np.arange(part.start, part.stop) * STEP_S
        angle, rate, acceleration = (
            np.interp(times_s, grid, values[part])
            for values in (self._angle, self._rate, self._acceleration)
        )
        zero = np.zeros(times_s.size)
        return Motion(angle, rate, acceleration, zero, zero)

    def _set(self, angle: Array, rate: Array) -> None:
        super()._set(angle, rate)
        # What comes before and after the grid is rest.
        self._rate[[0, -1]] = self._acceleration[[0, -1]] = 0.0


class HandWorld(World):
    """One simulated rig without a motor; see `World`."""

    def __init__(self, clock: Clock, settings: Settings, scenario: Scenario, seed: int) -> None:
        self.path = PropPath(radians(settings.linkage.home_angle_deg))
        self._radius_m = bag_radius_m(settings)
        self._lifts = 0
        super().__init__(clock, settings, scenario, seed)

    @property
    def board_deg(self) -> float:
        """Cradle angle now."""
        return degrees(self.path.angle_rad(self.clock.time_s()))

    def lift(self, rate_deg_s: float) -> None:
        """The hand begins to raise the board."""
        with self.lock:
            now_s = self.clock.time_s()
            self.advance(now_s)
            self._lifts += 1
            random = stream(self.seed, "hand", self.scenario.series, self._lifts)
            self.path.begin(now_s, rate_deg_s, TOP_DEG, self.scenario.hand, random)
            if self.bag.slide is None:
                self.bag.raise_from(now_s, self.hours(now_s)).time_s = now_s

    def hold(self, angle_deg: float) -> None:
        """The hand brings the empty board to an angle, and a prop keeps it there."""
        with self.lock:
            self.path.hold(self.clock.time_s(), radians(angle_deg))

    def let_down(self) -> None:
        """The hand stops and lets the board down."""
        with self.lock:
            now_s = self.clock.time_s()
            self.advance(now_s)
            self.path.lower(now_s)

    @property
    def is_up(self) -> bool:
        """Whether the board is off its rest, or on its way."""
        now_s = self.clock.time_s()
        return not self.path.is_at_rest(now_s) or self.board_deg > 0.5 + self._rest_deg

    @property
    def _rest_deg(self) -> float:
        return self.settings.linkage.home_angle_deg

    def advance(self, now_s: float) -> None:
        """Let the bag slide on, look at what the board's angle does to the beams, and report."""
        with self.lock:
            slide, path = self.bag.slide, self.path
            while slide is not None and slide.time_s < now_s:
                until_s = min(now_s, slide.time_s + CHUNK_S)
                edges = slide.advance(until_s, lambda t: path.felt_rad(t, self._radius_m))
                for edge in edges:
                    at_deg = degrees(path.angle_rad(edge.time_s))
                    changes = self.receivers.bag(edge.beam, edge.broken, at_deg)
                    self._queue(edge.time_s, changes)
                if slide.is_caught or (path.is_at_rest(until_s) and not slide.is_sliding):
                    slide.time_s = max(slide.time_s, now_s)
            self._look(now_s)

    def motion(self, times_s: Array) -> Motion:
        """The cradle's motion at increasing times of the last few seconds."""
        with self.lock:
            self.advance(self.clock.time_s())
            return self.path.motion(times_s)

    def _look(self, now_s: float) -> None:
        """Bring the beams up to date; there are no switches."""
        self._queue(now_s, self.receivers.look(degrees(self.path.angle_rad(now_s))))
        self._report(now_s)
