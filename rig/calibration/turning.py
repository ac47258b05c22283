"""Evaluation of a sweep by hand: no steps, but a gyroscope that turns with the accelerometer.

The gyroscope tells every change of the angle, later than it was by the delay of its own filter. So
what the accelerometer lags behind it is found, and its delay as far as the gyroscope's is known.
"""

import math
from typing import NamedTuple

import numpy as np
import scipy  # loads its parts when they are first used

from rig.calibration.axis import Array
from rig.errors import BadInputError

SMOOTH_S = 0.3
"""Both are smoothed alike: tremor and shaking tell more of the frame's springs than of a lag."""
STEP_S = 0.05
MOST_LAG_S = 0.1
TURNS = 6
HAIR_S = 1e-3
KNOT_S = 3.0
"""What changes more slowly (the gyroscope's bias, what the calibration leaves) tells no delay."""
U_GYRO_DELAY = 0.3
"""Of the gyroscope's delay, as a part: for 20 Hz the register map of the MPU-6000 has 8.3 ms, a
Butterworth filter of second order would have 11.3 ms."""
MOST_GAIN_OFF = 0.08
"""PS-MPU-6000A allows 3 %; the rest allows for a bias that wanders by 0.05 °/s."""
LEAST_TURN_DEG = 15.0


class Turning(NamedTuple):
    """What the gyroscope tells of a sweep."""

    gain: float
    """Its turn over the accelerometer's, from rest to the top."""
    axis: tuple[float, float, float]
    """About which it turned when the board rose, in the sensor's frame, as gravity turns there."""
    lag_ms: float
    """Accelerometer behind the gyroscope."""
    u_lag_ms: float
    gyro_delay_ms: float
    u_gyro_delay_ms: float
    shake_deg: float
    """Standard deviation of one reading of the accelerometer about the path, while it moves."""

    def delay_ms(self, prior_ms: float, u_prior_ms: float) -> tuple[float, float]:
        """Delay of the accelerometer and its standard uncertainty, with what was known before."""
        found = self.lag_ms + self.gyro_delay_ms
        weight = 1.0 / (self.u_lag_ms**2 + self.u_gyro_delay_ms**2)
        known = 1.0 / u_prior_ms**2 if u_prior_ms > 0.0 else math.inf
        if math.isinf(known):
            return prior_ms, 0.0
        both = (weight * found + known * prior_ms) / (weight + known)
        return both, 1.0 / math.sqrt(weight + known)


def turning(t_s: Array, angle_deg: Array, turns_deg_s: Array, gyro_lowpass_hz: float) -> Turning:
    """Compare accelerometer and gyroscope over a sweep up and down.

    Args:
        t_s: times of the samples (n,), evenly spaced, the first of them at rest.
        angle_deg: inclination by the accelerometer (n,).
        turns_deg_s: rotation about the sensor's axes (n, 3), as the gyroscope gives it.
        gyro_lowpass_hz: corner of its filter.

    Raises:
        BadInputError: the board was hardly raised, or the two sensors contradict each other.
    """
    dt_s = float(np.median(np.diff(t_s)))
    top = int(np.argmax(_smooth(angle_deg, 1.0, dt_s)))
    # Well before it moves: a hand is not quick to begin.
    rest = max(int(0.6 * np.argmax(angle_deg > angle_deg[:10].mean() + 0.3)), 20)
    by_gravity = float(angle_deg[max(top - 20, 0) : top + 20].mean() - angle_deg[:rest].mean())
    if by_gravity < LEAST_TURN_DEG:
        raise BadInputError(
            f"The board was raised by {max(by_gravity, 0.0):.0f}° from its rest in the sweep; it"
            f" takes {LEAST_TURN_DEG:g}°. Sweep again with `rig level`; what was captured is kept."
        )
    free = turns_deg_s - np.median(turns_deg_s[:rest], axis=0)
    # Gravity turns towards +n in the sensor's frame as the sensor itself turns about −n.
    whole = -free[:top].sum(axis=0) * dt_s
    by_gyro = float(np.linalg.norm(whole))
    gain = by_gyro / by_gravity
    if abs(gain - 1.0) > MOST_GAIN_OFF:
        raise BadInputError(
            f"The gyroscope turned by {by_gyro:.1f}° and gravity by {by_gravity:.1f}° in the sweep:"
            " one of the two sensors is not what its data sheet says. Check the chip's type in the"
            " settings and its screws, then sweep again with `rig level`."
        )
    x, y, z = (whole / by_gyro).tolist()
    lag_s, u_lag_s, shake = _lag(t_s, angle_deg, -free @ (whole / by_gyro), dt_s)
    gyro_ms = 1e3 * math.sqrt(2.0) / (2.0 * math.pi * gyro_lowpass_hz)
    # No data sheet says how a reading's time lies in its sample period: off by one, evenly.
    u_gyro_ms = math.hypot(U_GYRO_DELAY * gyro_ms, 1e3 * dt_s / math.sqrt(3.0))
    return Turning(gain, (x, y, z), 1e3 * lag_s, 1e3 * u_lag_s, gyro_ms, u_gyro_ms, shake)


def _lag(t_s: Array, angle_deg: Array, rate: Array, dt_s: float) -> tuple[float, float, float]:
    """Lag of the accelerometer behind the gyroscope, its standard uncertainty, and the shaking.

    The accelerometer's angle is the integrated rate of a moment ago, less what it feels of the
    board's acceleration (R·α·sin θ/g, with R to be found, of the same moment), and errors that go
    with the angle (gain, calibration) or drift slowly. By least squares, after Gauss and Newton.
    """
    integral = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2.0)]) * dt_s
    angle, path, turn = (_smooth(one, SMOOTH_S, dt_s) for one in (angle_deg, integral, rate))
    bend = np.gradient(turn, dt_s) * np.sin(np.radians(angle))
    edge = round((SMOOTH_S + MOST_LAG_S) / dt_s)
    used = slice(edge, len(t_s) - edge, max(1, round(STEP_S / dt_s)))
    t, seen, part = t_s[used], angle[used], angle[used] / 45.0
    inner = np.linspace(t[0], t[-1], max(int((t[-1] - t[0]) / KNOT_S), 1) + 1)
    knots = np.concatenate([np.full(3, inner[0]), inner, np.full(3, inner[-1])])
    slow = np.asarray(
        scipy.interpolate.BSpline(knots, np.eye(len(knots) - 4), 3)(np.minimum(t, inner[-1] - 1e-9))
    )

    def felt(lag_s: float, radius: float) -> tuple[Array, Array]:
        then = t - lag_s
        acceleration = np.interp(then, t_s, bend)
        return np.interp(then, t_s, path) - radius * acceleration, acceleration

    lag = radius = 0.0
    for _ in range(TURNS):
        model, acceleration = felt(lag, radius)
        by_lag = (felt(lag + HAIR_S, radius)[0] - model) / HAIR_S
        design = np.column_stack([by_lag, -acceleration, part, part**2, part**3, slow])
        found, *_ = np.linalg.lstsq(design, seen - model, rcond=None)
        lag = float(np.clip(lag + found[0], -MOST_LAG_S, MOST_LAG_S))
        radius += float(found[1])
    left = seen - model - design @ found
    covariance = np.linalg.pinv(design.T @ design) * float(left @ left) / (len(t) - len(found))
    u_lag = float(np.sqrt(covariance[0, 0])) * _alike(left)
    return lag, u_lag, _shake(angle_deg, integral)


def _alike(left: Array) -> float:
    """By how much neighbours that are alike widen an uncertainty: of means over 0.5 s."""
    used = len(left) // 10 * 10
    means = left[:used].reshape(-1, 10).mean(axis=1)
    return max(1.0, float(np.sqrt(10.0) * means.std() / left.std()))


def _shake(angle_deg: Array, integral: Array) -> float:
    """Of neighbouring samples, so that nothing slow counts."""
    return float(np.std(np.diff(angle_deg - integral)) / math.sqrt(2.0))


def _smooth(values: Array, over_s: float, dt_s: float) -> Array:
    window = np.hanning(2 * max(1, round(over_s / 2.0 / dt_s)) + 1)
    return np.convolve(values, window / window.sum(), "same")
