"""One run: home, place, dwell, raise through the slide, lower.

Whatever happens, the motor ends stopped with its driver disabled and the file closed with its
outcome.
"""

from collections.abc import Callable
from typing import Any

from rig.clock import Done, Handle, Task, Until
from rig.control.homing import home
from rig.control.interlocks import InterlockError, check_interlocks
from rig.control.machine import Machine, StopRequest
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.devices.buttons import PushButton
from rig.devices.inputs import Edge
from rig.errors import MachineFaultError, RigError
from rig.motion.ramp import Plan
from rig.runfile.model import Outcome

POLL_S = 0.05
"""How often the interlocks are looked at and the step count is written while something moves."""

BUTTON_POLL_S = 0.02

HOME_SETTLE_S = 0.6
HOME_CAPTURE_S = 1.0
LOWER_TO_DEG = 0.3
"""The board is lowered to this far above home; the next homing goes the rest, slowly."""

FLICKER_S = 0.03
"""A beam that closes again sooner than any bag can pass was not cleared by the bag."""

STOP_TIME_S = 2.0
"""A smooth stop takes less than this."""


class StoppedError(RigError):
    """Somebody asked for a stop; the machine stopped smoothly and stays where it is."""


class Cycle:
    """Makes one run on an opened machine.

    Args:
        machine: opened, with its watching tasks already running.
        request: what to do.
        recorder: of the run's open file.
        start_now: do not wait for the start button.
    """

    def __init__(
        self, machine: Machine, request: RunRequest, recorder: Recorder, *, start_now: bool
    ) -> None:
        self._machine = machine
        self._clock = machine.clock
        self._request = request
        self._recorder = recorder
        self._start_now = start_now
        self._cycle = machine.settings.cycle

    def run(self) -> Task[Outcome]:
        """Make the run; returns "slid" or "no_slide".

        Raises:
            StoppedError: on a stop that somebody asked for.
            MachineFaultError: when the machine stopped itself.
        """
        machine, recorder = self._machine, self._recorder
        machine.recorder = recorder
        lost, retries = machine.imu.samples_lost, machine.bus.retries
        outcome: Outcome = "interrupted"
        try:
            yield from self._home()
            yield from self._place()
            yield from self._dwell()
            has_slid = yield from self._raise()
            yield from self._lower()
            outcome = "slid" if has_slid else "no_slide"
        except StoppedError as stop:
            outcome = "stopped"
            recorder.event("stopped", self._clock.time_s(), reason=str(stop))
            raise
        except MachineFaultError as fault:
            outcome = "fault"
            self._note_fault(fault)
            raise
        finally:
            machine.stepper.disable()
            if outcome not in ("slid", "no_slide"):
                recorder.flag("halted")
                machine.is_homed = False
                machine.enter("halted")
            machine.recorder = None
            recorder.end(outcome, machine.imu.samples_lost - lost, machine.bus.retries - retries)
        return outcome

    def _note_fault(self, fault: MachineFaultError) -> None:
        if isinstance(fault, InterlockError) and fault.flag is not None:
            self._recorder.flag(fault.flag)
        self._recorder.event(
            "estop" if fault.cause == "emergency_stop" else "fault",
            self._clock.time_s(),
            cause=fault.cause,
            what=fault.what,
            action=fault.action,
        )

    # -- waiting and moving ---------------------------------------------------------------------

    def next_event(self, deadline_s: float) -> Task[Any]:
        """The next event, or None at the deadline; looks at the interlocks every time.

        Raises:
            StoppedError: when a stop was asked for.
            MachineFaultError: when an interlock was met, or a watching task failed.
        """
        machine = self._machine
        check_interlocks(machine, self._recorder.state)
        item = yield Until(machine.events, deadline_s)
        if isinstance(item, StopRequest):
            raise StoppedError(f"Stopped by {item.reason}.")
        if isinstance(item, Done) and item.error is not None:
            raise item.error
        if isinstance(item, Edge):
            self._note_edge(item)
        check_interlocks(machine, self._recorder.state)
        return item

    def _note_edge(self, edge: Edge) -> None:
        """Write beam and limit edges with the pin's own time."""
        name = edge.name
        if name.startswith("beam_"):
            event = "beam_broken" if edge.active else "beam_clear"
            self._recorder.event(event, edge.t_s, beam=int(name[-1]))
        elif name.startswith("limit_") and edge.active:
            self._recorder.event(name, edge.t_s)
        elif name == "stop_button" and edge.active:
            raise StoppedError("Stopped by the stop button.")

    def wait_s(self, seconds: float) -> Task[list[Edge]]:
        """Let time pass under the interlocks; returns the edges that came."""
        edges = []
        until = self._clock.time_s() + seconds
        while (now := self._clock.time_s()) < until:
            item = yield from self.next_event(min(until, now + POLL_S))
            if isinstance(item, Edge):
                edges.append(item)
        return edges

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
        self._recorder.steps(at_s, count, round(stepper.take_worst_late_us(), 1))

    # -- the states -----------------------------------------------------------------------------

    def _home(self) -> Task[None]:
        machine = self._machine
        machine.enter("homing")
        yield from home(self, machine)
        machine.stepper.disable()
        yield from self.wait_s(HOME_SETTLE_S)
        angle_deg, cross_deg = yield from machine.capture_angles_deg(HOME_CAPTURE_S)
        self._recorder.event(
            "home_reading", self._clock.time_s(), angle_deg=angle_deg, cross_deg=cross_deg
        )
        self._check_home(angle_deg, cross_deg)

    def _check_home(self, angle_deg: float, cross_deg: float) -> None:
        """Compare with the calibration; the reading is charted, never subtracted."""
        calibration = self._machine.calibration
        assert calibration is not None  # noqa: S101 - a run is refused without one
        limit = self._machine.settings.interlocks.home_mismatch_deg
        along = angle_deg - calibration.home_angle_deg
        across = cross_deg - calibration.home_cross_deg
        if max(abs(along), abs(across)) > limit:
            self._recorder.flag("floor_tilt")
            raise MachineFaultError(
                "home_mismatch",
                f"At home the board reads {along:+.2f}° along and {across:+.2f}° across from the"
                f" calibration (allowed {limit:g}°): the floor, the frame or the sensor moved.",
                "Check the feet and the sensor's screws, then calibrate with `rig level`.",
            )

    def _place(self) -> Task[None]:
        """Ask for the bag and wait for start; the beam must then be free."""
        machine = self._machine
        machine.enter("placing")
        deadline = self._clock.time_s() + self._cycle.placing_timeout_s
        tries = 1
        while not self._start_now:
            yield from self._wait_for_start(deadline)
            if not self._broken_beams():
                break
            machine.live.wants = (
                "The beam is broken: move the bag uphill, or clear the beam, then press start."
            )
            tries += 1
        if self._broken_beams():
            self._recorder.flag("beam_fault")
            raise MachineFaultError(
                "beam_broken_before_raise",
                "The beam is broken before the raise.",
                "Move the bag uphill, take away what stands in the beam, shade it from the sun.",
            )
        self._recorder.event(
            "placed",
            self._clock.time_s(),
            gap_mm=self._request.gap_mm,
            u_gap_mm=self._request.u_gap_mm,
            blade_steps=None,
            tries=tries,
        )

    def _broken_beams(self) -> bool:
        inputs = self._machine.inputs
        return any(inputs.beam_broken(n) for n in range(1, inputs.beams + 1))

    def _wait_for_start(self, deadline_s: float) -> Task[None]:
        machine = self._machine
        button = PushButton()
        machine.live.wants = machine.live.wants or (
            f"Place the bag {self._request.gap_mm:g} mm above the beam, keep your hands off the"
            " board, then press start."
        )
        while True:
            now = self._clock.time_s()
            if now >= deadline_s:
                raise StoppedError(
                    f"Nobody pressed start within {self._cycle.placing_timeout_s:g} s."
                )
            item = yield from self.next_event(min(deadline_s, now + BUTTON_POLL_S))
            if isinstance(item, Edge) and item.name == "start_button":
                pressed = button.update(item.t_s, item.active)
            else:
                pressed = button.update(self._clock.time_s(), machine.inputs.start_pressed)
            if pressed:
                return

    def _dwell(self) -> Task[None]:
        self._machine.enter("dwelling")
        edges = yield from self.wait_s(self._request.dwell_s)
        if any(edge.name.startswith("beam_") for edge in edges):
            self._recorder.flag("moved_before_raise")

    def _raise(self) -> Task[bool]:
        """Raise at a constant rate until the bag has cleared the last beam; True if it has."""
        machine, settings = self._machine, self._machine.settings
        plan = machine.plan(settings.linkage.soft_limit_deg, self._request.rate_deg_s)
        machine.enter("raising")
        self._recorder.event("raise_started", self._clock.time_s(), dwell_s=self._request.dwell_s)
        passage = _Passage(self._machine, self._recorder)

        def look(item: Any) -> None:
            passage.look(item)
            if passage.cleared_s is not None:
                over = self._clock.time_s() - passage.cleared_s
                if over >= self._cycle.after_clear_s:
                    machine.stepper.request_stop("brake")

        yield from self.move(plan, look)
        self._recorder.event("raise_ended", self._clock.time_s())
        if passage.cleared_s is None:
            self._recorder.flag("stalled_in_slide" if passage.broken_s else "no_slide")
        return passage.cleared_s is not None or passage.broken_s is not None

    def _lower(self) -> Task[None]:
        machine, settings = self._machine, self._machine.settings
        machine.enter("lowering")
        plan = machine.plan(
            settings.linkage.home_angle_deg + LOWER_TO_DEG, machine.lowering_rate_deg_s
        )
        yield from self.move(plan)
        machine.enter("parked")


class _Passage:
    """Follows the bag through the beams: broken, perhaps too slowly, then clear of the last."""

    def __init__(self, machine: Machine, recorder: Recorder) -> None:
        self.broken_s: float | None = None
        self.cleared_s: float | None = None
        self._machine = machine
        self._recorder = recorder
        self._last = f"beam_{machine.inputs.beams}"
        self._last_broken_s: float | None = None

    def look(self, item: Any) -> None:
        """Take one event, or None when only time passed."""
        machine = self._machine
        if isinstance(item, Edge) and item.name.startswith("beam_"):
            if item.active:
                if self._recorder.state == "raising":
                    self.broken_s = item.t_s
                    machine.enter("sliding")
                if item.name == self._last:
                    self._last_broken_s = item.t_s
            elif item.name == self._last and self._last_broken_s is not None:
                if item.t_s - self._last_broken_s >= FLICKER_S:
                    self.cleared_s = item.t_s
        limit_s = machine.settings.cycle.clear_timeout_s
        if (
            self._recorder.state == "sliding"
            and self.cleared_s is None
            and self.broken_s is not None
            and machine.clock.time_s() - self.broken_s > limit_s
        ):
            # Loose fill slumped into the beam: the slide itself is still to come.
            self._recorder.flag("edge_crept")
            machine.enter("raising")
