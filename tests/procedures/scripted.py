"""Series of runs in which nothing moves: each ends as a script says."""

from collections.abc import Callable, Iterable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from rig.analysis.row import RunResult, empty_row
from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.errors import RigError
from rig.opening import open_twin
from rig.procedures.requests import plan_series
from rig.procedures.series.log import OpenSeries, SeriesLog, SeriesOptions
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.runfile.model import Flag, Outcome
from rig.runfile.reader import RunFile
from tests.faults.harness import SCENARIO, SETTINGS


class Act(msgspec.Struct, kw_only=True):
    """How one run goes."""

    outcome: Outcome = "slid"
    pushes: int = 0
    brought_down: int = 0
    valid: bool = True
    angle_deg: float | None = 20.0
    flags: tuple[Flag, ...] = ()
    then: Callable[[Machine], None] = lambda _: None
    """Called at its end."""


class Script:
    """Takes the place of the cycle and of the analysis.

    Args:
        monkeypatch: puts them in place.
        acts: of the runs in turn; further ones slide.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch, acts: Iterable[Act] = ()) -> None:
        self.acts = list(acts)
        self.requests: list[RunRequest] = []
        """Of the runs that were begun."""
        self.paths: list[Path] = []
        """Their files, if a test notes them here."""
        monkeypatch.setattr("rig.procedures.runs.Cycle", self._cycle)
        monkeypatch.setattr("rig.procedures.series.series.analyse_run", self._analysed)

    def _cycle(
        self, machine: Machine, request: RunRequest, recorder: Recorder, placing: Any
    ) -> Any:
        act = self._act(len(self.requests))
        self.requests.append(request)

        def run() -> Task[Outcome]:
            machine.recorder = None
            yield At(machine.clock.time_s() + 1.0)
            recorder.end(act.outcome, 0, 0)
            act.then(machine)
            return act.outcome

        return SimpleNamespace(run=run, pushes=act.pushes, brought_down=act.brought_down)

    def _act(self, number: int) -> Act:
        return self.acts[number] if number < len(self.acts) else Act()

    def _analysed(self, run: RunFile) -> Any:
        act = self._act(self.paths.index(run.path))
        result: RunResult = msgspec.structs.replace(
            empty_row(run, [*(run.end.flags if run.end else ()), *act.flags]),
            valid=act.valid,
            onset_angle_deg=act.angle_deg,
            mu_static=0.36,
        )
        return SimpleNamespace(result=result)


class Scripted:
    """A series of scripted runs, and what was said of it.

    Args:
        folder: where the run files go.
        monkeypatch: for the script.
        acts: of the runs in turn.
    """

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch, *acts: Act) -> None:
        self.folder = folder
        self.script = Script(monkeypatch, acts)
        self.notices: list[str] = []
        self.reason: str | None = None
        self.error: RigError | None = None

    def make(
        self,
        n: int,
        options: SeriesOptions | None = None,
        *,
        bag: str | None = "X",
        purpose: Any = None,
        **more: Any,
    ) -> OpenSeries:
        """Begin a series, or resume the one that is unfinished."""
        rig = open_twin(SETTINGS, SCENARIO, 3)
        now = rig.machine.clock.utc_now()
        with SeriesLog(self.folder) as log:
            log.settle(now)
            series = log.unfinished()
            if series is None:
                who = {"bag": bag, "face": "grip", "purpose": purpose}
                asked = plan_series(SETTINGS, n, source="twin", started=now, **who)
                series = begin_series(log, asked, options or SeriesOptions(), now)
            hooks = Hooks(
                begun=lambda _, path: self.script.paths.append(path), notice=self.notices.append
            )
            maker = SeriesMaker(rig.machine, log, series, hooks, **more)
            self.error = None
            with rig:
                try:
                    rig.run(maker.make(start_now=True))
                except RigError as caught:
                    self.error = caught
            self.reason = maker.reason
            return log.series(series.planned)
