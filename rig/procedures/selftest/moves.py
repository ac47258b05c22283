"""Moves of the self-test: home first, then a short move of each axis."""

from collections.abc import Callable
from typing import NamedTuple

from rig.clock import Task
from rig.control.blade.axis import BladeAxis
from rig.control.faults.table import told
from rig.control.homing import home
from rig.control.machine import Machine
from rig.control.mover import Mover, StoppedError
from rig.control.placing import wait_for_start
from rig.errors import MachineFaultError
from rig.runfile.model import State

MOVE_DEG = 2.0
BLADE_MM = 30.0
REST_S = 0.5
PRESS_S = 60.0
"""Longest wait for the start button."""


class Finding(NamedTuple):
    """Result of one test."""

    name: str
    is_good: bool
    text: str


def try_moves(machine: Machine, ask: Callable[[str], None] | None) -> Task[list[Finding]]:
    """Task: home the board, raise it by 2° and lower it, push the blade out by 30 mm and back.

    A failure ends it: nothing moves after a fault.

    Args:
        machine: opened; its watching tasks must be running.
        ask: see `self_test`.
    """
    if machine.calibration is None:
        return [Finding("movement", False, "not tried: no calibrated angle")]
    found: list[Finding] = []
    mover = Mover(machine)
    try:
        if ask is not None:
            what = "The board and the blade" if machine.has_blade else "The board"
            ask(f"{what} will move a little: press start when nobody is near.")
            yield from wait_for_start(mover, machine.inputs, mover.time_s() + PRESS_S, PRESS_S)
        machine.enter("homing")
        yield from home(mover, machine)
        found.append(Finding("homing", True, "the lower switch opens and closes"))
        found.append((yield from _board(machine, mover)))
        if machine.has_blade and found[-1].is_good:
            found.append((yield from _blade(machine, mover)))
        machine.enter("parked")
    except StoppedError as stop:
        found.append(Finding("movement", False, str(stop)))
        machine.enter("parked")
    except MachineFaultError as error:
        machine.latch(error)
        found.append(Finding("movement", False, told(error)))
        machine.enter("halted")
    finally:
        machine.motors_off()
    return found


def _board(machine: Machine, mover: Mover) -> Task[Finding]:
    """Move up by some degrees and down again: do sensor and steps agree?"""
    home_deg = machine.settings.linkage.home_angle_deg
    yield from mover.wait_s(REST_S)
    began_deg = machine.live.angle_deg or 0.0
    worst_us = yield from _go(machine, mover, "raising", home_deg + MOVE_DEG)
    top_deg = machine.live.angle_deg or 0.0
    yield from _go(machine, mover, "lowering", home_deg)
    machine.stepper.disable()
    rise_deg = top_deg - began_deg
    return Finding(
        "movement",
        abs(rise_deg - MOVE_DEG) < 0.1 * MOVE_DEG,
        f"{MOVE_DEG:g}° by steps, {rise_deg:.2f}° by the sensor; worst pulse {worst_us:.0f} µs"
        " late",
    )


def _go(machine: Machine, mover: Mover, state: State, to_deg: float) -> Task[float]:
    machine.enter(state)
    machine.stepper.take_worst_late_us()
    worst_us = 0.0

    def look(_: object) -> None:
        nonlocal worst_us
        worst_us = max(worst_us, machine.stepper.take_worst_late_us())

    yield from mover.move(machine.plan(to_deg, machine.settings.motion.homing_rate_deg_s), look)
    yield from mover.wait_s(REST_S)
    return worst_us


def _blade(machine: Machine, mover: Mover) -> Task[Finding]:
    """Move out and back: does it leave its switch and find it again?"""
    machine.enter("placing")
    off_mm = yield from BladeAxis(machine).try_out(mover, BLADE_MM)
    text = f"{BLADE_MM:g} mm uphill and back"
    if off_mm is None:
        return Finding("blade", True, f"{text}; it has no park switch, so look whether it moved")
    return Finding("blade", True, f"{text}; its switch opened {off_mm:+.1f} mm from its place")
