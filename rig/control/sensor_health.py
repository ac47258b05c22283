"""Checks of the angle sensor's samples for implausible values."""

from collections import deque
from collections.abc import Sequence

from rig.devices.imu import Counts
from rig.devices.imu_checks import (
    FROZEN_SAMPLES,
    is_frozen,
    is_norm_absurd,
    is_saturated,
    mean_norm_g,
)
from rig.errors import MachineFaultError

WINDOW_S = 0.25
SATURATED_S = 0.1
"""Longest saturation that a knock can cause, a sample or two; beyond it the sensor is faulty."""
LOWEST_DEG, HIGHEST_DEG = -15.0, 75.0
"""Unreachable for any board of this kind (travel ends below 60°)."""


class SensorHealth:
    """Keeps the newest samples and their fault, if any.

    Args:
        counts_per_g: nominal sensitivity.
        rate_hz: of the samples.
    """

    def __init__(self, counts_per_g: float, rate_hz: float) -> None:
        self.problem: MachineFaultError | None = None
        """Fault shown by the newest samples; None while they are good."""
        self._counts_per_g = counts_per_g
        self._recent: deque[Counts] = deque(maxlen=max(FROZEN_SAMPLES, round(WINDOW_S * rate_hz)))
        self._n_saturated = 0
        self._saturated_limit = max(3, round(SATURATED_S * rate_hz))

    def feed(self, counts: Sequence[Counts], angle_deg: float | None) -> None:
        """Take a batch, and its inclination."""
        for sample in counts:
            self._n_saturated = self._n_saturated + 1 if is_saturated((sample,)) else 0
        self._recent.extend(counts)
        self.problem = self._look(angle_deg)

    def _look(self, angle_deg: float | None) -> MachineFaultError | None:
        recent = list(self._recent)
        if self._n_saturated >= self._saturated_limit:
            return MachineFaultError(
                "imu_saturated",
                f"{self._n_saturated} samples in a row are at the end of the sensor's range.",
            )
        if is_frozen(recent):
            return MachineFaultError(
                "imu_frozen",
                f"The last {FROZEN_SAMPLES} samples of the angle sensor are all the same.",
            )
        is_full = len(recent) == self._recent.maxlen
        if is_full and is_norm_absurd(recent, self._counts_per_g):
            size_g = mean_norm_g(recent, self._counts_per_g)
            return MachineFaultError(
                "imu_absurd", f"The angle sensor shows {size_g:.2f} g where gravity is 1 g."
            )
        if is_full and angle_deg is not None and not LOWEST_DEG <= angle_deg <= HIGHEST_DEG:
            return MachineFaultError(
                "imu_absurd",
                f"The angle sensor reads {angle_deg:.0f}°, which this board cannot reach.",
            )
        return None
