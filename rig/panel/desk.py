"""Serves the machine for those who ask through its events: makes series, stays after faults.

Wishes come from any thread and go into the machine's one queue of events, beside the edges of the
buttons; the task here takes them out. While a series is under way only a stop counts, and a start
where the start button is waited for.
"""

import logging
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.clock import Task
from rig.control.placing import StartRequest
from rig.control.request import RunRequest
from rig.control.stop import StopRequest
from rig.errors import MachineFaultError, RigError
from rig.opening import OpenRig
from rig.panel.slides import KEPT
from rig.panel.view import Notice, Viewer, notice_of
from rig.panel.words import count
from rig.procedures.runs import MadeRun, start_watching, stop_watching
from rig.procedures.series.log import OpenSeries, Planned, SeriesLog, SeriesOptions
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.procedures.standby import at_rest, serve
from rig.runfile.reader import read_run

log = logging.getLogger(__name__)


class SeriesWish(NamedTuple):
    """Begin a new series."""

    requests: Sequence[RunRequest]
    options: SeriesOptions
    is_ready: bool
    """The bag lies at its place: the first run waits for no start."""
    then: "Sequence[SeriesWish]" = ()
    """Series that follow, each with a bag that a person puts on."""


class ResumeWish(NamedTuple):
    """Resume the unfinished series."""


class ResetWish(NamedTuple):
    """The fault has been dealt with."""


class Desk:
    """One machine, one series at a time.

    Args:
        opened: the rig; open while `serve` runs.
        series_log: the story file of the folder that run files go to.
        viewer: hears of everything that happens.
        tell: gets a line for each thing that happens, for the rig's own terminal.
    """

    def __init__(
        self,
        opened: OpenRig,
        series_log: SeriesLog,
        viewer: Viewer,
        tell: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._opened = opened
        self._machine = opened.machine
        self._log = series_log
        self._viewer = viewer
        self._tell = tell

    # -- called from any thread -----------------------------------------------------------------

    def stop(self, who: str) -> None:
        """Ask for a smooth stop; harmless at any time."""
        self._machine.events.put(StopRequest(who))

    def start(self) -> None:
        """Press start, so to speak."""
        self._machine.events.put(StartRequest())

    def wish(self, wish: SeriesWish | ResumeWish | ResetWish) -> None:
        """Hand in a wish; it is passed over while a series is under way."""
        self._machine.events.put(wish)

    # -- the machine's own task -----------------------------------------------------------------

    def serve(self) -> Task[None]:
        """Task without end: take wishes and fulfil them.

        Raises:
            StoppedError: a signal asks for the end.
        """
        self._machine.enter("parked")
        self._look_back()
        yield from serve(
            self._machine, self._turn, lambda error: self._say(notice_of(error)), self._settle
        )

    def _turn(self) -> Task[None]:
        """Wait for a wish and fulfil it; a fault of a sensor at rest is raised."""
        machine, viewer = self._machine, self._viewer
        watchers = start_watching(machine)
        try:
            wish = yield from self._idle()
        finally:
            yield from stop_watching(machine, watchers)
        if isinstance(wish, ResetWish):
            self._reset()
        elif self._may_move():
            viewer.is_busy, viewer.notice = True, None
            yield from self._series(wish)

    def _idle(self) -> Task[SeriesWish | ResumeWish | ResetWish]:
        """Wait for a wish; a press of start resets, or resumes what is unfinished."""
        while True:
            wish = yield from at_rest(self._machine, (SeriesWish, ResumeWish, ResetWish))
            if not isinstance(wish, StartRequest):
                return wish  # type: ignore[no-any-return]
            if self._machine.latched is not None:
                return ResetWish()
            if self._viewer.unfinished:
                return ResumeWish()

    def _may_move(self) -> bool:
        """Whether a series may begin; says why not."""
        machine = self._machine
        if machine.latched is not None:
            return False
        if machine.inputs.emergency_stop_pressed:
            self._viewer.notice = Notice(
                "fault",
                "Emergency stop",
                "The emergency stop is pressed, or its wire is broken.",
                "Release it first. Nothing was moved.",
            )
            return False
        return True

    def _reset(self) -> None:
        machine, viewer = self._machine, self._viewer
        if machine.latched is None:
            return
        if machine.inputs.emergency_stop_pressed:
            viewer.notice = Notice(
                "fault",
                "Emergency stop",
                "The emergency stop is still pressed, or its wire is broken.",
                "Make the rig safe, release the stop, and reset again.",
            )
            return
        try:
            machine.reset()
        except RigError as error:
            self._say(notice_of(error))
            return
        self._say(Notice("note", "Reset", "The board stays where it is; a start homes it slowly."))

    def _series(self, wish: SeriesWish | ResumeWish) -> Task[None]:
        wishes = [wish, *(wish.then if isinstance(wish, SeriesWish) else ())]
        for one in wishes:
            yield from self._one(one, is_last=one is wishes[-1])

    def _one(self, wish: SeriesWish | ResumeWish, *, is_last: bool) -> Task[None]:
        series = self._open_series(wish)
        if series is None:
            return
        first = series.planned.requests[0]
        for line in self._opened.take_bag(first.bag, first.face, first.board):
            self._tell(line)
        maker = SeriesMaker(self._machine, self._log, series, self._hooks())
        is_ready = isinstance(wish, SeriesWish) and wish.is_ready
        made = yield from maker.make(start_now=is_ready, is_last=is_last)
        text = f"{count(len(made), 'run')} made. {maker.reason or ''}".strip()
        self._say(Notice("note", "The series is done", text))

    def _open_series(self, wish: SeriesWish | ResumeWish) -> OpenSeries | None:
        now = self._machine.clock.utc_now()
        self._log.settle(now)
        if isinstance(wish, SeriesWish):
            series = begin_series(self._log, wish.requests, wish.options, now)
        else:
            found = self._log.unfinished()
            if found is None:
                self._say(Notice("note", "Nothing is left", "All runs of the series are made."))
                return None
            series = found
        self._viewer.begin_series(len(series.remaining), len(series.counted))
        return series

    def _hooks(self) -> Hooks:
        viewer = self._viewer

        def begun(request: RunRequest, path: Path) -> None:
            viewer.begin_run(request)
            self._tell(f"Run {request.repeat} begins: {path}")

        def made(run: MadeRun, result: RunResult | None) -> None:
            self._opened.write_truth(run.path)
            viewer.made_run(result)

        def notice(text: str) -> None:
            self._say(Notice("note", "Please", text))

        return Hooks(begun=begun, made=made, notice=notice)

    def _keep(self, fault: MachineFaultError) -> None:
        """The first fault stays until it is reset."""
        self._machine.latch(fault)
        self._machine.enter("halted")
        self._say(notice_of(self._machine.latched or fault))

    def _say(self, notice: Notice) -> None:
        self._viewer.notice = notice
        self._tell(f"{notice.title}: {notice.what} {notice.action}".rstrip())

    # -- what was before ------------------------------------------------------------------------

    def _look_back(self) -> None:
        """Tell of a run that was cut off, and show the slides of the last series."""
        cuts = self._log.settle(self._machine.clock.utc_now())
        for begun, cut in cuts:
            self._machine.homes_slowly = True
            where = "before its file was begun" if cut.state is None else f"while {cut.state}"
            self._say(
                Notice(
                    "note",
                    "A run was cut off",
                    f"Run {begun.repeat} ended {where}, when this program did. What it had written"
                    " is kept; the next start homes slowly.",
                )
            )
        last = next((e for e in reversed(self._log.entries) if isinstance(e, Planned)), None)
        if last is not None:
            for _, file in sorted(self._log.series(last).counted.items())[-KEPT:]:
                self._show(self._log.folder / file)
        self._settle()

    def _show(self, path: Path) -> None:
        try:
            self._viewer.show_run(analyse_run(read_run(path)).result)
        except RigError:
            log.warning("%s cannot be shown", path)

    def _settle(self) -> None:
        """Bring the story file up to date, and see what can be resumed."""
        try:
            self._log.settle(self._machine.clock.utc_now())
        except MachineFaultError as fault:
            self._keep(fault)
        found = self._log.unfinished()
        self._viewer.unfinished = ""
        if found is not None:
            n_all = len(found.planned.requests)
            first = found.planned.requests[0]
            name = ", ".join(filter(None, (first.bag, first.face)))
            made = f"{len(found.counted)} of {count(n_all, 'run')} made"
            self._viewer.unfinished = f"{name}: {made}." if name else f"{made}."
        self._viewer.is_busy = False
