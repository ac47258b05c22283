"""Motion with limited jerk: pieces of constant jerk, one after the other.

Positions are distances travelled, never negative, so a profile knows nothing of direction. The
unit of length is the caller's (degrees of inclination here).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Profile:
    """Pieces of constant jerk; each array holds the value at the start of each piece.

    Within a piece the acceleration does not change its sign and the speed is not negative. The
    last entry of each array is the end of the motion.
    """

    time_s: Array
    distance: Array
    speed: Array
    acceleration: Array
    jerk: Array

    @property
    def duration_s(self) -> float:
        """Time from the start to rest."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def end(self) -> float:
        """Distance at rest."""
        return float(self.distance[-1])

    def at(self, time_s: "Array | float") -> tuple[Array, Array, Array]:
        """Distance, speed and acceleration at times within the motion."""
        piece = np.clip(np.searchsorted(self.time_s, time_s, "right") - 1, 0, self.time_s.size - 1)
        t = np.asarray(time_s) - self.time_s[piece]
        x, v = self.distance[piece], self.speed[piece]
        a, j = self.acceleration[piece], self.jerk[piece]
        return (
            x + t * (v + t * (a / 2 + t * j / 6)),
            v + t * (a + t * j / 2),
            a + t * j,
        )

    def time_at(self, distance: Array) -> Array:
        """Times at which increasing distances, within the motion, are reached.

        In each piece the cubic is solved by Newton's method from the end at which the curve is
        steeper: the curve does not change its bend, so the steps run to the root from one side.
        """
        times = np.empty_like(distance)
        bounds = np.searchsorted(distance, self.distance)
        for i in range(self.time_s.size - 1):
            piece = slice(bounds[i], bounds[i + 1])
            if bounds[i] < bounds[i + 1]:
                times[piece] = self.time_s[i] + self._solve(i, distance[piece] - self.distance[i])
        return times

    def _solve(self, i: int, x: Array) -> Array:
        v, a, j = self.speed[i], self.acceleration[i], self.jerk[i]
        length = self.time_s[i + 1] - self.time_s[i]
        gains = a + self.acceleration[i + 1] > 0
        t = np.full_like(x, length if gains else 0.0)
        for _ in range(100):
            slope = v + t * (a + t * j / 2)
            step = (t * (v + t * (a / 2 + t * j / 6)) - x) / np.maximum(slope, 1e-12)
            t = np.clip(t - step, 0.0, length)
            if np.max(np.abs(step)) < 1e-12:
                break
        return t


def _chain(
    pieces: list[tuple[float, float]], time_s: float, x: float, v: float, a: float
) -> Profile:
    """Build a profile from (duration, jerk) pieces; those of no duration, to rounding, drop out."""
    rows = []
    for t, j in pieces:
        if t > 1e-12:
            rows.append((time_s, x, v, a, j))
            time_s, x = time_s + t, x + t * (v + t * (a / 2 + t * j / 6))
            v, a = v + t * (a + t * j / 2), a + t * j
    rows.append((time_s, x, 0.0, 0.0, 0.0))
    return Profile(*np.array(rows, dtype=np.float64).T)


def rest_to_rest(distance: float, speed: float, acceleration: float, jerk: float) -> Profile:
    """The quickest motion over a distance from rest to rest within the limits.

    A short one never reaches `speed`; a very short one never reaches `acceleration`.
    """
    if distance == 0:
        return _chain([], 0.0, 0.0, 0.0, 0.0)
    speed = min(speed, _peak_speed(distance, acceleration, jerk))
    knee_s, hold_s = _speed_change(speed, acceleration, jerk)
    cruise_s = max(0.0, distance / speed - (2 * knee_s + hold_s))
    up = [(knee_s, jerk), (hold_s, 0.0), (knee_s, -jerk)]
    down = [(knee_s, -jerk), (hold_s, 0.0), (knee_s, jerk)]
    return _chain([*up, (cruise_s, 0.0), *down], 0.0, 0.0, 0.0, 0.0)


def _speed_change(speed: float, acceleration: float, jerk: float) -> tuple[float, float]:
    """Durations of a change between rest and `speed`: of each knee, and of the part between."""
    if speed * jerk <= acceleration**2:
        return sqrt(speed / jerk), 0.0
    return acceleration / jerk, speed / acceleration - acceleration / jerk


def _peak_speed(distance: float, acceleration: float, jerk: float) -> float:
    """Highest speed of a motion from rest to rest over `distance` without a cruise."""
    without_hold: float = (distance**2 * jerk / 4) ** (1 / 3)
    if without_hold * jerk <= acceleration**2:
        return without_hold
    knee_s = acceleration / jerk
    return acceleration * (sqrt(knee_s**2 + 4 * distance / acceleration) - knee_s) / 2


def braking(
    time_s: float, x: float, v: float, a: float, acceleration: float, jerk: float
) -> Profile:
    """The quickest stop within the limits from a motion of speed `v` and acceleration `a`."""
    coast_s, left = max(a, 0.0) / jerk, min(a, 0.0)
    peak = v + max(a, 0.0) * coast_s / 2
    deepest = max(min(sqrt(jerk * peak + left**2 / 2), acceleration), -left)
    if deepest == 0:
        return _chain([], time_s, x, 0.0, 0.0)
    hold_s = (peak - (2 * deepest**2 - left**2) / (2 * jerk)) / deepest
    pieces = [
        (coast_s, -jerk),
        ((deepest + left) / jerk, -jerk),
        (hold_s, 0.0),
        (deepest / jerk, jerk),
    ]
    return _chain(pieces, time_s, x, v, a)


def braking_bound(speed: float, acceleration: float, jerk: float) -> float:
    """No stop by `braking` from a motion that never exceeds `speed` is longer than this.

    From a cruise it takes half of speed × (speed/acceleration + acceleration/jerk); from a motion
    that still gains speed, the time to stop gaining comes first.
    """
    knee_s, hold_s = _speed_change(speed, acceleration, jerk)
    return speed * (2 * knee_s + hold_s) / 2 + speed * knee_s
