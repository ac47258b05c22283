"""The service: stands by, moves nothing before a person presses start, and stays after a fault."""

import logging
from collections.abc import Callable
from typing import Any

from rig.clock import Task, Until
from rig.control.faults import told
from rig.control.machine import Machine, StopRequest
from rig.control.mover import StoppedError
from rig.devices.buttons import PushButton
from rig.errors import BadInputError, MachineFaultError, RigError

LOOK_S = 0.02
BACK_HOME = "Press start: the board will move and home."

log = logging.getLogger(__name__)


def stand_by(machine: Machine, make_series: Callable[[], Task[Any]]) -> Task[None]:
    """Task without end: wait for a press of the start button, make a series, wait again.

    After a fault the machine stays halted and shows the first cause until a person presses start;
    a button that is held all along counts for nothing. A press while the emergency stop is down
    moves nothing.

    Args:
        machine: opened.
        make_series: makes the task of one series; it homes first.

    Raises:
        StoppedError: a signal asks for the end of the service.
    """
    machine.clock.spawn(machine.lamp.blink(), "standby lamp")
    machine.enter("parked")
    why = ""
    while True:
        yield from _wait_for_press(machine, f"{why} {BACK_HOME}".strip())
        if machine.inputs.emergency_stop_pressed:
            why = "The emergency stop is pressed: release it first."
            continue
        try:
            if machine.latched is not None:
                machine.reset()
            yield from make_series()
            why = "The series is done."
        except StoppedError as stop:
            if str(stop).startswith("Stopped by SIG"):
                raise
            why = str(stop)
        except MachineFaultError as fault:
            machine.latch(fault)
            machine.enter("halted")
            why = told(machine.latched or fault)
        except BadInputError as error:
            why = str(error)
        except RigError as error:
            why = str(error)
        log.warning("%s", why)


def _wait_for_press(machine: Machine, wants: str) -> Task[None]:
    button = PushButton()
    machine.live.wants = wants
    while True:
        machine.beat()
        now_s = machine.clock.time_s()
        item = yield Until(machine.events, now_s + LOOK_S)
        if isinstance(item, StopRequest):
            raise StoppedError(f"Stopped by {item.reason}.")
        if button.update(machine.clock.time_s(), machine.inputs.start_pressed):
            machine.live.wants = ""
            return
