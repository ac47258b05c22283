"""The conditions under which the machine stops itself, in one table.

None of them is a safety function: the emergency stop cuts the motor's supply in hardware, and
this table only makes the software follow.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from rig.control.states import MOVING, STATES
from rig.errors import MachineFaultError
from rig.runfile.model import Flag, State

if TYPE_CHECKING:
    from rig.control.machine import Machine

ALL: frozenset[State] = frozenset(STATES) - {"halted"}
HOMED: frozenset[State] = ALL - {"parked", "homing"}


class Interlock(NamedTuple):
    """One condition: in which states it counts, how it is seen, what a person does about it."""

    cause: str
    states: frozenset[State]
    flag: Flag | None
    seen: Callable[["Machine"], str | None]
    """Returns the sentence that says what is wrong, or None."""
    action: str


def _emergency_stop(machine: "Machine") -> str | None:
    if machine.inputs.emergency_stop_pressed:
        return "The emergency stop is pressed, or its wire is broken."
    return None


def _upper_limit(machine: "Machine") -> str | None:
    if machine.inputs.limit_upper_reached:
        return "The board is at the upper limit switch, above the highest angle a run may reach."
    return None


def _silent_imu(machine: "Machine") -> str | None:
    seen = machine.live.angle_seen_s
    limit = machine.settings.interlocks.imu_silence_s
    silent = machine.clock.time_s() - (machine.opened_s if seen is None else seen)
    if silent > limit:
        return f"The angle sensor has said nothing for {silent:.1f} s (allowed {limit:g} s)."
    return None


def _angle_mismatch(machine: "Machine") -> str | None:
    angle = machine.live.angle_deg
    if angle is None:
        return None
    by_steps = machine.step_angle_deg()
    limit = machine.settings.interlocks.angle_mismatch_deg
    if abs(angle - by_steps) > limit:
        return (
            f"The angle sensor says {angle:.2f}° and the steps say {by_steps:.2f}°"
            f" (allowed difference {limit:g}°): steps were lost, or the sensor moved."
        )
    return None


INTERLOCKS: tuple[Interlock, ...] = (
    Interlock(
        "emergency_stop",
        ALL,
        None,
        _emergency_stop,
        "Find out why, make the rig safe, release the stop, then start again: the rig homes first.",
    ),
    Interlock(
        "limit_upper",
        MOVING,
        None,
        _upper_limit,
        "Lower the board by the hand crank and check `linkage.soft_limit_deg` and the switch.",
    ),
    Interlock(
        "imu_silent",
        ALL,
        "angle_sensor_fault",
        _silent_imu,
        "Check the sensor's cable and run `rig check`.",
    ),
    Interlock(
        "angle_mismatch",
        HOMED,
        "step_loss",
        _angle_mismatch,
        "Look for something that holds the board, check the sensor's screws, and start again.",
    ),
)


def check_interlocks(machine: "Machine", state: State) -> None:
    """Raise MachineFaultError with the first condition that is met in this state."""
    for lock in INTERLOCKS:
        if state in lock.states:
            what = lock.seen(machine)
            if what is not None:
                raise InterlockError(lock, what)


class InterlockError(MachineFaultError):
    """A fault raised by the table; `flag` goes into the run file."""

    def __init__(self, lock: Interlock, what: str) -> None:
        super().__init__(lock.cause, what, lock.action)
        self.flag = lock.flag
