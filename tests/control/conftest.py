"""Runs on the twin, for the tests of the cycle."""

import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.clock import Task
from rig.errors import RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import RunFile, read_run
from rig.settings.model import Settings
from rig.twin.scenario import Scenario
from tests.control.machine_bench import SCENARIO, SETTINGS, Bench


class Story(NamedTuple):
    """What a series on the twin left behind."""

    rig: OpenRig
    runs: list[RunFile]
    analyses: list[RunAnalysis]
    truths: list[dict[str, Any]]
    error: RigError | None

    def events(self, name: str, run: int = 0) -> list[Any]:
        return [event for event in self.runs[run].events if event.event == name]

    def states(self, run: int = 0) -> list[str]:
        return [event.detail["state"] for event in self.events("state", run)]


Tell = Callable[..., Story]


@pytest.fixture
def tell(tmp_path: Path) -> Tell:
    """Make runs on the twin in a scenario, with other tasks beside, and read what came of it."""

    def story(
        scenario: Scenario,
        *,
        repeat: int = 1,
        seed: int = 3,
        settings: Settings | None = None,
        start_now: bool = True,
        rate_deg_s: float | None = None,
        beside: Callable[[OpenRig], Iterable[Task[Any]]] = lambda _: (),
    ) -> Story:
        settings = settings or Settings()
        rig = open_twin(settings, scenario, seed)
        requests = plan_series(
            settings,
            repeat,
            source="twin",
            started=rig.machine.clock.utc_now(),
            rate_deg_s=rate_deg_s,
            bag="Test bag",
            face="slick",
        )
        truths: list[dict[str, Any]] = []

        def ended(made: Any) -> None:
            path = rig.write_truth(made.path)
            if path is not None:
                truths.append(json.loads(path.read_text("utf-8")))

        error: RigError | None = None
        with rig:
            task = make_runs(rig.machine, requests, tmp_path, start_now=start_now, on_end=ended)
            try:
                rig.run(task, beside=beside(rig))
            except RigError as caught:
                error = caught
            assert not rig.machine.stepper.enabled, "the driver was left enabled"
        runs = [read_run(path) for path in sorted(tmp_path.rglob("*.run.jsonl"))]
        return Story(rig, runs, [analyse_run(run) for run in runs], truths, error)

    return story


MakeBench = Callable[..., Bench]


@pytest.fixture
def make_bench() -> Iterator[MakeBench]:
    """Opens machines of one's own settings and scenario, and closes them."""
    with ExitStack() as opened:

        def make(
            settings: Settings = SETTINGS, scenario: Scenario = SCENARIO, *, reads: bool = True
        ) -> Bench:
            bench = Bench(settings, scenario, reads=reads)
            opened.enter_context(bench.rig)
            return bench

        yield make


@pytest.fixture
def bench(make_bench: MakeBench) -> Bench:
    """The usual one."""
    return make_bench()
