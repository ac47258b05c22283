"""The angle sensor's true signal: gravity, motion, errors, filter, noise and the motor's vibration.

One implementation serves the register-level chip (a few samples at a time) and the fast simulator
(a whole run at once).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, pi, radians, sin, sqrt

import numpy as np
from numpy.typing import NDArray

from rig.twin.mechanics import G0_M_S2, Incline
from rig.twin.scenario import ImuTruth

Array = NDArray[np.float64]

FEW = 32
"""Up to so many samples at once the filter is quicker as a matrix."""


@dataclass(frozen=True)
class Motion:
    """The cradle's motion at some times; arrays of one length."""

    angle_rad: Array
    rate_rad_s: Array
    acceleration_rad_s2: Array
    pulses: Array
    """Position in step pulses, with the fraction between two of them."""
    pulse_rate_hz: Array
    """Zero while the motor stands."""


def rotation(vector_deg: Sequence[float]) -> Array:
    """Rotation matrix (3 × 3) of a rotation vector in degrees (Rodrigues' formula)."""
    x, y, z = (radians(value) for value in vector_deg)
    angle = sqrt(x * x + y * y + z * z)
    if angle < 1e-12:
        return np.eye(3)
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]) / angle
    return np.asarray(np.eye(3) + sin(angle) * k + (1.0 - cos(angle)) * (k @ k))


def lowpass_taps(corner_hz: float, dt_s: float) -> Array:
    """Impulse response of a second-order Butterworth low-pass, sampled; its sum is 1."""
    w = 2.0 * pi * corner_hz / sqrt(2.0)
    n = int(min(400.0, 10.0 / (w * dt_s))) + 1
    t = (np.arange(n) + 0.5) * dt_s
    taps = np.exp(-w * t) * np.sin(w * t)
    return np.asarray(taps / taps.sum()) if n > 2 else np.ones(1)


class Sensor:
    """Samples of one chip on one board, in g, in order of time.

    Args:
        imu: the chip's truth.
        incline: the board against gravity.
        rate_hz: true output rate.
        lowpass_hz: corner of the chip's low-pass filter.
        motion: the cradle's motion at an array of times (s), all of them in the past.
        random: the stream of the noise.
    """

    def __init__(
        self,
        imu: ImuTruth,
        incline: Incline,
        rate_hz: float,
        lowpass_hz: float,
        motion: Callable[[Array], Motion],
        random: np.random.Generator,
    ) -> None:
        self._imu = imu
        self._incline = incline
        self._motion = motion
        self._random = random
        self.rate_hz = rate_hz
        self.lowpass_hz = lowpass_hz
        self._taps = lowpass_taps(self.lowpass_hz, 1.0 / self.rate_hz)
        self._mounting = rotation(imu.mounting_deg) @ rotation((0.0, 0.0, imu.yaw_deg))
        yx, zx, zy = imu.shear
        shear = np.array([[1.0, yx, zx], [0.0, 1.0, zy], [0.0, 0.0, 1.0]])
        self._to_raw = (shear @ self._mounting) / np.asarray(imu.gain)[:, None]
        self._white_g = imu.noise_g_rthz * sqrt(self.rate_hz / 2.0)
        self._bias = np.asarray(imu.bias_g)
        self._drift = np.asarray(imu.drift_g_per_k)
        self._past: Array | None = None
        self._bands: dict[int, Array] = {}
        delay = float(self._taps @ np.arange(self._taps.size)) / self.rate_hz
        self.filter_delay_s = delay + imu.digital_delay_ms / 1000.0
        """True delay of slow signals from the board to the sample, s."""

    @property
    def level(self) -> Array:
        """Unit vector of gravity in the chip's frame on a board that is level both ways."""
        return np.asarray(self._mounting @ np.array([0.0, 0.0, 1.0]))

    @property
    def axis(self) -> Array:
        """Unit vector of the hinge in the chip's frame."""
        return np.asarray(self._mounting @ np.array([0.0, 1.0, 0.0]))

    @property
    def noise_g(self) -> float:
        """Standard deviation of one sample of one axis, filter included."""
        return self._white_g * float(np.sqrt(np.sum(self._taps**2)))

    def sample(
        self, times_s: Sequence[float], temperature_c: float
    ) -> list[tuple[float, float, float]]:
        """Raw values in g at the chip's sample times, which must go on from the last ones."""
        values = self.measure(np.asarray(times_s, dtype=np.float64), temperature_c)
        return [(x, y, z) for x, y, z in values.tolist()]

    def measure(self, times_s: Array, temperature_c: "float | Array") -> Array:
        """Raw values (n × 3, g) at the chip's sample times (n), which must go on from the last."""
        imu, n = self._imu, times_s.size
        motion = self._motion(times_s - imu.digital_delay_ms / 1000.0)
        force = self._force(motion)
        self._vibrate(force, motion)
        raw = force @ self._to_raw.T
        raw += self._white(n)
        before = self._taps.size - 1
        if before:
            past = self._past
            if past is None:
                past = np.tile(force[:1] @ self._to_raw.T, (before, 1)) + self._white(before)
            long = np.concatenate((past, raw))
            self._past = long[n:]
            raw = self._filter(long, n)
        raw += self._bias
        warmer = temperature_c - imu.reference_temperature_c
        raw += warmer * self._drift if isinstance(warmer, float) else np.outer(warmer, self._drift)
        return np.asarray(raw)

    def _white(self, n: int) -> Array:
        return np.asarray(self._random.standard_normal((n, 3)) * self._white_g)

    def _filter(self, long: Array, n: int) -> Array:
        """The low-pass: sample i is the taps against the i-th and those before it."""
        if n > FEW:
            columns = [np.convolve(long[:, i], self._taps, "valid") for i in range(3)]
            return np.stack(columns, axis=1)
        band = self._bands.get(n)
        if band is None:
            band = np.zeros((n, long.shape[0]))
            for i in range(n):
                band[i, i : i + self._taps.size] = self._taps[::-1]
            self._bands[n] = band
        return np.asarray(band @ long)

    def _force(self, motion: Motion) -> Array:
        """Specific force in the board's frame, in g (n × 3): gravity, r·α and r·ω²."""
        incline, radius = self._incline, self._imu.radius_mm / 1000.0 / G0_M_S2
        sine, cosine = np.sin(motion.angle_rad), np.cos(motion.angle_rad)
        force = np.empty((sine.size, 3))
        x, y, z = incline.up_x, incline.up_y, incline.up_z
        force[:, 0] = x * cosine + z * sine - radius * motion.rate_rad_s**2
        force[:, 1] = y
        force[:, 2] = z * cosine - x * sine + radius * motion.acceleration_rad_s2
        return force

    def _vibrate(self, force: Array, motion: Motion) -> None:
        """Add lines at the pulse frequency and its double, normal to the board and half along it.

        The chip's filter comes before its sampling, so here the lines are weakened first, and
        then the sampling folds them back as it does in the chip. The taps weaken the folded
        lines once more: a line that folds to near zero passes them, as it does in the chip.
        """
        moving = motion.pulse_rate_hz > 0.0
        if not moving.any():
            return
        turn = 2.0 * pi * motion.pulses
        squared = (motion.pulse_rate_hz / self.lowpass_hz) ** 2
        line = np.sin(turn) / np.sqrt(1.0 + squared * squared)
        line += 0.5 * np.sin(2.0 * turn) / np.sqrt(1.0 + 16.0 * squared * squared)
        line *= self._imu.vibration_g * moving
        force[:, 2] += line
        force[:, 0] += 0.5 * line
