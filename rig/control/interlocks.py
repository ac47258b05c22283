"""Checks for conditions that can arise at any time; the table is in `rig.control.faults.table`.

The other causes of the table are raised where they occur: in a driver, a move, the homing, the run
file.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from rig.control.faults.table import BY_CAUSE
from rig.errors import Cause, MachineFaultError
from rig.runfile.model import State

if TYPE_CHECKING:
    from rig.control.machine import Machine

CLEAR_OF_HOME_DEG = 1.5
"""Height above home at which the lower switch must be closed again."""
CLOCK_JUMP_S = 5.0
DOUBTFUL_READINGS = 3
MISMATCH_LASTS_S = 0.3


def check_interlocks(machine: "Machine", state: State) -> None:
    """Raise MachineFaultError for the first condition met in this state.

    A condition that allows the current run to finish is only noted in `machine.last_run_reason`.
    """
    for cause, seen in CONDITIONS.items():
        entry = BY_CAUSE[cause]
        if state in entry.states:
            what = seen(machine)
            if what is None:
                continue
            if entry.response == "last_run":
                machine.last_run_reason = machine.last_run_reason or MachineFaultError(cause, what)
            else:
                raise MachineFaultError(cause, what)
    if state != "halted":
        problem = machine.sensor_problem()
        if problem is not None:
            raise problem


def _emergency_stop(machine: "Machine") -> str | None:
    if machine.inputs.emergency_stop_pressed:
        return "The emergency stop is pressed, or its wire is broken."
    return None


def held_up(machine: "Machine") -> MachineFaultError | None:
    """Fault of a suspended program; it explains anything else that is late then."""
    what = _suspended(machine)
    return None if what is None else MachineFaultError("suspended", what)


def _suspended(machine: "Machine") -> str | None:
    if machine.held_up_s is not None:
        return f"The program was suspended for {machine.held_up_s:.1f} s and then continued."
    return None


def _upper_limit(machine: "Machine") -> str | None:
    if machine.inputs.limit_upper_reached:
        return (
            "The upper limit switch is open: the board is above the highest angle allowed in a run,"
            " or the switch's wire is broken."
        )
    return None


def _lower_limit_stuck(machine: "Machine") -> str | None:
    if not machine.is_homed or not machine.inputs.limit_lower_reached:
        return None
    above = machine.step_angle_deg() - machine.settings.linkage.home_angle_deg
    if above > CLEAR_OF_HOME_DEG:
        return f"The lower switch is open although the board is {above:.1f}° above home."
    return None


def _silent_imu(machine: "Machine") -> str | None:
    seen = machine.live.angle_seen_s
    limit = machine.settings.interlocks.imu_silence_s
    silent = machine.clock.time_s() - (machine.opened_s if seen is None else seen)
    if silent > limit:
        return f"The angle sensor has been silent for {silent:.1f} s (allowed {limit:g} s)."
    return None


def _angle_mismatch(machine: "Machine") -> str | None:
    """Report a mismatch only after it lasts: a failing sensor soon shows its own fault."""
    if not machine.has_motor:
        return None
    angle = machine.live.angle_deg
    by_steps = machine.step_angle_deg()
    limit = machine.settings.interlocks.angle_mismatch_deg
    if angle is None or abs(angle - by_steps) <= limit:
        machine.mismatch_since_s = None
        return None
    now_s = machine.clock.time_s()
    if machine.mismatch_since_s is None:
        machine.mismatch_since_s = now_s
    if now_s - machine.mismatch_since_s >= MISMATCH_LASTS_S:
        return (
            f"The angle sensor reads {angle:.2f}° and the steps give {by_steps:.2f}°"
            f" (allowed difference {limit:g}°): steps were lost, or the sensor moved."
        )
    return None


def _edges_lost(machine: "Machine") -> str | None:
    failed = machine.inputs.failed_callbacks
    if failed:
        return f"Edges of the inputs that could not be handled: {failed}."
    return None


def _disk_nearly_full(machine: "Machine") -> str | None:
    host, limit = machine.host, machine.settings.interlocks.min_free_mb
    if host.free_mb is not None and host.free_mb < limit:
        return f"Only {host.free_mb:.0f} MB are free in {host.folder} (required: {limit:g} MB)."
    return None


def _clock_jump(machine: "Machine") -> str | None:
    jump_s = machine.host.clock_jump_s
    if machine.is_moving and abs(jump_s) > CLOCK_JUMP_S:
        return f"The wall clock diverged by {jump_s:+.0f} s from the monotonic clock during a move."
    return None


def _low_supply(machine: "Machine") -> str | None:
    if machine.host.is_supply_low:
        return "The computer reports that its supply voltage is too low."
    return None


def _climate_doubtful(machine: "Machine") -> str | None:
    if machine.doubtful_climates >= DOUBTFUL_READINGS:
        return (
            f"The climate sensor gave no plausible temperature and humidity"
            f" {machine.doubtful_climates} times in a row."
        )
    return None


CONDITIONS: dict[Cause, Callable[["Machine"], str | None]] = {
    "emergency_stop": _emergency_stop,
    "suspended": _suspended,
    "limit_upper": _upper_limit,
    "limit_lower_stuck": _lower_limit_stuck,
    "imu_silent": _silent_imu,
    "angle_mismatch": _angle_mismatch,
    "edges_lost": _edges_lost,
    "low_supply": _low_supply,
    "clock_jump": _clock_jump,
    "disk_nearly_full": _disk_nearly_full,
    "climate_doubtful": _climate_doubtful,
}
"""Checks by cause, the most urgent first; each returns a sentence about the condition, or None."""
