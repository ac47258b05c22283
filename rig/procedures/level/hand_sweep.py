"""An unloaded sweep by hand at the end of a calibration: hinge, gyroscope, filter delay."""

import numpy as np

from rig.calibration.apply import along_slope_deg, gravity_g
from rig.calibration.axis import axis_of_sweep
from rig.calibration.model import Calibration
from rig.calibration.turning import Turning, turning
from rig.clock import Task
from rig.control.machine import Machine
from rig.control.mover import POLL_S, Mover, StoppedError
from rig.control.pace import PaceKeeper
from rig.devices.imu import ImuBatch
from rig.errors import MachineFaultError
from rig.procedures.level.progress import SweepFindings

HIGH_DEG = 35.0
PACE_DEG_S = 1.5
WAIT_S = 900.0
FLAT_DEG = 1.0
STILL_S = 1.0
"""Before the sweep, so that the gyroscope's bias is seen, and after it."""
TURNED_DEG = 3.0
"""So far down again, and the person has turned round."""
AXIS_BLOCK_S = 0.4
RAISE = (
    f"With nothing on the board, raise it evenly to {HIGH_DEG:g}°, at about {PACE_DEG_S:g} °/s;"
    " then lower it."
)
LOWER = "Now lower it at the same pace onto its rest, with no hand under it."


def hand_sweep(machine: Machine, mover: Mover, calibration: Calibration) -> Task[SweepFindings]:
    """Task: have the board raised and lowered, and evaluate that.

    Args:
        machine: opened; its board lies flat, and its watching tasks run.
        mover: waits under the interlocks.
        calibration: fitted, but for the delay; the display shows the angle by it.

    Raises:
        BadInputError: the sweep can't be used.
        StoppedError: nobody raised or lowered the board.
    """
    batches: list[ImuBatch] = []
    machine.calibration = calibration
    try:
        machine.enter("placing")
        machine.live.wants = "Hands off the board for a moment."
        with machine.listening(batches.append):
            yield from mover.wait_s(STILL_S)
            yield from _follow(machine, mover, calibration.home_angle_deg)
            yield from mover.wait_s(STILL_S)
    finally:
        machine.calibration, machine.live.angle_deg, machine.live.pace = None, None, None
    return _findings(machine, calibration, batches)


def _follow(machine: Machine, mover: Mover, rest_deg: float) -> Task[None]:
    """Until the board has been raised far enough and lies on its rest again."""
    live, top_deg = machine.live, rest_deg
    keeper = PaceKeeper(PACE_DEG_S)
    high_deg = min(HIGH_DEG, machine.settings.linkage.soft_limit_deg)
    deadline_s = mover.time_s() + WAIT_S
    machine.enter("raising")
    live.target_deg_s, live.wants = PACE_DEG_S, RAISE
    while True:
        angle_deg = rest_deg if live.angle_deg is None else live.angle_deg
        top_deg = max(top_deg, angle_deg)
        if live.state == "raising":
            if live.angle_seen_s is not None:
                live.pace = keeper.see(live.angle_seen_s, angle_deg)
            if angle_deg >= high_deg or angle_deg < top_deg - TURNED_DEG:
                machine.enter("lowering")
                live.wants = LOWER
        elif angle_deg < rest_deg + FLAT_DEG:
            return
        if mover.time_s() > deadline_s:
            raise StoppedError(f"Nobody raised and lowered the board within {WAIT_S:g} s.")
        yield from mover.wait_s(POLL_S)


def _findings(machine: Machine, calibration: Calibration, batches: list[ImuBatch]) -> SweepFindings:
    setup = machine.imu.setup
    whole = [one for one in batches if len(one.gyro_counts) == len(one.counts)]
    t_s = np.array([b.t_s + i * b.dt_s for b in whole for i in range(len(b.counts))])
    if len(t_s) < 10.0 * setup.rate_hz or float(np.diff(t_s).max()) > 0.1:
        raise MachineFaultError("imu_silent", "The angle sensor was silent in the sweep.")
    counts = np.array([one for batch in whole for one in batch.counts], dtype=float)
    turns = np.array([one for batch in whole for one in batch.gyro_counts], dtype=float)
    turns = turns / (setup.gyro_counts_per_deg_s or 1.0)
    gravity = gravity_g(calibration, counts, machine.live.imu_temperature_c)
    angle_deg = np.asarray(along_slope_deg(calibration, gravity))
    found = turning(t_s, angle_deg, turns, setup.gyro_lowpass_hz or setup.rate_hz / 2.0)
    block = max(1, round(AXIS_BLOCK_S * setup.rate_hz))
    up = int(np.argmax(angle_deg)) // block * block
    axis = axis_of_sweep(gravity[:up].reshape(-1, block, 3).mean(axis=1))
    imu = machine.settings.imu
    delay_ms, u_delay_ms = found.delay_ms(imu.filter_delay_ms, imu.u_filter_delay_ms)
    return SweepFindings(
        axis_off_deg=_apart_deg(axis.axis, calibration.axis),
        misfit_g=axis.misfit_g,
        delay_ms=delay_ms,
        u_delay_ms=u_delay_ms,
        backlash_deg=0.0,
        gyro_gain=found.gain,
        gyro_axis_off_deg=_apart_deg(found.axis, axis.axis),
        told=sentence(found, (delay_ms, u_delay_ms)),
    )


def sentence(found: Turning, delay: tuple[float, float]) -> str:
    """What the sweep could tell, and what not."""
    return (
        f"Raised by hand: the filter's delay, {delay[0]:.1f} ± {delay[1]:.1f} ms, rests on the"
        f" gyroscope's own, {found.gyro_delay_ms:.1f} ms by its corner and taken as known to"
        f" {found.u_gyro_delay_ms:.1f} ms, and on the settings; no steps tell it. The gyroscope"
        f" turned by {100.0 * found.gain:.1f} % of what gravity did. A reading scatters by"
        f" {found.shake_deg:.2f}° while a hand moves the board. Play and vibration of a drive were"
        " not looked for: there is none."
    )


def _apart_deg(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    return float(np.degrees(np.arccos(np.clip(np.dot(a, b), -1.0, 1.0))))
