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


def _lowpass_taps(corner_hz: float, dt_s: float) -> Array:
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
        self._taps = _lowpass_taps(self.lowpass_hz, 1.0 / self.rate_hz)
        self._mounting = rotation(imu.mounting_deg)
        yx, zx, zy = imu.shear
        shear = np.array([[1.0, yx, zx], [0.0, 1.0, zy], [0.0, 0.0, 1.0]])
        self._to_raw = (shear @ self._mounting) / np.asarray(imu.gain)[:, None]
        self._white_g = imu.noise_g_rthz * sqrt(self.rate_hz / 2.0)
        self._past: Array | None = None
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
        at = times_s - imu.digital_delay_ms / 1000.0
        motion = self._motion(at)
        force = self._force(motion)
        force += self._vibration(motion)
        raw = force @ self._to_raw.T + self._random.normal(0.0, self._white_g, (n, 3))
        taps = self._taps
        if taps.size > 1:
            past = self._past
            if past is None:
                start = np.tile(force[:1] @ self._to_raw.T, (taps.size - 1, 1))
                past = start + self._random.normal(0.0, self._white_g, start.shape)
            long = np.concatenate((past, raw))
            self._past = long[long.shape[0] - taps.size + 1 :]
            raw = np.stack([np.convolve(long[:, i], taps, "valid") for i in range(3)], axis=1)
        warmer = np.asarray(temperature_c) - imu.reference_temperature_c
        drift = np.multiply.outer(warmer, np.asarray(imu.drift_g_per_k))
        return np.asarray(raw + np.asarray(imu.bias_g) + drift)

    def _force(self, motion: Motion) -> Array:
        """Specific force in the board's frame, in g (n × 3): gravity, r·α and r·ω²."""
        incline, radius = self._incline, self._imu.radius_mm / 1000.0 / G0_M_S2
        sine, cosine = np.sin(motion.angle_rad), np.cos(motion.angle_rad)
        force = np.empty((motion.angle_rad.size, 3))
        force[:, 0] = incline.up_x * cosine + incline.up_z * sine
        force[:, 0] -= radius * motion.rate_rad_s**2
        force[:, 1] = incline.up_y
        force[:, 2] = incline.up_z * cosine - incline.up_x * sine
        force[:, 2] += radius * motion.acceleration_rad_s2
        return force

    def _vibration(self, motion: Motion) -> Array:
        """Lines at the pulse frequency and its double, normal to the board and half along it.

        The chip's filter comes before its sampling, so here the lines are weakened first, and
        then the sampling folds them back as it does in the chip. The taps weaken the folded
        lines once more: a line that folds to near zero passes them, as it does in the chip.
        """
        force = np.zeros((motion.pulses.size, 3))
        if not np.any(motion.pulse_rate_hz):
            return force
        turn = 2.0 * pi * motion.pulses
        for harmonic, share in ((1, 1.0), (2, 0.5)):
            ratio = harmonic * motion.pulse_rate_hz / self.lowpass_hz
            passed = np.where(motion.pulse_rate_hz > 0.0, 1.0 / np.sqrt(1.0 + ratio**4), 0.0)
            line = share * self._imu.vibration_g * passed * np.sin(harmonic * turn)
            force[:, 2] += line
            force[:, 0] += 0.5 * line
        return force
