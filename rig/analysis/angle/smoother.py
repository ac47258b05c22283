"""The inclination of a board that a hand raises, from accelerometer and gyroscope together.

No steps tell how the board moves, and it does not move evenly. The accelerometer knows the angle
but feels the hand's accelerations as well; the gyroscope knows every change but not where it began.
So θ(t) is a spline of degree 5 that fits both by least squares, with the gyroscope's bias and gain
beside it; its third derivative is held down by as much as the raise itself calls for (a white
third derivative, the smoothing spline of Wahba, whose size is chosen by the marginal likelihood).
That is what a Rauch–Tung–Striebel smoother of the same model gives, in one linear solution.

A body at rest on the board feels the board's acceleration: its tangent is
g·sin θ / (g·cos θ + R·α), so the angle that counts for a bag at R from the hinge is, to first
order,

    θ − sin θ · R·α/g − cos θ · R·ω²/g.

This *felt* angle is what the ramp of `HandRamp` gives.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import scipy  # loads its parts when they are first used: a motor's raise needs none of them

from rig.analysis.angle.plane import Array
from rig.analysis.angle.ramp import Ramp
from rig.calibration.apply import along_slope_deg, cross_slope_deg, gravity_g, inclination_deg
from rig.calibration.model import Calibration
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile
from rig.sliding import BEFORE_SLIDE_S, G_MM_S2

KNOT_S = 0.04
"""Distance of the knots: the spline follows what is slower than about 12 Hz, tremor included."""
DEGREE = 5
AFTER_S = 0.25
GRID_S = 0.005
ROUGHNESS = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0)
"""Sizes of the third derivative that are tried, in °/s³/√Hz."""
U_GAIN = {"mpu6050": 0.03}
U_GAIN_OTHER = 0.01
"""Of the gyroscope, relative, by PS-MPU-6000A; the other from memory."""
U_BIAS_AT_REST_DEG_S = 0.02
"""The bias may have wandered by this since the rest before the raise."""
U_BIAS_DEG_S = 20.0
"""Without a rest: the older chip's zero-rate level."""
LEAST_REST = 20
NOISE_G, NOISE_DEG_S = 1e-3, 0.1
"""Of one sample, where no rest tells."""
SILENCE_S = 0.05
"""So much may be missing before the last edge."""
LEAST_SAMPLES = 40
LEAST_S = 3.0
"""Before the first edge: less of the raise does not tell the gyroscope's bias and gain."""


class HandRamp(NamedTuple):
    """θ(t) of one raise by hand."""

    ramp: Ramp
    """The felt inclination, as the onset takes it."""
    grid_s: Array
    board_deg: Array
    """The board's own inclination on the grid."""
    felt_deg: Array
    """The one that the bag felt."""
    residual_deg: Array
    """What the accelerometer saw beyond the path, three samples averaged, at each sample."""
    residual_s: Array
    noise_deg: float
    """Standard deviation of these at rest."""


def _all_kept(t_s: Array, time_s: float) -> tuple[float, float]:
    """From when to when all samples are there, around a time: before and after they are few."""
    gaps = np.diff(t_s)
    wide = np.flatnonzero(gaps > max(2.5 * float(np.median(gaps)), 0.02))
    first, last = t_s[np.append(0, wide + 1)], t_s[np.append(wide, len(t_s) - 1)]
    around = np.flatnonzero((first <= time_s) & (last >= time_s))
    return (float(first[around[0]]), float(last[around[0]])) if around.size else (time_s, time_s)


def gyro_rate_deg_s(run: RunFile, calibration: Calibration, turns: Array) -> Array:
    """Turn about the hinge, positive where the board rises; counts (n, 3) → °/s (n,)."""
    per_deg_s = run.header.settings.imu.gyro_counts_per_deg_s or 1.0
    # Gravity turns towards +n in the sensor's frame as the sensor itself turns about −n.
    rate: Array = -(turns @ np.array(calibration.axis)) / per_deg_s
    return rate


def bag_radius_mm(run: RunFile) -> float:
    """From the hinge, at the board's lower edge, to the middle of the bag."""
    header = run.header
    return (
        header.settings.beam.position_mm
        + (header.gap_mm or 0.0)
        + (header.bag_length_mm or 0.0) / 2.0
    )


def build_hand_ramp(
    run: RunFile, calibration: Calibration, raise_s: float, break_s: float, last_s: float
) -> HandRamp | None:
    """Smooth the raise around the slide.

    Args:
        run: the run as read.
        calibration: of its angle sensor.
        raise_s: when the raise started.
        break_s: the first edge.
        last_s: the last edge that is used.

    Returns:
        None where the samples do not cover it.
    """
    imu = run.header.settings.imu
    t_s, counts, turns = run.turning_arrays()
    if imu.gyro_counts_per_deg_s is None or not len(t_s):
        return None
    rests = t_s < raise_s - 0.3
    kept_s, kept_to_s = _all_kept(t_s, break_s)
    first_s = max(break_s - BEFORE_SLIDE_S, kept_s)
    used = (t_s >= first_s) & (t_s <= min(last_s + AFTER_S, kept_to_s))
    if int(used.sum()) < LEAST_SAMPLES or kept_to_s < last_s - SILENCE_S:
        return None
    temperature = run.chip_temperature_c(break_s)
    gravity = gravity_g(calibration, counts[used], temperature)
    along = along_slope_deg(calibration, gravity)
    total = inclination_deg(calibration, gravity)
    rate = gyro_rate_deg_s(run, calibration, turns.astype(np.float64))
    noise_deg, noise_deg_s, bias, u_bias = _at_rest(
        along_slope_deg(calibration, gravity_g(calibration, counts[rests], temperature)),
        rate[rests],
    )
    flags: list[Flag] = []
    is_late = kept_s > max(break_s - LEAST_S, raise_s)
    if is_late or np.max(np.abs(counts[used])) >= 32767:
        flags.append("angle_sensor_fault")
    # Noise within the chip's filter, as white noise of the whole band that weighs as much.
    half = imu.rate_hz / 2.0
    white_deg = noise_deg * math.sqrt(max(half / (1.11 * imu.lowpass_hz), 1.0))
    corner = imu.gyro_lowpass_hz or half
    white_deg_s = noise_deg_s * math.sqrt(max(half / (1.11 * corner), 1.0))
    angle_s = t_s[used] - calibration.filter_delay_ms / 1000.0
    # Delay of a second-order Butterworth low-pass for what is slow.
    turn_s = t_s[used] - math.sqrt(2.0) / (2.0 * math.pi * corner)
    fit = _Smoother(angle_s, turn_s)
    radius = bag_radius_mm(run)
    u_gain = U_GAIN.get(imu.model, U_GAIN_OTHER)
    fit.solve(along, rate[used], (white_deg, white_deg_s), (bias, u_bias), u_gain, radius)

    grid = np.arange(angle_s[0], angle_s[-1], GRID_S)
    board, turn, bent = (fit.at(grid, order) for order in (0, 1, 2))
    # The total inclination has the cross slope in it, which changes little along the raise.
    apart = np.polyval(np.polyfit(angle_s - break_s, total - along, 1), grid - break_s)
    board = board + apart
    pressed = radius * np.radians(bent) / G_MM_S2
    pulled = radius * np.radians(turn) ** 2 / G_MM_S2
    sine, cosine = np.sin(np.radians(board)), np.cos(np.radians(board))
    felt = np.degrees(np.arctan2(sine - pulled, cosine + pressed))
    seen = along - fit.at(angle_s, 0) + np.interp(angle_s, grid, board - felt)
    averaged = np.convolve(seen, np.ones(3) / 3.0, "same")
    near = np.abs(angle_s - break_s) < 0.3
    last = gravity[near].mean(axis=0)
    ramp = Ramp(
        pivot_s=break_s,
        offset_deg=0.0,
        slope_deg_s=0.0,
        covariance=fit.covariance(break_s),
        dof=math.inf,
        steps_s=grid,
        steps_deg=felt,
        gravity=last,
        cross_slope_deg=float(cross_slope_deg(calibration, last[None, :])[0]),
        imu_temperature_c=temperature,
        steady=True,
        flags=tuple(flags),
    )
    return HandRamp(ramp, grid, board, felt, averaged, angle_s, noise_deg)


def rough_hand_ramp(
    run: RunFile, calibration: Calibration, edge_s: float
) -> tuple[Callable[[float], float], float]:
    """Inclination in degrees at a time, and rate in °/s before an edge, from blocks of 0.1 s."""
    t_s, counts = run.samples_arrays()
    t_s = t_s - calibration.filter_delay_ms / 1000.0
    angle = along_slope_deg(calibration, gravity_g(calibration, counts))
    block = max(1, round(0.1 * run.header.settings.imu.rate_hz))
    near = (t_s > edge_s - 6.0) & (t_s < edge_s + 3.0)
    used = int(near.sum()) // block * block
    if used < 2 * block:
        return lambda _: 0.0, run.header.rate_deg_s
    times = t_s[near][:used].reshape(-1, block).mean(axis=1)
    means = angle[near][:used].reshape(-1, block).mean(axis=1)
    ends = np.interp([edge_s - 1.0, edge_s], times, means)
    rate = max(float(ends[1] - ends[0]), run.header.rate_deg_s / 20.0)
    return lambda time_s: float(np.interp(time_s, times, means)), rate


def even_rate_deg_s(ramp: Ramp, onset_s: float, edge_s: float) -> float:
    """The even rate that would take a bag as far from its onset to an edge as the real raise.

    From rest and with friction that stays as it was, s″ goes with θ(t) − θ(t₀); twice integrated
    over τ an even rate r gives r·τ³/6, so r = 6/τ³ · ∫ (τ − u)·(θ(t₀ + u) − θ(t₀)) du.
    """
    span = max(edge_s - onset_s, 0.05)
    u = np.linspace(0.0, span, 101)
    risen = ramp.angle_deg(onset_s + u) - ramp.angle_deg(onset_s)
    return float(6.0 / span**3 * np.trapezoid((span - u) * risen, u))


def _at_rest(along: Array, rate: Array) -> tuple[float, float, float, float]:
    """Noise of angle and turn, and the gyroscope's bias with its standard uncertainty."""
    if len(along) < LEAST_REST:
        return math.degrees(NOISE_G), NOISE_DEG_S, 0.0, U_BIAS_DEG_S
    # Medians: the board was touched while the bag was put down.
    spread = [1.483 * float(np.median(np.abs(x - np.median(x)))) for x in (along, rate)]
    u_bias = math.hypot(1.25 * spread[1] / math.sqrt(len(rate)), U_BIAS_AT_REST_DEG_S)
    return max(spread[0], 1e-4), max(spread[1], 1e-4), float(np.median(rate)), u_bias


class _Squares(NamedTuple):
    """Sums of one sensor's rows: with each other, with what it saw, and of what it saw."""

    normal: Array
    right: Array
    whole: float
    size: int


class _Smoother:
    """Least squares of the spline's coefficients, the gyroscope's bias and its gain."""

    def __init__(self, angle_s: Array, turn_s: Array) -> None:
        low, high = min(angle_s[0], turn_s[0]) - 1e-6, max(angle_s[-1], turn_s[-1]) + 1e-6
        inner = np.linspace(low, high, max(int((high - low) / KNOT_S), 2) + 1)
        self._knots = np.concatenate([np.full(DEGREE, inner[0]), inner, np.full(DEGREE, inner[-1])])
        self._n = len(self._knots) - DEGREE - 1
        self._spline = scipy.interpolate.BSpline(self._knots, np.eye(self._n), DEGREE)
        self._angle_s = angle_s
        self._of_angle, self._of_bend = self.rows(angle_s, 0), self.rows(angle_s, 2)
        self._of_turn = self.rows(turn_s, 1)
        middles = np.concatenate([inner[:-1] + part * KNOT_S for part in (0.25, 0.75)])
        self._bends = self.rows(np.clip(middles, low, high), 3) * math.sqrt(KNOT_S / 2.0)
        self._factor: Array = np.empty((0, 0))
        self.coefficients: Array = np.empty(0)

    def rows(self, times_s: Array, order: int) -> Array:
        """The basis, or a derivative of it, at some times, shape (n, coefficients)."""
        return np.asarray(self._spline(times_s, nu=order), dtype=float)

    def solve(
        self,
        along: Array,
        rate: Array,
        noise: tuple[float, float],
        bias: tuple[float, float],
        u_gain: float,
        radius_mm: float,
    ) -> None:
        """Fit with the roughness of the highest marginal likelihood, and with the noise seen."""
        felt = self._of_angle
        # The accelerometer feels the board's acceleration too; it is taken to be near the bag.
        share = np.sin(np.radians(along)) * radius_mm / G_MM_S2
        felt = felt - share[:, None] * self._of_bend
        n = self._n
        # rate = θ′ + bias + gain·rate, with the small gain's factor taken from what was seen.
        turn = np.concatenate([self._of_turn, np.ones((len(rate), 1)), rate[:, None]], axis=1)
        squares = (
            _Squares(felt.T @ felt, felt.T @ along, float(along @ along), len(along)),
            _Squares(turn.T @ turn, turn.T @ rate, float(rate @ rate), len(rate)),
        )
        bends = self._bends.T @ self._bends
        u_angle, u_turn = noise
        for _ in range(2):
            fits = (
                self._fit(squares, bends, (u_angle, u_turn), bias, u_gain, size)
                for size in ROUGHNESS
            )
            _, x, factor = max(fits, key=lambda found: found[0])
            self.coefficients, self._factor = x[:n], factor
            # Shaking that the spline can't follow makes the sensors noisier than at rest.
            u_angle = max(noise[0], _blocked(along - felt @ x[:n]))
            u_turn = max(noise[1], _blocked(rate - turn @ x))

    def _fit(
        self,
        squares: tuple["_Squares", "_Squares"],
        bends: Array,
        noise: tuple[float, float],
        bias: tuple[float, float],
        u_gain: float,
        roughness: float,
    ) -> tuple[float, Array, Array]:
        """Log marginal likelihood up to a constant, the unknowns, and the Cholesky factor."""
        n, (angle, turn) = self._n, squares
        normal = turn.normal / noise[1] ** 2
        right = turn.right / noise[1] ** 2
        normal[:n, :n] += angle.normal / noise[0] ** 2 + bends / roughness**2
        right[:n] += angle.right / noise[0] ** 2
        normal[n, n] += 1.0 / bias[1] ** 2
        right[n] += bias[0] / bias[1] ** 2
        normal[n + 1, n + 1] += 1.0 / u_gain**2
        normal[np.diag_indices(n)] += 1e-9
        factor = scipy.linalg.cholesky(normal, lower=True)
        x = scipy.linalg.cho_solve((factor, True), right)
        misfit = angle.whole / noise[0] ** 2 + turn.whole / noise[1] ** 2
        misfit += (bias[0] / bias[1]) ** 2 - float(right @ x)
        likelihood = -0.5 * misfit - float(np.sum(np.log(np.diag(factor))))
        likelihood -= (n - 3) * math.log(roughness)
        likelihood -= angle.size * math.log(noise[0]) + turn.size * math.log(noise[1])
        return likelihood, x, factor

    def at(self, times_s: Array, order: int) -> Array:
        """The path or a derivative of it, in °, °/s, °/s²."""
        return np.asarray(self.rows(times_s, order) @ self.coefficients)

    def covariance(self, time_s: float) -> Array:
        """Of inclination and rate at a time, 2 × 2."""
        n = self._n
        rows = np.zeros((2, n + 2))
        for order in (0, 1):
            rows[order, :n] = self.rows(np.array([time_s]), order)[0]
        return np.asarray(rows @ scipy.linalg.cho_solve((self._factor, True), rows.T))


def _blocked(left: Array) -> float:
    """Standard deviation of white noise whose means over blocks scatter as these do."""
    block = 20
    used = len(left) // block * block
    if used < 3 * block:
        return 0.0
    means = left[:used].reshape(-1, block).mean(axis=1)
    return float(np.sqrt(np.mean(means**2)) * math.sqrt(block))
