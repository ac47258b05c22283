"""Makes a series on an opened rig and shows it as it goes; behind `rig run` and `rig demo`."""

from collections.abc import Sequence
from pathlib import Path

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.commands.progress import Progress
from rig.control.request import RunRequest
from rig.control.signals import stop_on_signals
from rig.errors import RigError
from rig.opening import OpenRig
from rig.procedures.runs import MadeRun, make_runs
from rig.runfile.reader import read_run

HEAD = (
    f"{'slide':>5}  {'angle':>14}  {'at break':>8}  {'µ static':>15}  {'µ kinetic':>9}"
    f"  {'°C':>5}  {'%RH':>4}  outcome, flags"
)


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
            progress = Progress(opened.machine, len(requests), is_real=opened.source == "rig")

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
            self._print(HEAD)
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
            self._print(row_of(analyse_run(read_run(path)).result))

    def _print(self, text: str) -> None:
        if not self._quiet:
            print(text, flush=True)


def row_of(result: RunResult) -> str:
    """One run on one line, under `HEAD`; ± is the standard uncertainty (k = 1)."""

    def figure(value: float | None, form: str, unit: str = "") -> str:
        return "–" if value is None else f"{value:{form}}{unit}"

    angle = figure(result.onset_angle_deg, ".2f")
    if result.u_onset_angle_deg is not None:
        angle += f" ± {result.u_onset_angle_deg:.2f}°"
    mu = figure(result.mu_static, ".4f")
    if result.u_mu_static is not None:
        mu += f" ± {result.u_mu_static:.4f}"
    words = " ".join((result.outcome or "interrupted", *result.flags))
    return (
        f"{figure(result.slide_number, 'd'):>5}  {angle:>14}"
        f"  {figure(result.angle_at_break_deg, '.2f', '°'):>8}  {mu:>15}"
        f"  {figure(result.mu_kinetic, '.3f'):>9}  {figure(result.temperature_c, '.1f'):>5}"
        f"  {figure(result.relative_humidity_pct, '.0f'):>4}  {words}"
    )
