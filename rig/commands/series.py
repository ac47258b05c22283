"""Makes a series on an opened rig and shows it as it goes; behind `rig run` and `rig demo`."""

from collections.abc import Sequence
from pathlib import Path

from rig.analysis.load import analyse
from rig.analysis.table import run_row, run_table_head
from rig.commands.progress import Progress
from rig.control.request import RunRequest
from rig.control.signals import stop_on_signals
from rig.errors import RigError
from rig.opening import OpenRig
from rig.procedures.runs import MadeRun, make_runs


class Series:
    """One series; `make` once.

    Args:
        opened: the rig, not open yet.
        folder: where the run files go.
        quiet: print no rows.
    """

    def __init__(self, opened: OpenRig, folder: Path, *, quiet: bool) -> None:
        self.paths: list[Path] = []
        """Files of the runs that were begun, in order."""
        self.all_slid = True
        self.signal: str | None = None
        """Name of the signal that ended it."""
        self._opened = opened
        self._folder = folder
        self._quiet = quiet

    def make(self, requests: Sequence[RunRequest], *, start_now: bool) -> RigError | None:
        """Open the rig, make the runs, close it; returns what ended the series early.

        Raises:
            RigError: what kept the first run from beginning.
        """
        failure: RigError | None = None
        with self._opened as opened, stop_on_signals(opened.machine.events) as signals:
            progress = Progress(opened.machine, len(requests))

            def begun(request: RunRequest, path: Path) -> None:
                progress.begin(request)
                self.paths.append(path)

            task = make_runs(
                opened.machine,
                requests,
                self._folder,
                start_now=start_now,
                on_begin=begun,
                on_end=self._ended,
            )
            self._print(run_table_head())
            try:
                opened.run(task, beside=[progress.follow()])
            except RigError as error:
                if not self.paths:
                    raise
                failure = error
                self._show(self.paths[-1])
            self.signal = signals.name
        return failure

    def _ended(self, made: MadeRun) -> None:
        self._opened.write_truth(made.path)
        self.all_slid = self.all_slid and made.outcome == "slid"
        self._show(made.path)

    def _show(self, path: Path) -> None:
        if not self._quiet:
            for result in analyse([path]).runs:
                self._print(run_row(result))

    def _print(self, text: str) -> None:
        if not self._quiet:
            print(text, flush=True)
