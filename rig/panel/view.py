"""What there is to see at one moment, as one object that never changes once it is made.

The machine's side makes it, and everybody who shows something (the page, the terminal) reads it.
"""

import logging
from collections import deque
from collections.abc import Callable
from typing import Literal, NamedTuple

from rig.analysis.row import RunResult
from rig.clock import Task, Until
from rig.control.faults.table import remedy
from rig.control.machine import Machine
from rig.control.pace import Pace
from rig.control.request import RunRequest
from rig.errors import BadInputError, MachineFaultError
from rig.panel.course import Course, CourseKeeper
from rig.panel.slides import KEPT, Dot, dot_of
from rig.runfile.model import State

PERIOD_S = 0.05
STALE_S = 2.0
"""An angle that is older is not shown."""

log = logging.getLogger(__name__)


class Notice(NamedTuple):
    """Something a person should know."""

    kind: Literal["fault", "stop", "note"]
    title: str
    what: str
    action: str = ""


class Snapshot(NamedTuple):
    """Everything that is shown, at one moment."""

    time_s: float
    state: State
    angle_deg: float | None
    cross_slope_deg: float | None
    step_angle_deg: float | None
    """None until the board is homed."""
    temperature_c: float | None
    relative_humidity_pct: float | None
    pressure_hpa: float | None
    imu_temperature_c: float | None
    beams_broken: tuple[bool, ...]
    inputs: tuple[str, ...]
    """Names of the other inputs that are active."""
    wants: str
    waits_for_start: bool
    """A press of start puts the board into motion now."""
    is_busy: bool
    """A series is under way."""
    course: Course | None
    dots: tuple[Dot, ...]
    notice: Notice | None
    is_latched: bool
    """A fault is kept until it is reset."""
    unfinished: str
    """What can be resumed; empty if nothing."""
    beat: int = 0
    """Signs of life of the control loop so far."""
    stops: int = 0
    """Stop requests that the control loop has met so far."""
    is_moving: bool = False
    by_hand: bool = False
    """A person raises the board: there is no motor, and nothing to home."""
    pace: Pace | None = None


def notice_of(error: Exception) -> Notice:
    """What ended a series, for people."""
    if isinstance(error, MachineFaultError):
        is_stop = error.cause == "emergency_stop"
        title = "Emergency stop" if is_stop else "The machine stopped itself"
        return Notice("fault", title, error.what, remedy(error.cause))
    if isinstance(error, BadInputError):
        return Notice("fault", "This cannot be done", str(error))
    return Notice("stop", "Stopped", str(error))


class Viewer:
    """Looks at an opened machine again and again; `follow` is a task for its clock.

    Args:
        machine: opened before `look` is called.
        publish: gets each snapshot; called in the machine's own task, so it must be quick.
        period_s: between two looks.
    """

    def __init__(
        self,
        machine: Machine,
        publish: Callable[[Snapshot], None] = lambda _: None,
        period_s: float = PERIOD_S,
    ) -> None:
        self.is_busy = False
        self.unfinished = ""
        self.notice: Notice | None = None
        self._machine = machine
        self.publish = publish
        self._period_s = period_s
        self._course: CourseKeeper | None = None
        self._dots: deque[Dot] = deque(maxlen=KEPT)
        self._shown_dots: tuple[Dot, ...] = ()

    def begin_series(self, n_left: int, n_before: int = 0) -> None:
        """A series begins or resumes."""
        self._course = CourseKeeper(self._machine, n_left, n_before)
        if not n_before:
            self._dots.clear()
            self._shown_dots = ()

    def begin_run(self, request: RunRequest) -> None:
        """A run begins."""
        if self._course is not None:
            self._course.begin(request)

    def made_run(self, result: RunResult | None) -> None:
        """A run has come to its end; without a result its file could not be analysed."""
        if self._course is not None:
            self._course.made()
        if result is not None:
            self.show_run(result)

    def show_run(self, result: RunResult) -> None:
        """One more dot."""
        last = self._dots[-1].number if self._dots else 0
        self._dots.append(dot_of(result, result.slide_number or last + 1))
        self._shown_dots = tuple(self._dots)

    def look(self) -> Snapshot:
        """What there is to see now."""
        machine = self._machine
        live, inputs, levels = machine.live, machine.inputs, machine.inputs.levels()
        beams = [f"beam_{i}" for i in range(1, inputs.beams + 1)]
        wants, now_s = live.wants, machine.clock.time_s()
        is_fresh = live.angle_seen_s is not None and now_s - live.angle_seen_s < STALE_S
        return Snapshot(
            time_s=now_s,
            state=live.state,
            angle_deg=live.angle_deg if is_fresh else None,
            cross_slope_deg=live.cross_slope_deg if is_fresh else None,
            step_angle_deg=live.step_angle_deg if machine.is_homed else None,
            temperature_c=live.temperature_c,
            relative_humidity_pct=live.relative_humidity_pct,
            pressure_hpa=live.pressure_hpa,
            imu_temperature_c=live.imu_temperature_c,
            beams_broken=tuple(levels[name] for name in beams),
            inputs=tuple(name for name, active in levels.items() if active and name not in beams),
            wants=wants,
            waits_for_start=live.state == "placing" and bool(wants),
            is_busy=self.is_busy,
            course=None if self._course is None else self._course.look(),
            dots=self._shown_dots,
            notice=self.notice,
            is_latched=machine.latched is not None,
            unfinished=self.unfinished,
            beat=machine.beats,
            stops=machine.stops,
            is_moving=machine.is_moving,
            by_hand=not machine.has_motor,
            pace=live.pace,
        )

    def follow(self) -> Task[None]:
        """Task without end: look and publish.

        Whatever goes wrong in showing is logged and passed by: a series does not end for it.
        """
        clock = self._machine.clock
        never = clock.queue()  # waited on instead of a time, which would be met by spinning
        due_s = clock.time_s()
        while True:
            try:
                self.publish(self.look())
            except Exception:
                log.exception("the view could not be made")
            due_s = max(due_s + self._period_s, clock.time_s())
            yield Until(never, due_s)
