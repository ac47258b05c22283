"""Pulse times of a move of the blade: a straight axis, jerk-limited, constant speed in between."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rig.motion.profile import Profile, braking, rest_to_rest
from rig.settings.checks import blade_pulses_per_mm
from rig.settings.model import Settings

Array = NDArray[np.float64]


@dataclass(frozen=True)
class BladePlan:
    """Planned move of the blade; counts are step pulses uphill of the park position."""

    from_count: int
    direction: int
    """+1 uphill, −1 downhill."""
    profile: Profile = field(repr=False)
    """Pulses made over seconds since the start."""
    limits: tuple[float, float]
    """Acceleration in pulses/s² and jerk in pulses/s³."""
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

    def brake(self, index: int) -> Array:
        """Times of the pulses of a smooth stop that begins at pulse number `index`."""
        if not 0 < index < self.times_s.size:
            return np.empty(0)
        start_s = float(self.times_s[index - 1])
        x, v, a = (float(value) for value in self.profile.at(start_s))
        stop = braking(start_s, x, v, a, *self.limits)
        ahead: Array = np.arange(index, self.times_s.size, dtype=np.float64) + 0.5
        return stop.time_at(ahead[: np.searchsorted(ahead, stop.end)])

    def count_at(self, latest: tuple[float, int], t_s: float) -> int:
        """Count at a time shortly before the latest pulse, as long as no stop was requested.

        Args:
            latest: time of the latest pulse, and the count after it.
            t_s: on the same clock.
        """
        last_s, count = latest
        made = abs(count - self.from_count)
        if made == 0 or t_s >= last_s:
            return count
        since_start_s = float(self.times_s[min(made, self.times_s.size) - 1]) - (last_s - t_s)
        return self.from_count + self.direction * int(
            np.searchsorted(self.times_s, since_start_s, "right")
        )


def plan_blade(
    settings: Settings, from_count: int, to_count: int, speed_mm_s: float | None = None
) -> BladePlan:
    """Plan a move of the blade from rest to rest.

    Args:
        settings: give speed and limits.
        from_count: present count.
        to_count: target count.
        speed_mm_s: instead of the settings' speed.
    """
    blade, per_mm = settings.blade, blade_pulses_per_mm(settings)
    speed = per_mm * (blade.speed_mm_s if speed_mm_s is None else speed_mm_s)
    limits = (per_mm * blade.acceleration_mm_s2, per_mm * blade.ramp_jerk_mm_s3)
    distance = abs(to_count - from_count)
    profile = rest_to_rest(float(distance), speed, *limits)
    halfway: Array = np.arange(distance, dtype=np.float64) + 0.5
    times = profile.time_at(halfway)
    return BladePlan(from_count, 1 if to_count >= from_count else -1, profile, limits, times)
