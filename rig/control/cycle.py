"""One run: home, place, dwell, raise through the slide, lower.

In every case the motor ends stopped with its driver disabled, and the file closed with its outcome.
"""

from typing import Any

from rig.calibration.home import home_shift_deg
from rig.clock import Task
from rig.control.faults.table import BY_CAUSE
from rig.control.homing import home
from rig.control.machine import Machine
from rig.control.mover import Mover, StoppedError
from rig.control.passage import Passage
from rig.control.placing import Placing, is_beam_broken
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.errors import MachineFaultError
from rig.runfile.model import Outcome

HOME_SETTLE_S = 0.6
HOME_CAPTURE_S = 1.0
APPROACH_REST_S = 0.3
"""Pause between quick approach and measured raise, for the cradle to stop swinging."""
LOWER_TO_DEG = 0.3
"""Height above home at which lowering ends; the next homing covers the rest slowly."""


class Cycle(Mover):
    """Makes one run on an opened machine.

    Args:
        machine: opened, with its watching tasks already running.
        request: of the run.
        recorder: of the run's open file.
        placing: puts the bag into place.
    """

    def __init__(
        self, machine: Machine, request: RunRequest, recorder: Recorder, placing: Placing
    ) -> None:
        super().__init__(machine, recorder)
        self._request = request
        self._recorder = recorder
        self._placing = placing
        self._cycle = machine.settings.cycle

    def run(self) -> Task[Outcome]:
        """Make the run; returns "slid" or "no_slide".

        Raises:
            StoppedError: a stop was requested.
            MachineFaultError: the machine stopped itself.
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
        except MachineFaultError as error:
            outcome = "fault"
            self._note_fault(error)
            raise
        finally:
            machine.motors_off()
            if outcome not in ("slid", "no_slide"):
                recorder.flag("halted")
                machine.is_homed = False
                machine.enter("halted")
            machine.recorder = None
            recorder.end(outcome, machine.imu.samples_lost - lost, machine.bus.retries - retries)
        return outcome

    def _note_fault(self, fault: MachineFaultError) -> None:
        self._machine.latch(fault)
        entry = BY_CAUSE[fault.cause]
        if entry.flag is not None:
            self._recorder.flag(entry.flag)
        self._recorder.event(
            "estop" if fault.cause == "emergency_stop" else "fault",
            self._clock.time_s(),
            cause=fault.cause,
            what=fault.what,
            action=entry.action,
        )

    # -- the states -----------------------------------------------------------------------------

    def _home(self) -> Task[None]:
        machine = self._machine
        machine.enter("homing")
        yield from home(self, machine)
        machine.stepper.disable()
        yield from self.wait_s(HOME_SETTLE_S)
        angle_deg, cross_deg = yield from self.capture_angles_deg(HOME_CAPTURE_S)
        self._recorder.event(
            "home_reading", self._clock.time_s(), angle_deg=angle_deg, cross_deg=cross_deg
        )
        self._check_home(angle_deg, cross_deg)

    def _check_home(self, angle_deg: float, cross_deg: float) -> None:
        """Compare the home reading with the calibration; it is recorded, never subtracted."""
        calibration = self._machine.calibration
        assert calibration is not None  # noqa: S101 - a run is refused without one
        limit = self._machine.settings.interlocks.home_mismatch_deg
        along, across = home_shift_deg(calibration, angle_deg, cross_deg)
        if max(abs(along), abs(across)) > limit:
            self._recorder.flag("floor_tilt")
            check = self._machine.home_check
            if check is not None and check.covers(calibration, angle_deg, cross_deg, limit):
                return
            raise MachineFaultError(
                "home_mismatch",
                f"The home reading differs from the calibration by {along:+.2f}° along and"
                f" {across:+.2f}° across (allowed {limit:g}°): the floor, the frame or the sensor"
                " moved.",
            )

    def _place(self) -> Task[None]:
        self._machine.enter("placing")
        placed = yield from self._placing.place(self, self._request)
        self._recorder.event("placed", self._clock.time_s(), **placed._asdict())

    def _dwell(self) -> Task[None]:
        self._machine.enter("dwelling")
        edges = yield from self.wait_s(self._request.dwell_s)
        if any(edge.name.startswith("beam_") for edge in edges):
            self._recorder.flag("moved_before_raise")
        if is_beam_broken(self._machine.inputs):
            raise MachineFaultError(
                "beam_broken_before_raise", "The beam is broken at the end of the dwell."
            )

    def _raise(self) -> Task[bool]:
        """Raise at a constant rate until the bag has cleared the last beam; True if it has."""
        machine, recorder, settings = self._machine, self._recorder, self._machine.settings
        request, approach_deg = self._request, self._request.approach_deg
        machine.enter("raising")
        passage = Passage(machine, recorder, self._request)

        def look(item: Any) -> None:
            passage.look(item)
            if passage.is_over(self._clock.time_s()):
                machine.stepper.request_stop("brake")

        detail = {"dwell_s": request.dwell_s}
        if approach_deg is not None and approach_deg > machine.step_angle_deg():
            yield from self.move(machine.plan(approach_deg, machine.quick_rate_deg_s), look)
            detail["approach_deg"] = machine.step_angle_deg()
            for edge in (yield from self.wait_s(APPROACH_REST_S)):
                passage.look(edge)
        begun_s = self._clock.time_s()
        recorder.event("raise_started", begun_s, **detail)
        if passage.cleared_s is None:
            plan = machine.plan(settings.linkage.soft_limit_deg, request.rate_deg_s)
            yield from self.move(plan, look)
        self._recorder.event("raise_ended", self._clock.time_s())
        if passage.broken_s is not None and passage.broken_s <= begun_s:
            # A bag that passed slid below the quick start's end; slumped fill says nothing.
            recorder.flag("moved_before_raise" if passage.cleared_s is None else "slid_early")
        if passage.cleared_s is None:
            recorder.flag("stalled_in_slide" if passage.broken_s is not None else "no_slide")
        return passage.cleared_s is not None

    def _lower(self) -> Task[None]:
        machine, settings = self._machine, self._machine.settings
        machine.enter("lowering")
        plan = machine.plan(
            settings.linkage.home_angle_deg + LOWER_TO_DEG, machine.lowering_rate_deg_s
        )
        yield from self.move(plan)
        machine.enter("parked")
