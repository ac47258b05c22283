"""Makes a series on an opened rig and shows it as it goes; behind `rig run` and `rig demo`."""

from collections.abc import Callable, Sequence
from pathlib import Path

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.clock import Task
from rig.commands.attended import attended
from rig.commands.options import columns, say
from rig.commands.run.progress import ProgressView
from rig.commands.run.rows import head, row_of
from rig.control.mover import StoppedError
from rig.control.process.signals import Interrupted
from rig.control.request import RunRequest
from rig.errors import BadInputError, RigError
from rig.opening import OpenRig
from rig.procedures.runs import MadeRun
from rig.procedures.series.log import OpenSeries, SeriesLog, SeriesOptions
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.quantities.shown import System
from rig.runfile.reader import read_run


class ShownSeries:
    """One series; `make` once.

    Args:
        opened: the rig, not open yet.
        folder: where the run files go.
        quiet: print no rows.
        options: how the series is made.
        units: of the rows and of the view.
    """

    def __init__(
        self,
        opened: OpenRig,
        folder: Path,
        *,
        quiet: bool,
        options: SeriesOptions | None = None,
        units: System = "metric",
    ) -> None:
        self.paths: list[Path] = []
        """Files of the runs that were begun, in order; of a resumed series, also those that
        were made before."""
        self.all_slid = True
        self.is_enough = False
        """The mean is known as well as was asked for."""
        self.signal: str | None = None
        """Name of the signal that ended it."""
        self._opened = opened
        self._folder = folder
        self._quiet = quiet
        self._options = options or SeriesOptions()
        self._units = units

    def make(
        self, requests: Sequence[RunRequest], *, start_now: bool, resume: bool = False
    ) -> RigError | None:
        """Open the rig, make the runs, close it; returns what ended the series early.

        Args:
            requests: of a new series; not used with `resume`.
            start_now: the bag lies ready for the first run.
            resume: resume the unfinished series.

        Raises:
            RigError: what kept the first run from beginning.
        """
        failure: RigError | None = None
        with SeriesLog(self._folder) as log:
            clock = self._opened.machine.clock
            for problem in log.problems:
                say(problem)
            self._tell_of_cuts(log)
            unfinished = log.unfinished()
            if resume and unfinished is None:
                say("All runs of the series were made before it was cut off; nothing is left.")
                return None
            if not resume:
                self._offer(unfinished)
            try:
                with attended(self._opened):
                    if resume and unfinished is not None:
                        series = unfinished
                        self._show_made(series)
                    else:
                        series = begin_series(log, requests, self._options, clock.utc_now())
                    try:
                        self._run(log, series, start_now)
                    except RigError as error:
                        if not self.paths:
                            raise
                        failure = error
                        self._show_last()
            except Interrupted as end:
                # Also one that came after the last run: no other series may begin.
                self.signal = str(end)
                failure = failure or StoppedError(f"Stopped by {end}.", ends_program=True)
            log.settle(clock.utc_now())
        return failure

    def _run(self, log: SeriesLog, series: OpenSeries, start_now: bool) -> None:
        opened = self._opened
        progress = ProgressView(
            opened.machine,
            len(series.remaining),
            n_before=len(series.counted),
            is_real=opened.source == "rig",
            units=self._units,
        )

        def begun(request: RunRequest, path: Path) -> None:
            progress.begin(request)
            self.paths.append(path)

        def made(run: MadeRun, result: RunResult | None) -> None:
            progress.made(result)
            self.show(run, result)

        hooks = Hooks(begun=begun, made=made, notice=say)
        maker = SeriesMaker(opened.machine, log, series, hooks)
        self._print(head(self._units, columns()))
        opened.run(maker.make(start_now=start_now), beside=[progress.follow()])
        self.is_enough = maker.is_enough
        if maker.reason is not None:
            say(maker.reason)

    def _tell_of_cuts(self, log: SeriesLog) -> None:
        """The last process was cut off: say so, and let the board home with care."""
        for begun, cut in log.settle(self._opened.machine.clock.utc_now()):
            self._opened.machine.homes_slowly = True
            where = "before its file was begun"
            if cut.state is not None:
                where = f"in state {cut.state}, {cut.t_s or 0:.1f} s after it began"
            say(
                f"Run {begun.repeat} ({begun.run_file}) was cut off {where}. What it had written is"
                " kept; the board homes slowly now."
            )

    def _offer(self, unfinished: OpenSeries | None) -> None:
        if unfinished is not None:
            n_all = len(unfinished.planned.requests)
            say(
                f"The series of {unfinished.planned.at} has {len(unfinished.counted)} of {n_all}"
                " runs; `rig run --resume` would have resumed it; this is a new one."
            )

    def _show_made(self, series: OpenSeries) -> None:
        """Runs of the series from before it was interrupted."""
        self.paths = [self._folder / file for _, file in sorted(series.counted.items())]
        n_all = len(series.planned.requests)
        say(f"The series resumes: {len(series.counted)} of {n_all} runs are made.")

    def _show_last(self) -> None:
        try:
            self._show_row(analyse_run(read_run(self.paths[-1])).result)
        except BadInputError as error:
            say(str(error))  # nothing of the run was written

    def show(self, made: MadeRun, result: RunResult | None) -> None:
        """One more run has come to its end."""
        self._opened.write_truth(made.path)
        self.all_slid = self.all_slid and made.outcome == "slid"
        if result is not None:
            self._show_row(result)

    def _show_row(self, result: RunResult) -> None:
        self._print(row_of(result, self._units, columns()))

    def _print(self, text: str) -> None:
        if not self._quiet:
            print(text, flush=True)

    def serve(self, requests: Callable[[], Sequence[RunRequest]]) -> None:
        """Stand by as a service until a signal comes: each press of start makes a series.

        Args:
            requests: makes the requests of a new series.

        Raises:
            StoppedError: the signal came.
            RigError: the rig cannot be opened.
        """
        from rig.control.process.notify import Notifier
        from rig.procedures.standby import stand_by

        machine = self._opened.machine
        notifier = Notifier(machine.clock)

        def beat() -> None:
            notifier.alive()
            notifier.status(f"{machine.live.state}: {machine.live.wants}".rstrip(": "))

        with SeriesLog(self._folder) as log:
            self._tell_of_cuts(log)

            def one() -> Task[object]:
                log.settle(machine.clock.utc_now())
                series = log.unfinished() or begin_series(
                    log, requests(), self._options, machine.clock.utc_now()
                )
                hooks = Hooks(made=self.show, notice=say)
                return SeriesMaker(machine, log, series, hooks).make(start_now=False)

            with attended(self._opened):
                machine.on_beat = beat
                notifier.ready()
                try:
                    self._opened.run(stand_by(machine, one))
                finally:
                    notifier.stopping()
