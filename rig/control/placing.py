"""Placing of the bag: by hand, or by anything with the same interface."""

from collections.abc import Callable
from math import inf
from typing import Any, Literal, NamedTuple, Protocol

from rig.clock import Task
from rig.control.mover import Mover, StoppedError
from rig.control.request import RunRequest
from rig.devices.buttons import PushButton
from rig.devices.inputs import Edge, Inputs
from rig.errors import MachineFaultError

BUTTON_POLL_S = 0.02


class StartRequest(NamedTuple):
    """A start press from elsewhere, put into the machine's events.

    It counts only while a press is awaited.
    """


class Placed(NamedTuple):
    """Position of the placed bag; written to the run file as it is."""

    gap_mm: float
    u_gap_mm: float
    blade_steps: int | None = None
    """Steps from the blade's park position to where its back face cleared the beam."""
    tries: int = 1
    pushes: int = 0
    """Number of pushes of the bag over the board; they wear both."""
    beam_steps: float | None = None
    """Position of the beam for the blade's back face in steps, mean of both ways."""
    beam_hysteresis_steps: int | None = None
    """Distance uphill of clearing the beam from breaking it on the way back."""
    pushed_length_mm: float | None = None
    """Length of the bag on the blade, along the slide."""


class Placing(Protocol):
    """Puts the bag back or has it put back, with the machine homed and its driver off."""

    kind: Literal["hand", "blade"]

    def place(self, mover: Mover, request: RunRequest) -> Task[Placed]:
        """Task: bring the bag to its start position; ends when nobody touches the board.

        Args:
            mover: waits and moves under the interlocks, and takes flags for the run.
            request: of the run; gives the target gap and the bag's size.

        Raises:
            StoppedError: a stop was requested, or nobody came.
            MachineFaultError: the bag cannot be placed.
        """


class HandPlacing:
    """Asks a person for the bag and waits for the start button; the beam must then be free.

    Args:
        inputs: of the opened machine.
        timeout_s: longest wait for a person.
        is_ready: the bag is already in place, so the first run does not wait for start.
    """

    kind: Literal["hand", "blade"] = "hand"

    def __init__(self, inputs: Inputs, timeout_s: float, *, is_ready: bool = False) -> None:
        self._inputs = inputs
        self._timeout_s = timeout_s
        self._is_ready = is_ready

    def place(self, mover: Mover, request: RunRequest) -> Task[Placed]:
        """See `Placing.place`."""
        is_ready, self._is_ready = self._is_ready, False
        deadline_s = mover.time_s() + self._timeout_s
        mover.ask(
            f"Place the bag {request.gap_mm:g} mm uphill of the beam, keep your hands off the"
            " board, then press start."
        )
        tries = 1
        while not is_ready:
            yield from wait_for_start(mover, self._inputs, deadline_s, self._timeout_s)
            if not is_beam_broken(self._inputs):
                break
            mover.ask(
                "The beam is broken: move the bag uphill, or clear the beam, and press start."
            )
            tries += 1
        mover.ask("")
        if is_beam_broken(self._inputs):
            raise MachineFaultError(
                "beam_broken_before_raise", "The beam is broken before the raise."
            )
        return Placed(request.gap_mm, request.u_gap_mm, tries=tries)


def is_beam_broken(inputs: Inputs) -> bool:
    """Whether any beam is broken."""
    return any(inputs.beam_broken(n) for n in range(1, inputs.beams + 1))


def wait_for_start(mover: Mover, inputs: Inputs, deadline_s: float, allowed_s: float) -> Task[None]:
    """Wait for a press of the start button, or a `StartRequest`, under the interlocks.

    Raises:
        StoppedError: nobody pressed it by `deadline_s`; `allowed_s` is for the message.
    """
    pressed = yield from next_start(mover.next_event, inputs, mover.time_s, deadline_s)
    if pressed is None:
        raise StoppedError(f"Nobody pressed start within {allowed_s:g} s.")


def next_start(
    next_event: Callable[[float], Task[Any]],
    inputs: Inputs,
    time_s: Callable[[], float],
    deadline_s: float = inf,
    wishes: tuple[type, ...] = (),
) -> Task[Any]:
    """Wait for a press of the start button, a `StartRequest` or a wish; returns it.

    A button already held must first be released.

    Args:
        next_event: makes the task that returns the next event, or None at the given time.
        inputs: of the opened machine.
        time_s: tells the monotonic time.
        deadline_s: returns None from then on.
        wishes: events of these types are returned too.
    """
    button = PushButton()
    while (now_s := time_s()) < deadline_s:
        item = yield from next_event(min(deadline_s, now_s + BUTTON_POLL_S))
        if isinstance(item, (StartRequest, *wishes)):
            return item
        if isinstance(item, Edge) and item.name == "start_button":
            pressed = button.update(item.t_s, item.active)
        else:
            pressed = button.update(time_s(), inputs.start_pressed)
        if pressed:
            return StartRequest()
    return None
