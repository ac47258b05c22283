"""Series: consecutive runs that wait for the air, end by rules, and can be resumed."""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

import msgspec

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.clock import Task
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.control.placing import Placing
from rig.control.request import RunRequest
from rig.errors import MachineFaultError
from rig.procedures.refused import refusals
from rig.procedures.runs import MadeRun, make_runs
from rig.procedures.series.climate_gate import ClimateGate
from rig.procedures.series.log import (
    Begun,
    Closed,
    Ended,
    OpenSeries,
    Planned,
    SeriesLog,
    SeriesOptions,
    stamp,
)
from rig.procedures.series.quick import QuickStart, settling_raise
from rig.procedures.series.stop_rules import (
    RunFigures,
    StopRule,
    bad_in_a_row,
    figures_of,
    narrow_enough,
    trend_found,
)
from rig.runfile.reader import read_run
from rig.runfile.writer import SUFFIX, new_run_id
from rig.settings.checks import settling_rate_deg_s

UNATTENDED_BAD_RUNS = 3

log = logging.getLogger(__name__)


class Hooks(msgspec.Struct, kw_only=True):
    """Callbacks of a series; each is called in its task."""

    begun: Callable[[RunRequest, Path], None] = lambda *_: None
    made: Callable[[MadeRun, RunResult | None], None] = lambda *_: None
    """Gets the row of the run; None if it could not be analysed."""
    notice: Callable[[str], None] = lambda _: None
    """Gets a sentence for a person."""


def begin_series(
    log: SeriesLog, requests: Sequence[RunRequest], options: SeriesOptions, at: datetime
) -> OpenSeries:
    """Record a new series in the log.

    Raises:
        MachineFaultError: cause `disk`.
    """
    numbered = [msgspec.structs.replace(r, repeat=i) for i, r in enumerate(requests, start=1)]
    if options.quick and numbered:
        numbered.insert(0, settling_raise(numbered[0]))
    planned = Planned(at=stamp(at), series_id=new_run_id(at), requests=numbered, options=options)
    log.add(planned)
    return OpenSeries(planned=planned, counted={}, slides=0)


def enough_of(options: SeriesOptions) -> StopRule:
    """The rule that the mean is known well enough; without --until it never ends a series."""
    if options.until_angle_deg is None:
        return lambda _: None
    return narrow_enough(options.until_angle_deg, options.slide_scatter, options.least_runs)


def rules_of(options: SeriesOptions) -> list[StopRule]:
    """Stop rules from the options."""
    rules = [enough_of(options)]
    limit = options.bad_in_a_row
    if limit is None and options.unattended:
        limit = UNATTENDED_BAD_RUNS
    if limit is not None:
        rules.append(bad_in_a_row(limit))
    if options.stop_at_trend:
        rules.append(trend_found())
    return rules


class SeriesMaker:
    """Makes the remaining runs of a series on an opened machine.

    Args:
        machine: opened.
        log: records every run.
        series: from `begin_series`, or the one to resume.
        hooks: callbacks.
        rules: stop rules besides those of the options.
    """

    def __init__(
        self,
        machine: Machine,
        log: SeriesLog,
        series: OpenSeries,
        hooks: Hooks,
        rules: Sequence[StopRule] = (),
    ) -> None:
        self.reason: str | None = None
        """Reason given by the rule that ended it before its last run, if any."""
        self.is_enough = False
        """The mean is known as well as was asked for."""
        self._machine = machine
        self._log = log
        self._series = series
        self._options = series.planned.options
        self._hooks = hooks
        self._rules = [*rules_of(self._options), *rules]
        self._enough = enough_of(self._options)
        self._gate: ClimateGate | None = None
        self._slides = series.slides
        self._reminded_at = max(series.slides - 1, 0)
        """Number of slides when a person was last asked to wipe the board."""
        self._figures: list[RunFigures] = []
        self._quick = QuickStart()
        self._made: list[Path] = []
        first = series.planned.requests[0]
        self._number_before = (first.slide_number or 1) - 1
        """Slides of the series made before this part of it was planned."""
        slides_before = log.wear(first.bag, first.face).slides - series.slides
        self._slides_before = slides_before if first.bag is not None else None

    def make(
        self, *, start_now: bool, placing: Placing | None = None, is_last: bool = True
    ) -> Task[list[MadeRun]]:
        """Task: make the remaining runs; see `make_runs`."""
        for _, file in sorted(self._series.counted.items()):
            self._take(self._analyse(self._log.folder / file))
        watcher = None
        if self._options.climate is not None:
            self._gate = ClimateGate(self._machine, self._options.climate)
            watcher = self._machine.clock.spawn(self._gate.watch(), "climate gate")
        try:
            made = yield from make_runs(
                self._machine,
                self._series.remaining,
                self._log.folder,
                start_now=start_now,
                placing=placing,
                before=self._before,
                on_begin=self._begun,
                on_end=self._ended,
                is_last=is_last,
            )
        finally:
            if watcher is not None:
                watcher.cancel()
        self._close(self.reason or "all runs are made")
        return made

    def _before(self, request: RunRequest) -> Task[RunRequest]:
        """Wait for the air, remind of cleaning, and count the slides."""
        if self._gate is not None:
            yield from self._gate.wait(Mover(self._machine))
        every = self._options.clean_every
        if every is not None and self._slides // every > self._reminded_at // every:
            self._reminded_at = self._slides
            self._hooks.notice(
                f"{self._slides} slides in this series: wipe the board and look at the bag."
            )
        first = self._series.planned.requests[0].slides_before
        before = self._slides_before if first is None else first + self._slides
        if request.settling:
            rate = settling_rate_deg_s(self._machine.settings)
            request = msgspec.structs.replace(request, rate_deg_s=rate)
        elif self._options.quick and request.raise_start != "whole":
            request = msgspec.structs.replace(request, approach_deg=self._quick.angle_deg)
        number = self._number_before + self._slides + 1
        return msgspec.structs.replace(request, slide_number=number, slides_before=before)

    def _begun(self, request: RunRequest, path: Path) -> None:
        self._log.add(
            Begun(
                at=stamp(self._machine.clock.utc_now()),
                series_id=self._series.planned.series_id,
                repeat=request.repeat or 0,
                run_id=path.name.removesuffix(SUFFIX),
                run_file=str(path.relative_to(self._log.folder)),
                bag=request.bag,
                face=request.face,
            )
        )
        self._hooks.begun(request, path)

    def _ended(self, run: MadeRun) -> str | None:
        self._log.add(
            Ended(
                at=stamp(self._machine.clock.utc_now()),
                run_id=run.path.name.removesuffix(SUFFIX),
                outcome=run.outcome,
                slid=run.outcome == "slid",
                pushes=run.pushes,
                brought_down=run.brought_down,
            )
        )
        self._made.append(run.path)
        lost = next((path for path in self._made if not path.exists()), None)
        if lost is not None:
            raise MachineFaultError("disk", f"{lost} was deleted while its series was made.")
        self._slides += (run.outcome == "slid") + run.brought_down
        result = self._analyse(run.path)
        self._hooks.made(run, result)
        told = self._take(result)
        if told is not None:
            self._hooks.notice(told)
        for sentence in [] if result is None else refusals(result):
            self._hooks.notice(sentence)
        self.reason = next((why for rule in self._rules if (why := rule(self._figures))), None)
        self.is_enough = self._enough(self._figures) is not None
        return self.reason

    def _analyse(self, path: Path) -> RunResult | None:
        """Row of a run; None if the analysis fails.

        A mistake in the analysis must not end a night of measurements: the run is in its file, can
        be analysed later, and counts as one without a valid result.
        """
        try:
            return analyse_run(read_run(path)).result
        except Exception as error:
            log.exception("analysis of %s", path)
            self._hooks.notice(f"{path} is written but could not be analysed ({error!r}).")
            return None

    def _take(self, result: RunResult | None) -> str | None:
        """Count one raise for rules and quick start; returns what to tell of it."""
        is_settling = result is not None and "settling" in result.flags
        if not is_settling:
            self._figures.append(figures_of(result))
        return None if result is None else self._quick.take(result)

    def _close(self, reason: str) -> None:
        self._log.add(
            Closed(
                at=stamp(self._machine.clock.utc_now()),
                series_id=self._series.planned.series_id,
                reason=reason,
            )
        )
