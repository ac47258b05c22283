"""An unsteady hand lifts a board with a phone on it; what the phone's browser tells of it.

Nothing here is shared with the smoother. Where the figures come from:

- Tremor: physiological tremor lies at 8 to 12 Hz; a few tenths of a m/s² at a hand that carries
  something (Elble and Randall, Electroencephalogr. Clin. Neurophysiol. 44, 72, 1978, for the band;
  the size from memory). Slow movements come in pulses: the pace wanders about its mean (Vallbo and
  Wessberg, J. Physiol. 469, 673, 1993); a quarter of the pace here, judged.
- Accelerometer: ±20 mg offset, ±1 % sensitivity, 1 % cross-axis, 180 µg/√Hz; gyroscope: ±1 °/s,
  ±1 %, 7 m°/s/√Hz. Typical figures of data sheets of phone chips (ST LSM6DSO, Bosch BMI160; from
  memory).
- Events: 60 a second, times off by up to some ms, some missing, some late (judged); readings
  rounded to 0.1 m/s² and 0.1 °/s in every other phone, as W3C's "Device Orientation and Motion"
  allows for privacy.
- Taps: 0.15 to 0.35 s late, even.
- Friction changes with the rate by up to 0.2° for each factor e, of either sign, which the
  estimator does not assume.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]
G = 9.806
HZ = 1000
TICK_S = 1.0 / HZ
HAND_M = 1.15
TAPS_S = (0.15, 0.35)


@dataclass(frozen=True)
class Trouble:
    """How much worse than usual."""

    noise: float = 1.0
    bias: float = 1.0
    tremor: float = 1.0
    events: float = 1.0
    taps_are_normal: bool = False
    """As late and as scattered as the even ones, but of normal shape, so some are later."""


def turn(axis: int, angle_deg: float) -> F:
    """A rotation matrix."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    i, j = [k for k in range(3) if k != axis]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = (-s, s) if axis != 1 else (s, -s)
    return matrix


class Phone:
    """One phone, its place on the board, and the board's own tilt."""

    def __init__(self, random: np.random.Generator, trouble: Trouble) -> None:
        self.random, self.trouble = random, trouble
        self.scale = np.eye(3) + np.diag(random.uniform(-0.01, 0.01, 3))
        self.scale += (1 - np.eye(3)) * random.normal(0.0, 0.005, (3, 3))
        self.offset = random.normal(0.0, 0.020, 3) * G * trouble.bias
        self.spin_scale = 1.0 + random.uniform(-0.01, 0.01, 3)
        self.spin_offset = random.uniform(-1.0, 1.0, 3) * trouble.bias
        self.back = turn(0, random.normal(0.0, 1.0)) @ turn(1, random.normal(0.0, 1.0))
        self.yaw_deg = random.normal(0.0, 5.0)
        self.place_m = random.uniform(0.4, 0.8)
        self.sign = random.choice([-1.0, 1.0])
        self.order = random.permutation(3)
        self.is_rounded = bool(random.integers(2))
        self.lean_deg, self.cross_deg = random.uniform(-1.0, 1.0, 2)

    def events(self, force: F, spin: F, yaw_deg: float) -> dict[str, Any]:
        """What the browser gives, from force and rotation at every ms in the board's axes."""
        random, trouble = self.random, self.trouble
        frame = self.back @ turn(2, yaw_deg)
        n = len(force)
        ticks = np.arange(8, n, 1000 // 60 + 1)
        late = random.random(len(ticks)) < 0.005 * trouble.events
        keep = random.random(len(ticks)) > 0.01 * trouble.events
        read_ms = ticks + random.uniform(0, 3.0 * trouble.events, len(ticks))
        told_ms = read_ms + late * random.uniform(20, 80, len(ticks)) * trouble.events
        told_ms = np.maximum.accumulate(told_ms)[keep]
        at = np.minimum(read_ms[keep].astype(int), n - 1)
        mean = np.stack([force[at - k] for k in range(8)]).mean(axis=0)
        pull = (mean @ frame.T) @ self.scale.T + self.offset
        pull += random.normal(0.0, 180e-6 * G * np.sqrt(47.0) * trouble.noise, pull.shape)
        rate = np.stack([spin[at - k] for k in range(8)]).mean(axis=0) @ frame.T
        rate = rate * self.spin_scale + self.spin_offset
        rate += random.normal(0.0, 0.007 * np.sqrt(47.0) * trouble.noise, rate.shape)
        pull, rate = self.sign * pull, rate[:, self.order]
        digits = 1 if self.is_rounded else 4
        return {
            "t_s": np.round((told_ms - told_ms[0]) / 1000, 4).tolist(),
            "acceleration_m_s2": np.round(pull, digits).tolist(),
            "rotation_deg_s": np.round(rate, digits).tolist(),
            "began_s": float(told_ms[0]) / 1000,
        }

    def laying(self, yaw_deg: float) -> dict[str, Any]:
        """Three seconds at rest."""
        n = 3 * HZ
        force = G * np.tile(up(self.lean_deg, self.cross_deg), (n, 1))
        pull = np.array(self.events(force, np.zeros((n, 3)), yaw_deg)["acceleration_m_s2"])
        return {
            "acceleration_m_s2": pull.mean(axis=0).tolist(),
            "sd_m_s2": float(pull.std(axis=0).max()),
            "n": len(pull),
        }

    def zero(self) -> dict[str, Any]:
        """Laid down, and turned end for end by hand."""
        other = self.yaw_deg + 180.0 + self.random.normal(0.0, 3.0)
        return {"first": self.laying(self.yaw_deg), "second": self.laying(other)}


def up(along_deg: Any, cross_deg: float) -> F:
    """The vertical in the board's axes: across, uphill, normal."""
    along, cross = np.radians(along_deg), np.radians(cross_deg)
    parts = (
        np.sin(cross) + 0 * along,
        np.sin(along),
        np.sqrt(1 - np.sin(along) ** 2 - np.sin(cross) ** 2),
    )
    return np.stack(parts, axis=-1)


def band(random: np.random.Generator, n: int, low_hz: float, high_hz: float) -> F:
    """Noise within a band, of standard deviation 1."""
    spectrum = random.normal(size=n // 2 + 1) + 1j * random.normal(size=n // 2 + 1)
    hz = np.fft.rfftfreq(n, TICK_S)
    spectrum[(hz < low_hz) | (hz > high_hz)] = 0.0
    series = np.fft.irfft(spectrum, n)
    return np.asarray(series / series.std())


def lift(
    phone: Phone, slide_deg: float, pace_deg_s: float, law_deg: float = 0.0
) -> tuple[dict[str, Any], float]:
    """One lift.

    Args:
        phone: that lies on the board.
        slide_deg: slide angle of the bag at `pace_deg_s`.
        pace_deg_s: that the hand tries to keep.
        law_deg: change of the slide angle for each factor e of the rate.

    Returns:
        The samples as the page sends them, and the time of the slide.
    """
    random, trouble = phone.random, phone.trouble
    rest_s = random.uniform(1.6, 2.6)
    n = int((rest_s + (slide_deg + 12.0) / (0.8 * pace_deg_s) + 3.0) * HZ)
    t = np.arange(n) * TICK_S
    begun = np.clip((t - rest_s) / 0.6, 0.0, 1.0)
    begun = begun**3 * (10 - 15 * begun + 6 * begun**2)
    wander = np.clip(1.0 + 0.25 * trouble.tremor * band(random, n, 0.2, 2.0), 0.15, None)
    own = random.normal(1.0, 0.1)
    steady = pace_deg_s * own * begun * wander
    shake = np.degrees(0.3 * trouble.tremor * band(random, n, 8.0, 12.0) / HAND_M)  # °/s²
    shake_rate = np.cumsum(shake) * TICK_S
    shake_rate = (shake_rate - shake_rate.mean()) * begun
    rate = steady + shake_rate
    raised = np.cumsum(rate) * TICK_S
    faster = np.gradient(rate, TICK_S)
    vertical = up(phone.lean_deg + raised, phone.cross_deg)
    inclined = np.degrees(np.arccos(vertical[:, 2]))
    pace = np.convolve(steady, np.ones(500) / 500, "same")
    limit = slide_deg + law_deg * np.log(np.maximum(pace, 0.05) / pace_deg_s)
    first = int(np.argmax((inclined >= limit) & (t > rest_s + 0.6)))
    late_s = random.uniform(*TAPS_S)
    if trouble.taps_are_normal:
        late_s = random.normal(sum(TAPS_S) / 2.0, (TAPS_S[1] - TAPS_S[0]) / np.sqrt(12.0))
    tap_s = first * TICK_S + late_s
    end = min(int((tap_s + 0.6) * HZ), n)
    force = G * vertical
    force[:, 2] += phone.place_m * np.radians(faster)
    force[:, 1] -= phone.place_m * np.radians(rate) ** 2
    spin = np.stack([rate, 0 * rate, 0 * rate], axis=-1)
    told = phone.events(force[:end], spin[:end], phone.yaw_deg)
    told["taps_s"] = [round(float(tap_s - told["began_s"]), 4)]
    del told["began_s"]
    return told, first * TICK_S
