"""Homing: find the lower switch, retreat, find it again slowly, and set count 0 there."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from rig.clock import Task
from rig.errors import MachineFaultError

if TYPE_CHECKING:
    from rig.control.machine import Machine
    from rig.control.mover import Mover

RETREAT_DEG = 0.5
SLOW_FACTOR = 0.25
CAREFUL_FACTOR = 0.5
"""Slower homing after an interruption, when the board's position is unknown."""
OVERRUN_DEG = 3.0
"""Search range for the switch beyond its expected position."""


def home(mover: "Mover", machine: "Machine") -> Task[None]:
    """Bring the board to the lower switch and set the step count to 0 there.

    Raises:
        MachineFaultError: the switch is not found or does not close again.
    """
    inputs, stepper = machine.inputs, machine.stepper
    if not machine.is_homed:
        angle_deg = yield from _first_idea_deg(mover, machine)
        stepper.count = round(float(machine.linkage.count_at(angle_deg)))
    if inputs.limit_lower_reached:
        yield from _retreat(mover, machine)
    rate = _rate_deg_s(machine)
    yield from _approach(mover, machine, rate)
    yield from _retreat(mover, machine)
    yield from _approach(mover, machine, rate * SLOW_FACTOR)
    stepper.count = 0
    machine.is_homed = True
    machine.homes_slowly = False


def _rate_deg_s(machine: "Machine") -> float:
    factor = CAREFUL_FACTOR if machine.homes_slowly else 1.0
    return machine.settings.motion.homing_rate_deg_s * factor


def _first_idea_deg(mover: "Mover", machine: "Machine") -> Task[float]:
    """Rough inclination after power-on, when the count is unknown, from the angle sensor.

    Before the first calibration there is only the switch: the board is at home, or else is assumed
    to be at its highest, so that the way down is long enough.
    """
    if machine.calibration is None:
        linkage = machine.settings.linkage
        at_home = machine.inputs.limit_lower_reached
        return linkage.home_angle_deg if at_home else linkage.soft_limit_deg
    angle_deg, _ = yield from mover.capture_angles_deg(0.4)
    return angle_deg


def _approach(mover: "Mover", machine: "Machine", rate_deg_s: float) -> Task[None]:
    lowest = machine.settings.linkage.home_angle_deg - OVERRUN_DEG
    inputs = machine.inputs
    yield from _travel(mover, machine, lowest, rate_deg_s, lambda: inputs.limit_lower_reached)
    if not inputs.limit_lower_reached:
        raise MachineFaultError(
            "limit_lower_missing",
            f"The lower switch did not open although the board moved {OVERRUN_DEG:g}° past its"
            " expected position.",
        )


def _retreat(mover: "Mover", machine: "Machine") -> Task[None]:
    """Raise until the switch has closed, and a little more.

    A hand crank may have left the board well below it.
    """
    inputs, rate = machine.inputs, _rate_deg_s(machine)
    if inputs.limit_lower_reached:
        highest = machine.step_angle_deg() + OVERRUN_DEG
        yield from _travel(mover, machine, highest, rate, lambda: not inputs.limit_lower_reached)
    if not inputs.limit_lower_reached:
        up_to = machine.step_angle_deg() + RETREAT_DEG
        yield from _travel(mover, machine, up_to, rate, lambda: False)
    if inputs.limit_lower_reached:
        raise MachineFaultError(
            "limit_lower_stuck",
            f"The lower switch is open although the board was raised by {OVERRUN_DEG:g}°.",
        )


def _travel(
    mover: "Mover",
    machine: "Machine",
    to_angle_deg: float,
    rate_deg_s: float,
    is_there: Callable[[], bool],
) -> Task[None]:
    plan = machine.plan(to_angle_deg, rate_deg_s)

    def look(_: Any) -> None:
        if is_there():
            machine.stepper.request_stop("cut")

    yield from mover.move(plan, look)
