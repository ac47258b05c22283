"""Waiting and moving under the interlocks, for runs and for the calibration."""

from collections import deque
from collections.abc import Callable
from typing import Any, Protocol

from rig.clock import Done, Handle, Task, Until
from rig.control.faults.table import MEASURING
from rig.control.interlocks import check_interlocks, held_up
from rig.control.machine import Machine
from rig.control.recorder import Recorder
from rig.control.stop import StopRequest
from rig.devices.imu import Counts
from rig.devices.inputs import Edge
from rig.devices.stepper import MoveResult, PulsePlan, Stepper
from rig.errors import Cause, MachineFaultError, RigError
from rig.runfile.model import Flag, State

POLL_S = 0.05
"""Interval of interlock checks and step count lines while something moves."""

STOP_TIME_S = 2.0
"""Upper bound for the duration of a smooth stop."""

FLICKER_EDGES = 12
FLICKER_S = 1.0
"""Flicker: a bag gives two edges at a beam, a frayed one a few more, never so many so fast."""

CUT_BECAUSE: dict[Cause, str] = {
    "emergency_stop": "The emergency stop was pressed during a move.",
    "limit_upper": "The upper limit switch opened during a move.",
    "control_silent": "The control loop gave no sign of life, so the pulses were ended.",
}


class TimedPlan(PulsePlan, Protocol):
    """A move of known duration."""

    @property
    def duration_s(self) -> float:
        """Time from rest to rest, in s."""

    @property
    def time_limit_s(self) -> float:
        """Time after which an unfinished move has failed, in s."""


class StoppedError(RigError):
    """A stop was requested; the machine stopped smoothly and stays where it is.

    Args:
        text: names the source of the request.
        ends_program: the program ends too.
    """

    def __init__(self, text: str, *, ends_program: bool = False) -> None:
        super().__init__(text)
        self.ends_program = ends_program


def stopped_by(request: StopRequest) -> StoppedError:
    """Make the error for a request from the machine's events."""
    return StoppedError(f"Stopped by {request.reason}.", ends_program=request.ends_program)


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
        self._beam_edges: deque[float] = deque(maxlen=FLICKER_EDGES)
        self.pushes = 0
        """Number of pushes begun by the blade; they wear bag and board."""
        self.brought_down = 0
        """Number of slides made only to bring the bag back to the catch."""

    @property
    def _state(self) -> State:
        recorder = self._writes_to
        return self._machine.live.state if recorder is None else recorder.state

    def time_s(self) -> float:
        """Now, on the rig's clock."""
        return self._clock.time_s()

    def ask(self, what: str) -> None:
        """Show what the machine is waiting for; empty clears it."""
        self._machine.live.wants = what

    def flag(self, flag: Flag) -> None:
        """Put a flag on the run, if one is being written."""
        if self._writes_to is not None:
            self._writes_to.flag(flag)

    def next_event(self, deadline_s: float) -> Task[Any]:
        """Return the next event, or None at the deadline; checks the interlocks each time.

        Raises:
            StoppedError: a stop was requested.
            MachineFaultError: an interlock was met, or a watching task failed.
        """
        machine = self._machine
        self._check()
        item = yield Until(machine.events, deadline_s)
        if isinstance(item, StopRequest):
            machine.stops += 1
            raise stopped_by(item)
        if isinstance(item, Done) and item.error is not None:
            raise held_up(machine) or item.error
        if isinstance(item, Edge):
            self._note_edge(item)
        self._check()
        return item

    def _check(self) -> None:
        machine = self._machine
        machine.beat()
        machine.host.look()
        check_interlocks(machine, self._state)
        if machine.inputs.stop_pressed:
            raise StoppedError("Stopped by the stop button.")

    def _note_edge(self, edge: Edge) -> None:
        """Write beam and limit edges with the pin's own time; too many cannot be a bag."""
        name, recorder = edge.name, self._writes_to
        if name == "stop_button" and edge.active:
            raise StoppedError("Stopped by the stop button.")
        if name == "emergency_stop" and edge.active:
            raise MachineFaultError("emergency_stop", "The emergency stop was pressed.")
        if name.startswith("beam_"):
            self._watch_flicker(edge)
        if recorder is None:
            return
        if name.startswith("beam_"):
            event = "beam_broken" if edge.active else "beam_clear"
            recorder.event(event, edge.t_s, beam=int(name[-1]))
        elif name.startswith("limit_") and edge.active:
            recorder.event(name, edge.t_s)

    def _watch_flicker(self, edge: Edge) -> None:
        """Check for flicker, except at rest in `placing`, where hands may cross the beam."""
        is_placing = self._state == "placing" and self._machine.is_moving
        if self._state not in MEASURING | {"dwelling"} and not is_placing:
            self._beam_edges.clear()
            return
        edges = self._beam_edges
        edges.append(edge.t_s)
        if len(edges) == FLICKER_EDGES and edge.t_s - edges[0] < FLICKER_S:
            raise MachineFaultError(
                "beam_flicker",
                f"The beam changed {FLICKER_EDGES} times within {edge.t_s - edges[0]:.2f} s.",
            )

    def wait_s(self, seconds: float) -> Task[list[Edge]]:
        """Wait under the interlocks; returns the edges received."""
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
        with self._machine.listening_to_counts(counts):
            yield from self.wait_s(seconds)
        return self._machine.angles_deg(counts)

    def note(self, event: str, **detail: Any) -> None:
        """Write an event into the run's file, if there is one."""
        if self._writes_to is not None:
            self._writes_to.event(event, self._clock.time_s(), **detail)

    def move(
        self,
        plan: TimedPlan,
        on_event: Callable[[Any], None] = lambda _: None,
        axis: Stepper | None = None,
    ) -> Task[None]:
        """Make a move to its end; `on_event` sees every event and may request a stop.

        Args:
            plan: of the move.
            on_event: gets each event, and None when only time passed.
            axis: the moving axis; by default the board.

        Raises:
            StoppedError: a stop was requested; the board came to rest smoothly.
            MachineFaultError: an interlock was met, or a fault is latched.
        """
        machine = self._machine
        if machine.latched is not None:
            raise machine.latched
        stepper = machine.stepper if axis is None else axis
        self._check()
        machine.progress.begin()
        machine.host.mark()
        stepper.enable()
        handle: Handle[MoveResult] = self._clock.spawn(
            stepper.move(plan), "pulses", report_to=machine.events
        )
        deadline = self._clock.time_s() + plan.time_limit_s
        try:
            while not handle.is_done:
                now = self._clock.time_s()
                if now > deadline:
                    raise MachineFaultError(
                        "over_time",
                        f"A move that should take {plan.duration_s:.1f} s has not ended.",
                    )
                item = yield from self.next_event(now + POLL_S)
                self._note_steps(axis)
                on_event(item)
        except StoppedError:
            stepper.request_stop("brake")
            yield from self._come_to_rest(handle, axis)
            raise
        finally:
            if not handle.is_done:
                stepper.request_stop("cut")
                handle.cancel()
        self._note_steps(axis)
        self._look_at_end(handle.result())

    def _come_to_rest(self, handle: Handle[MoveResult], axis: Stepper | None) -> Task[None]:
        """Wait for the end of a smooth stop; interlocks still apply, other requests wait."""
        machine = self._machine
        deadline = self._clock.time_s() + STOP_TIME_S
        wishes: list[StopRequest] = []
        try:
            while not handle.is_done and (now := self._clock.time_s()) < deadline:
                machine.beat()
                check_interlocks(machine, self._state)
                item = yield Until(machine.events, min(deadline, now + POLL_S))
                if isinstance(item, StopRequest):
                    machine.stops += 1
                    wishes.append(item)
                self._note_steps(axis)
        finally:
            # The code after this move must still learn that the program is to end.
            for wish in wishes:
                machine.events.put(wish)

    def _look_at_end(self, result: MoveResult | None) -> None:
        """Raise the fault for which the pulse loop ended the move, even if its cause is gone."""
        cause = self._machine.cut_by
        if result is not None and result.ended_by == "must_stop" and cause is not None:
            raise held_up(self._machine) or MachineFaultError(cause, CUT_BECAUSE[cause])

    def _note_steps(self, axis: Stepper | None) -> None:
        """Write the board's steps and check that the board follows them."""
        if axis is not None:
            return
        stepper = self._machine.stepper
        at_s, count = stepper.latest
        machine = self._machine
        machine.live.step_angle_deg = machine.step_angle_deg()
        live = machine.live
        now_s = self._clock.time_s()
        age_s = now_s - (live.angle_seen_s or float("-inf"))
        machine.progress.look(now_s, machine.live.step_angle_deg, live.angle_deg, age_s)
        if self._writes_to is not None:
            self._writes_to.steps(at_s, count, round(stepper.take_worst_late_us(), 1))
