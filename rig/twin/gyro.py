"""The gyroscope's true signal: the turn of the cradle, errors, filter and noise."""

from collections.abc import Callable, Sequence
from math import sqrt

import numpy as np

from rig.twin.scenario import ImuTruth
from rig.twin.sensor import Array, Motion, lowpass_taps, rotation


class Gyro:
    """Samples of one gyroscope on one board, in °/s, in order of time.

    Args:
        imu: the chip's truth.
        rate_hz: true output rate.
        lowpass_hz: corner of its low-pass filter.
        motion: the cradle's motion at an array of times (s), all of them in the past.
        random: the stream of the noise.
    """

    def __init__(
        self,
        imu: ImuTruth,
        rate_hz: float,
        lowpass_hz: float,
        motion: Callable[[Array], Motion],
        random: np.random.Generator,
    ) -> None:
        self._truth, self._motion, self._random = imu.gyro, motion, random
        self._reference_c = imu.reference_temperature_c
        self.rate_hz, self.lowpass_hz = rate_hz, lowpass_hz
        self._taps = lowpass_taps(lowpass_hz, 1.0 / rate_hz)
        self._white = imu.gyro.noise_deg_s_rthz * sqrt(rate_hz / 2.0)
        # Raising turns the board about −y of its own frame (x uphill, z up).
        self._hinge = rotation(imu.mounting_deg) @ np.array([0.0, -1.0, 0.0])
        self._past: Array | None = None

    def sample(
        self, times_s: Sequence[float], temperature_c: float
    ) -> list[tuple[float, float, float]]:
        """Raw values in °/s at the chip's sample times, which must go on from the last ones."""
        values = self.measure(np.asarray(times_s, dtype=np.float64), temperature_c)
        return [(x, y, z) for x, y, z in values.tolist()]

    def measure(self, times_s: Array, temperature_c: "float | Array") -> Array:
        """Raw values (n × 3, °/s) at the chip's sample times (n), which must go on."""
        truth, n = self._truth, times_s.size
        turn = np.degrees(self._motion(times_s).rate_rad_s)
        raw = np.outer(turn, self._hinge) + self._noise(n)
        before = self._taps.size - 1
        if before:
            past = self._past
            if past is None:
                past = np.tile(turn[:1, None] * self._hinge, (before, 1)) + self._noise(before)
            long = np.concatenate((past, raw))
            self._past = long[n:]
            raw = np.stack([np.convolve(long[:, i], self._taps, "valid") for i in range(3)], axis=1)
        warmer = np.broadcast_to(np.asarray(temperature_c) - self._reference_c, (n,))
        drift = np.outer(warmer, np.asarray(truth.drift_deg_s_per_k))
        return np.asarray(np.asarray(truth.gain) * raw + np.asarray(truth.bias_deg_s) + drift)

    def _noise(self, n: int) -> Array:
        return np.asarray(self._random.standard_normal((n, 3)) * self._white)
