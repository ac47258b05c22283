"""A series on the twin when the power goes: the log and the run files tell the same story."""

from pathlib import Path
from typing import Any

import pytest

from rig.control.recorder import Recorder
from rig.errors import BadInputError
from rig.opening import open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import MadeRun
from rig.procedures.series.log import Begun, Ended, SeriesLog, SeriesOptions
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.runfile.model import State
from rig.runfile.reader import find_runs, read_run
from rig.runfile.writer import SUFFIX
from tests.durability.disk import Disk
from tests.faults.harness import SCENARIO, SETTINGS


def make_series(disk: Disk, n: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Make it all, and take each change of state and each end of a run for acknowledged."""
    paths: list[Path] = []
    enter = Recorder.enter

    def entering(self: Recorder, state: State, at_s: float) -> None:
        enter(self, state, at_s)
        disk.acknowledge((paths[-1].name, state))

    def made(run: MadeRun, result: object) -> None:
        disk.acknowledge((run.path.name, run.outcome))

    monkeypatch.setattr(Recorder, "enter", entering)
    rig = open_twin(SETTINGS, SCENARIO, 3)
    now = rig.machine.clock.utc_now()
    with disk, SeriesLog(disk.folder / "runs") as log:
        asked = plan_series(SETTINGS, n, source="twin", started=now, bag="X", face="grip")
        series = begin_series(log, asked, SeriesOptions(), now)
        hooks = Hooks(begun=lambda _, path: paths.append(path), made=made)
        with rig:
            rig.run(SeriesMaker(rig.machine, log, series, hooks).make(start_now=True))


def story(path: Path) -> list[str]:
    """The states that a run file tells of, and its outcome; nothing if its header is lost."""
    try:
        run = read_run(path)
    except BadInputError:
        return []
    states = [event.detail["state"] for event in run.events if event.event == "state"]
    return [*states, *([run.end.outcome] if run.end is not None else [])]


def test_a_series_goes_on_from_whatever_a_power_cut_left(
    place: Path, after: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (place / "disk").mkdir()
    disk = Disk(place / "disk", every_write=False)
    make_series(disk, 2, monkeypatch)
    now = open_twin(SETTINGS, SCENARIO, 3).machine.clock.utc_now()

    def check(folder: Path, acknowledged: list[Any]) -> None:
        told: dict[str, list[str]] = {}
        for name, what in acknowledged:
            told.setdefault(name, []).append(what)
        left = {path.name: story(path) for path in find_runs([folder])}
        for name, states in told.items():
            assert left[name][: len(states)] == states
        whole = sum(states[-1:] == ["slid"] for states in left.values())
        with SeriesLog(folder / "runs") as log:
            begun = {entry.run_id for entry in log.entries if isinstance(entry, Begun)}
            assert {name.removesuffix(SUFFIX) for name in left} <= begun
            for entry in log.entries:
                if isinstance(entry, Ended):
                    assert left[entry.run_id + SUFFIX][-1] == "slid"
            log.settle(now)
            unfinished = log.unfinished()
            remaining = 0 if unfinished is None else len(unfinished.remaining)
            assert remaining == (2 - whole if log.entries else 0)

    assert disk.replay(after, check) > 30
