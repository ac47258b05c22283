"""The inclination of the board through the raise, from the angle sensor and the step count.

The step count knows how the board moves but not where it started; the sensor knows the angle but
is shaken where the board speeds up. So the steps' angle is tied to the sensor's by a weighted
straight line over the steady part of the ramp before the beam broke. Without steps the straight
line is the ramp itself.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.analysis.angle.plane import Array
from rig.calibration.apply import along_slope_deg, cross_slope_deg, gravity_g, inclination_deg
from rig.calibration.model import Calibration
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile
from rig.settings.kinematics import Kinematics

BLOCK_S = 0.1
"""Samples are averaged over this time: longer than the filters remember, so blocks are
independent."""

WINDOW_S = 6.0
"""Length of the ramp that is used before the break."""

MEMORY_S = 3.0
"""The weight of a block falls by 1/e per this time before the break."""

SETTLE_S = 0.25
"""The sensor's filters need this long after the board has stopped speeding up."""

STRAY_DEG = 0.1
"""A step line this far from the median of its neighbours is left out."""

SILENCE_S = 0.5
"""Samples may be missing for this long at most."""

MISMATCH_DEG = 1.0
"""Steps and sensor may drift apart by this much between the start and the break."""

LATE_S = 0.06
"""The sensor may lag behind the steps by this, or run ahead: 0.06° at 1 °/s. More is a clock that
runs wrong, or another filter than was calibrated."""


class Ramp(NamedTuple):
    """θ(t) of one raise.

    θ(t) = steps' angle + `offset_deg` + `slope_deg_s`·(t − `pivot_s`); the steps' angle is 0
    without steps.
    """

    pivot_s: float
    offset_deg: float
    slope_deg_s: float
    covariance: Array
    """Of offset and slope, 2 × 2."""
    dof: float
    steps_s: Array
    steps_deg: Array
    gravity: Array
    """Mean gravity vector just before the break, in g, shape (3,)."""
    cross_slope_deg: float
    imu_temperature_c: float | None
    steady: bool
    """False: the board was still speeding up within the part used."""
    flags: tuple[Flag, ...]

    def angle_deg(self, time_s: float | Array) -> Array:
        """Inclination in degrees at these times."""
        times = np.asarray(time_s, dtype=float)
        angle: Array = self.offset_deg + self.slope_deg_s * (times - self.pivot_s)
        if len(self.steps_s):
            angle = angle + np.interp(times, self.steps_s, self.steps_deg)
        return angle

    def u_fit_deg(self, time_s: float) -> float:
        """Standard uncertainty of the inclination from noise, in degrees."""
        lever = np.array([1.0, time_s - self.pivot_s])
        return math.sqrt(max(float(lever @ self.covariance @ lever), 0.0))

    def rate_deg_s(self, time_s: float) -> float:
        """Rate of the raise over the last second before a time, in °/s."""
        ends = self.angle_deg(np.array([time_s - 1.0, time_s]))
        return float(ends[1] - ends[0])


def sound_steps(run: RunFile, linkage: Kinematics) -> tuple[Array, Array, Array]:
    """Times in s, step counts and inclinations in degrees where the screw can have the count."""
    t_s, steps = run.steps_arrays()
    count = steps.astype(np.float64)
    with np.errstate(invalid="ignore"):
        angle: Array = linkage.angle_deg(count)
    sound = np.isfinite(angle)
    return t_s[sound], count[sound], angle[sound]


def steps_angle(run: RunFile) -> tuple[Array, Array]:
    """Times in s and the inclination in degrees that the step count gives, each (n,)."""
    linkage = Kinematics(run.header.settings.linkage, run.header.settings.screw)
    t_s, _, angle = sound_steps(run, linkage)
    if len(angle) >= 5:
        # One stray line must not bend the ramp; a real jump lasts and stays.
        near = np.median(np.lib.stride_tricks.sliding_window_view(angle, 5), axis=1)
        straight = np.ones(len(angle), dtype=bool)
        straight[2:-2] = np.abs(angle[2:-2] - near) < STRAY_DEG
        t_s, angle = t_s[straight], angle[straight]
    return t_s, angle


def rough_ramp(
    run: RunFile, raise_s: float, edge_s: float, steps: tuple[Array, Array]
) -> tuple[Callable[[float], float], float]:
    """Inclination in degrees at a time, and rate in °/s before an edge.

    By the steps, see `steps_angle`; where there are none, as the header states.
    """
    rate = run.header.rate_deg_s
    steps_s, steps_deg = steps
    if int(np.sum((steps_s >= raise_s - 0.5) & (steps_s <= edge_s + 0.5))) < 3:
        return lambda t_s: rate * (t_s - raise_s), rate
    last = np.interp([edge_s - 1.0, edge_s], steps_s, steps_deg)
    rate = max(float(last[1] - last[0]), rate / 20.0)
    return lambda t_s: float(np.interp(t_s, steps_s, steps_deg)), rate


def build_ramp(
    run: RunFile,
    calibration: Calibration,
    raise_s: float,
    break_s: float,
    steps: tuple[Array, Array] | None = None,
) -> Ramp | None:
    """Fit the ramp before the break.

    Args:
        run: the run as read.
        calibration: of the run's angle sensor.
        raise_s: when the raise started.
        break_s: the end of the part that is used: the first edge.
        steps: `steps_angle` of the run, where it is known.

    Returns:
        The ramp; None if neither sensor nor steps cover it.
    """
    steps_s, steps_deg = steps_angle(run) if steps is None else steps
    has_steps = int(np.sum((steps_s >= raise_s - 0.5) & (steps_s <= break_s + 0.5))) >= 3
    if not has_steps:
        steps_s, steps_deg = np.empty(0), np.empty(0)
    steady_s = _steady_from(steps_s, steps_deg, raise_s, break_s)
    first_s = max(steady_s, break_s - WINDOW_S)
    steady = break_s - first_s >= 0.5
    if not steady:
        first_s = max(raise_s, break_s - 1.0)

    t_s, counts = run.samples_arrays()
    t_s = t_s - calibration.filter_delay_ms / 1000.0
    low, high = np.searchsorted(t_s, [first_s, break_s])
    block = max(1, round(BLOCK_S * run.header.settings.imu.rate_hz))
    used = (high - low) // block * block
    flags: list[Flag] = []
    if used < 4 * block:
        if not has_steps:
            return None
        level = np.array(calibration.level)
        return Ramp(
            break_s,
            0.0,
            0.0,
            np.diag([0.25, 0.0]),
            math.inf,
            steps_s,
            steps_deg,
            level,
            0.0,
            None,
            steady,
            ("angle_sensor_fault",),
        )
    chosen = slice(high - used, high)
    temperature = run.chip_temperature_c(break_s)
    gravity = gravity_g(calibration, counts[chosen], temperature)
    angle = inclination_deg(calibration, gravity)
    is_short = break_s - t_s[high - 1] > SILENCE_S
    if is_short or _is_faulty(t_s[chosen], counts[chosen], gravity, block):
        flags.append("angle_sensor_fault")
    times = t_s[chosen].reshape(-1, block).mean(axis=1)
    values = angle.reshape(-1, block).mean(axis=1)
    if has_steps:
        values = values - np.interp(times, steps_s, steps_deg)
    offset, slope, covariance, dof = _weighted_line(times - break_s, values)
    last = gravity[-2 * block :].mean(axis=0)
    ramp = Ramp(
        break_s,
        offset,
        slope,
        covariance,
        dof,
        steps_s,
        steps_deg,
        last,
        float(cross_slope_deg(calibration, last[None, :])[0]),
        temperature,
        steady,
        tuple(flags),
    )
    if has_steps:
        along = along_slope_deg(calibration, gravity).reshape(-1, block).mean(axis=1)
        along = along - np.interp(times, steps_s, steps_deg)
        before = t_s < break_s
        whole = along_slope_deg(calibration, gravity_g(calibration, counts[before], temperature))
        if _drifted_apart(ramp, t_s[before], whole, raise_s, along):
            flags.append("step_loss")
        elif _is_late(steps_s, steps_deg, t_s[before], whole, raise_s, _joined(run)):
            flags.append("angle_sensor_fault")
    return ramp._replace(flags=tuple(flags))


def _steady_from(steps_s: Array, steps_deg: Array, raise_s: float, break_s: float) -> float:
    """When the board had stopped speeding up, with time for the filters."""
    if len(steps_s) == 0:
        return raise_s + 1.0
    grid = np.arange(raise_s, break_s, 0.05)
    if len(grid) < 4:
        return raise_s + SETTLE_S
    rate = np.diff(np.interp(grid, steps_s, steps_deg)) / 0.05
    fast = np.flatnonzero(rate >= 0.97 * np.median(rate[len(rate) // 2 :]))
    return float(grid[fast[0]]) + 0.05 + SETTLE_S if len(fast) else raise_s + SETTLE_S


def _is_faulty(t_s: Array, counts: NDArray[np.int32], gravity: Array, block: int) -> bool:
    """Frozen, saturated or silent, or not gravity."""
    blocks = counts.reshape(-1, block, 3)
    frozen = np.all(blocks == blocks[:, :1, :], axis=(1, 2)) if block > 4 else np.zeros(1, bool)
    size = np.sqrt(np.sum(gravity * gravity, axis=1))
    return bool(
        np.any(frozen[1:] & frozen[:-1])
        or np.max(np.abs(counts)) >= 32767
        or abs(np.median(size) - 1.0) > 0.1
        or np.max(np.diff(t_s)) > SILENCE_S
    )


def _weighted_line(times: Array, values: Array) -> tuple[float, float, Array, float]:
    """Offset, slope, their covariance and its degrees of freedom; times count from the break."""
    weight = np.exp(times / MEMORY_S)
    design = np.stack([np.ones_like(times), times], axis=1)
    normal = np.linalg.inv(design.T @ (weight[:, None] * design))
    solve = normal @ (design * weight[:, None]).T
    offset, slope = solve @ values
    residual = values - design @ np.array([offset, slope])
    # The noise is the same at all times; the weights only say how far the line is trusted.
    variance = float(residual @ residual) / max(len(times) - 2, 1)
    covariance: Array = variance * (solve @ solve.T)
    return float(offset), float(slope), covariance, float(max(len(times) - 2, 1))


def _drifted_apart(
    ramp: Ramp, t_s: Array, along_deg: Array, raise_s: float, apart_deg: Array
) -> bool:
    """True if steps and sensor moved apart since before the raise, or within the part used.

    The slope along the board is compared: near level the total inclination is mostly cross slope.

    Args:
        ramp: that was fitted.
        t_s: times of the samples up to the break.
        along_deg: slope along the board at these.
        raise_s: when the raise started.
        apart_deg: slope along the board less the steps' angle, block by block.
    """
    middle = float(np.median(apart_deg))
    if float(np.max(np.abs(apart_deg - middle))) > MISMATCH_DEG:
        return True
    before = (t_s >= raise_s - 3.0) & (t_s <= raise_s - 0.1)
    if int(np.sum(before)) < 3:
        return False
    # After a quick approach the board was still moving in part of this time.
    start = np.interp(t_s[before], ramp.steps_s, ramp.steps_deg)
    return abs(middle - float(np.mean(along_deg[before] - start))) > MISMATCH_DEG


def _joined(run: RunFile) -> float:
    """How many samples the chip's filter joins to one, as far as their noise goes.

    Noise of a second-order Butterworth filter has a bandwidth of π/(2√2) of its corner.
    """
    imu = run.header.settings.imu
    return max(1.0, imu.rate_hz / (2.0 * math.pi / (2.0 * math.sqrt(2.0)) * imu.lowpass_hz))


def _is_late(
    steps_s: Array,
    steps_deg: Array,
    t_s: Array,
    along_deg: Array,
    raise_s: float,
    joined: float,
) -> bool:
    """True if the sensor's time is not the steps': where the board starts, one is behind.

    A lag shows as a difference that goes with the rate, and only where the rate changes; one that
    goes with the angle is the screw's or the sensor's scale. The time in which the board speeds up
    is left out, since it shakes the sensor.
    """
    near = (t_s > raise_s - 3.0) & (t_s < raise_s + 6.0)
    if int(np.sum(near & (t_s > raise_s + 1.0))) < 100:
        return False
    rate = np.interp(t_s + 0.05, steps_s, steps_deg) - np.interp(t_s - 0.05, steps_s, steps_deg)
    rate = rate / 0.1
    full = float(np.median(rate[near & (t_s > raise_s + 1.0)]))
    moves = near & (rate > 0.97 * full) & (t_s > raise_s + SETTLE_S)
    rests = near & (np.abs(rate) < 0.03 * full) & (t_s < raise_s - 0.1)
    if full <= 0.0 or int(np.sum(rests)) < 10 or int(np.sum(moves)) < 100:
        return False
    used = moves | rests
    apart = along_deg[used] - np.interp(t_s[used], steps_s, steps_deg)
    # Each of the two parts counts alike, however many samples it has.
    at_rest = rests[used]
    weight = np.where(at_rest, 1.0 / at_rest.sum(), 1.0 / (~at_rest).sum())
    design = np.stack(
        [np.ones(len(apart)), np.interp(t_s[used], steps_s, steps_deg), ~at_rest], axis=1
    )
    normal = np.linalg.inv(design.T @ (weight[:, None] * design))
    solve = normal @ (design * weight[:, None]).T
    left = apart - design @ (solve @ apart)
    variance = float(left @ left) / len(left)
    lag_s = float(solve[2] @ apart) / full
    u_lag_s = math.sqrt(joined * variance * float(solve[2] @ solve[2])) / full
    return abs(lag_s) > max(LATE_S, 4.0 * u_lag_s)
