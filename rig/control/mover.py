"""Waiting and moving under the interlocks; behind runs and behind the calibration."""

from collections.abc import Callable
from typing import Any

from rig.clock import Done, Handle, Task, Until
from rig.control.interlocks import check_interlocks
from rig.control.machine import Machine, StopRequest
from rig.control.recorder import Recorder
from rig.devices.imu import Counts
from rig.devices.inputs import Edge
from rig.errors import MachineFaultError, RigError
from rig.motion.ramp import Plan
from rig.runfile.model import Flag, State

POLL_S = 0.05
"""How often the interlocks are looked at and the step count is written while something moves."""

STOP_TIME_S = 2.0
"""A smooth stop takes less than this."""


class StoppedError(RigError):
    """Somebody asked for a stop; the machine stopped smoothly and stays where it is."""


class Mover:
    """Waits and moves on an opened machine whose watching tasks are running.

    Args:
        machine: opened.
        recorder: of an open run file; None when nothing is written.
    """

    def __init__(self, machine: Machine, recorder: Recorder | None = None) -> None:
        self._machine = machine
        self._clock = machine.clock
        self._writes_to = recorder

    @property
    def _state(self) -> State:
        recorder = self._writes_to
        return self._machine.live.state if recorder is None else recorder.state

    def time_s(self) -> float:
        """Now, on the rig's clock."""
        return self._clock.time_s()

    def ask(self, what: str) -> None:
        """Show what the machine waits for; empty when it waits for nothing any more."""
        self._machine.live.wants = what

    def flag(self, flag: Flag) -> None:
        """Put a flag on the run, if one is being written."""
        if self._writes_to is not None:
            self._writes_to.flag(flag)

    def next_event(self, deadline_s: float) -> Task[Any]:
        """The next event, or None at the deadline; looks at the interlocks every time.

        Raises:
            StoppedError: when a stop was asked for.
            MachineFaultError: when an interlock was met, or a watching task failed.
        """
        machine = self._machine
        check_interlocks(machine, self._state)
        item = yield Until(machine.events, deadline_s)
        if isinstance(item, StopRequest):
            raise StoppedError(f"Stopped by {item.reason}.")
        if isinstance(item, Done) and item.error is not None:
            raise item.error
        if isinstance(item, Edge):
            self._note_edge(item)
        check_interlocks(machine, self._state)
        return item

    def _note_edge(self, edge: Edge) -> None:
        """Write beam and limit edges with the pin's own time."""
        name, recorder = edge.name, self._writes_to
        if name == "stop_button" and edge.active:
            raise StoppedError("Stopped by the stop button.")
        if recorder is None:
            return
        if name.startswith("beam_"):
            event = "beam_broken" if edge.active else "beam_clear"
            recorder.event(event, edge.t_s, beam=int(name[-1]))
        elif name.startswith("limit_") and edge.active:
            recorder.event(name, edge.t_s)

    def wait_s(self, seconds: float) -> Task[list[Edge]]:
        """Let time pass under the interlocks; returns the edges that came."""
        edges = []
        until = self._clock.time_s() + seconds
        while (now := self._clock.time_s()) < until:
            item = yield from self.next_event(min(until, now + POLL_S))
            if isinstance(item, Edge):
                edges.append(item)
        return edges

    def capture_angles_deg(self, seconds: float) -> Task[tuple[float, float]]:
        """Mean inclination and cross slope over some seconds, signed; needs a calibration."""
        counts: list[Counts] = []
        with self._machine.listening(counts):
            yield from self.wait_s(seconds)
        return self._machine.angles_deg(counts)

    def move(self, plan: Plan, on_event: Callable[[Any], None] = lambda _: None) -> Task[None]:
        """Make a move to its end; `on_event` sees every event and may ask the stepper to stop."""
        machine = self._machine
        stepper = machine.stepper
        stepper.enable()
        handle: Handle[Any] = self._clock.spawn(
            stepper.move(plan), "pulses", report_to=machine.events
        )
        deadline = self._clock.time_s() + plan.time_limit_s
        try:
            while not handle.is_done:
                now = self._clock.time_s()
                if now > deadline:
                    raise MachineFaultError(
                        "over_time",
                        f"A move that should take {plan.duration_s:.1f} s is not over yet.",
                        "Look for what slows the computer down, and run `rig check --timing`.",
                    )
                item = yield from self.next_event(now + POLL_S)
                self._note_steps()
                on_event(item)
        except StoppedError:
            stepper.request_stop("brake")
            yield from handle.join(self._clock.time_s() + STOP_TIME_S)
            raise
        finally:
            if not handle.is_done:
                stepper.request_stop("cut")
                handle.cancel()
        self._note_steps()

    def _note_steps(self) -> None:
        stepper = self._machine.stepper
        at_s, count = stepper.latest
        self._machine.live.step_angle_deg = self._machine.step_angle_deg()
        if self._writes_to is not None:
            self._writes_to.steps(at_s, count, round(stepper.take_worst_late_us(), 1))
