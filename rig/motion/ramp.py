"""Pulse times of a move: jerk-limited in angle, whatever the linkage makes of it.

The board turns at a constant rate while the pulse rate changes with the lever arm. A pulse comes
when the target angle passes half-way between two counts, so that the count is always the nearest
one to the target angle, and its error has zero mean.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rig.motion.profile import Profile, braking, braking_bound, rest_to_rest
from rig.settings.kinematics import Kinematics

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Plan:
    """Planned move with the time of each pulse."""

    linkage: Kinematics
    from_count: int
    to_count: int
    direction: int
    """+1 raises, −1 lowers."""
    rate_deg_s: float
    acceleration_deg_s2: float
    jerk_deg_s3: float
    profile: Profile = field(repr=False)
    """Degrees travelled over seconds since the start."""
    crossings_deg: Array = field(repr=False)
    """Degrees travelled at each pulse, increasing."""
    times_s: Array = field(repr=False)
    """Time of each pulse in seconds since the start, increasing."""

    @property
    def duration_s(self) -> float:
        """Time from rest to rest, in s."""
        return self.profile.duration_s

    @property
    def time_limit_s(self) -> float:
        """Time after which an unfinished move has failed: 1.5 times its duration plus 2 s."""
        return 1.5 * self.duration_s + 2.0

    @property
    def cruise_s(self) -> tuple[float, float]:
        """Times between which the rate is constant; equal when it is never reached."""
        cruise = np.flatnonzero(
            (self.profile.acceleration[:-1] == 0) & (self.profile.jerk[:-1] == 0)
        )
        if cruise.size == 0:
            middle = self.duration_s / 2
            return middle, middle
        i = int(cruise[0])
        return float(self.profile.time_s[i]), float(self.profile.time_s[i + 1])

    def angle_at_deg(self, time_s: Array | float) -> Array:
        """Target inclination, in degrees, at times since the start."""
        start = self.linkage.angle_deg(float(self.from_count))
        time_s = np.clip(time_s, 0.0, self.duration_s)
        return start + self.direction * self.profile.at(time_s)[0]

    def brake(self, index: int) -> Array:
        """Times of the pulses of a smooth stop that begins at pulse number `index`.

        Args:
            index: how many pulses the move has made when the stop begins.

        Returns:
            Times of the pulses after that one, on the same time base as `times_s`. The stop keeps
            to the move's own limits, and within `brake_angle_deg`.
        """
        if not 0 < index < self.times_s.size:
            return np.empty(0)
        start_s = float(self.times_s[index - 1])
        x, v, a = (float(value) for value in self.profile.at(start_s))
        stop = braking(start_s, x, v, a, self.acceleration_deg_s2, self.jerk_deg_s3)
        ahead = self.crossings_deg[index:]
        return stop.time_at(ahead[: np.searchsorted(ahead, stop.end)])

    @property
    def brake_angle_deg(self) -> float:
        """The board turns by no more than this during `brake`, from any point of the move."""
        return brake_angle_deg(self.rate_deg_s, self.acceleration_deg_s2, self.jerk_deg_s3)


def plan_move(
    linkage: Kinematics,
    from_count: int,
    rate_deg_s: float,
    acceleration_deg_s2: float,
    jerk_deg_s3: float,
    *,
    to_angle_deg: float | None = None,
    to_count: int | None = None,
) -> Plan:
    """Plan a move from rest to rest.

    Args:
        linkage: the kinematics.
        from_count: where the board is.
        rate_deg_s: highest rate, in °/s, without sign; constant over the middle of the move.
        acceleration_deg_s2: limit in °/s².
        jerk_deg_s3: limit in °/s³.
        to_angle_deg: where to go, in degrees; the nearest count is taken.
        to_count: where to go, instead.

    Returns:
        The plan; with no pulses when the board is there already.

    Raises:
        ValueError: not exactly one target is given, or a limit is not positive.
    """
    if (to_angle_deg is None) == (to_count is None):
        raise ValueError("give either to_angle_deg or to_count")
    if min(rate_deg_s, acceleration_deg_s2, jerk_deg_s3) <= 0:
        raise ValueError("rate, acceleration and jerk must be positive")
    if to_count is None:
        assert to_angle_deg is not None  # noqa: S101 - for the type checker
        to_count = round(linkage.count_at(to_angle_deg))
    limits = (rate_deg_s, acceleration_deg_s2, jerk_deg_s3)
    direction = 1 if to_count >= from_count else -1
    start_deg = linkage.angle_deg(float(from_count))
    pulses = np.arange(abs(to_count - from_count), dtype=np.float64)
    halfway: Array = np.add(from_count, direction * (pulses + 0.5))
    crossings = np.abs(linkage.angle_deg(halfway) - start_deg)
    profile = rest_to_rest(abs(linkage.angle_deg(float(to_count)) - start_deg), *limits)
    times = profile.time_at(crossings)
    return Plan(linkage, from_count, to_count, direction, *limits, profile, crossings, times)


def move_time_s(
    distance_deg: float, rate_deg_s: float, acceleration_deg_s2: float, jerk_deg_s3: float
) -> float:
    """Time of a move from rest to rest over `distance_deg`, in s; no pulses are worked out."""
    profile = rest_to_rest(abs(distance_deg), rate_deg_s, acceleration_deg_s2, jerk_deg_s3)
    return profile.duration_s


def brake_angle_deg(rate_deg_s: float, acceleration_deg_s2: float, jerk_deg_s3: float) -> float:
    """Bound on the angle of a smooth stop, in degrees, from any point of a move at this rate."""
    return braking_bound(rate_deg_s, acceleration_deg_s2, jerk_deg_s3)
