"""Service: stands by, moves nothing until asked by a person, and stays after a fault."""

import logging
from collections.abc import Callable
from typing import Any

from rig.clock import Done, Task, Until
from rig.control.faults.table import told
from rig.control.machine import Machine
from rig.control.mover import StoppedError, stopped_by
from rig.control.placing import StartRequest, next_start
from rig.control.stop import StopRequest
from rig.errors import MachineFaultError, RigError

BACK_HOME = "Press start: the board will move and home."
BACK_TO_REST = "Press start when the board lies flat."

log = logging.getLogger(__name__)


def serve(
    machine: Machine,
    turn: Callable[[], Task[None]],
    tell: Callable[[RigError], None],
    settle: Callable[[], None] = lambda: None,
) -> Task[None]:
    """Endless task: take turns, and survive whatever ends one.

    After a fault the machine stays halted and keeps the first cause.

    Args:
        machine: opened.
        turn: makes the task of one turn: wait for a request of a person, and carry it out.
        tell: gets the error that ended a turn early.
        settle: called after each turn, however it ended.

    Raises:
        StoppedError: a signal ends the program.
    """
    while True:
        try:
            yield from turn()
        except StoppedError as stop:
            if stop.ends_program:
                raise
            tell(stop)
        except MachineFaultError as fault:
            machine.latch(fault)
            machine.enter("halted")
            tell(machine.latched or fault)
        except RigError as error:
            tell(error)
        finally:
            settle()


def at_rest(machine: Machine, wishes: tuple[type, ...] = ()) -> Task[Any]:
    """Task: wait for a press of the start button, which is a `StartRequest`, or for a wish.

    A button held throughout does not count.

    Args:
        machine: at rest.
        wishes: events of these types are returned.

    Raises:
        StoppedError: a signal asks for the end of the program.
        MachineFaultError: of a task that watches a sensor; none while a fault is latched.
    """

    def next_event(until_s: float) -> Task[Any]:
        machine.beat()
        item = yield Until(machine.events, until_s)
        if isinstance(item, StopRequest):
            machine.stops += 1
            if item.ends_program:
                raise stopped_by(item)
        has_failed = isinstance(item, Done) and isinstance(item.error, Exception)
        if has_failed and machine.latched is None:
            raise item.error
        # The page's start is for a placed bag; here it would start an unrequested move.
        return None if isinstance(item, StartRequest) else item

    return next_start(next_event, machine.inputs, machine.clock.time_s, wishes=wishes)


def stand_by(machine: Machine, make_series: Callable[[], Task[Any]]) -> Task[None]:
    """Endless task: wait for a press of the start button, make a series, wait again.

    After a fault the machine shows the first cause until a person presses start. A press while
    the emergency stop is down moves nothing.

    Args:
        machine: opened.
        make_series: makes the task of one series; it homes first.

    Raises:
        StoppedError: a signal ends the service.
    """
    why = ""

    def say(text: str) -> None:
        nonlocal why
        why = text
        log.warning("%s", text)

    def turn() -> Task[None]:
        back = BACK_HOME if machine.has_motor else BACK_TO_REST
        machine.live.wants = f"{why} {back}".strip()
        yield from at_rest(machine)
        machine.live.wants = ""
        if machine.inputs.emergency_stop_pressed:
            say("The emergency stop is pressed: release it first.")
            return
        if machine.latched is not None:
            machine.reset()
        yield from make_series()
        say("The series is done.")

    machine.clock.spawn(machine.lamp.blink(), "standby lamp")
    machine.enter("parked")
    yield from serve(machine, turn, lambda error: say(told(error)))
