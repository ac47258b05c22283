"""A calibration when the power goes: each step that was kept is there, or what was made of it."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from rig.calibration.file import load_calibration, newest_calibration
from rig.calibration.plan import LevelPlan
from rig.opening import open_twin
from rig.procedures.level.level import LevelProcedure, StoppedLevelError
from rig.procedures.level.person import Answer
from rig.procedures.level.progress import NAME, LevelProgress, load_progress, save_progress
from rig.settings.model import ImuSettings, Screw, Settings
from rig.twin.draws import draw_scenario
from tests.calibration.example import SENSOR, calibration
from tests.durability.disk import Disk

FAST = Settings(imu=ImuSettings(rate_hz=104), screw=Screw(microsteps=1))


def test_each_step_is_on_the_disk_before_the_next_begins(place: Path, after: Path) -> None:
    (place / "disk").mkdir()
    disk = Disk(place / "disk", every_write=False)
    rig = open_twin(FAST, draw_scenario(5), 5)
    person = rig.level_person(5)
    assert person is not None
    seen: list[str] = []

    def go_on(step: str, found: str) -> Answer:
        if seen:
            disk.acknowledge(seen[-1])
        seen.append(step)
        return "stop" if len(seen) == 3 else "on"

    person.go_on = go_on  # type: ignore[method-assign]
    procedure = LevelProcedure(rig.machine, person, LevelPlan(sweep=False), disk.folder / "level")
    with disk, rig, pytest.raises(StoppedLevelError):
        rig.run(procedure.run())
    assert len(seen) == 3

    def check(folder: Path, acknowledged: list[Any]) -> None:
        progress = load_progress(folder / "level" / NAME)
        kept = {"zero", *progress.span} if progress is not None and progress.zero else set()
        assert kept >= set(acknowledged)

    assert disk.replay(after, check) > 5


def test_what_was_captured_is_put_aside_only_for_a_calibration(disk: Disk, after: Path) -> None:
    file = disk.folder / NAME
    procedure: Any = SimpleNamespace(_path=file, _machine=SimpleNamespace())
    with disk:
        save_progress(file, LevelProgress(sensor=SENSOR, started_at="now", plan=LevelPlan()))
        disk.acknowledge("captures")
        LevelProcedure._save(procedure, calibration())  # noqa: SLF001
        disk.acknowledge("calibration")

    def check(folder: Path, acknowledged: list[Any]) -> None:
        newest = newest_calibration(folder)
        if newest is not None:
            assert load_calibration(newest) == calibration()
        elif acknowledged:
            assert acknowledged == ["captures"]
            assert load_progress(folder / NAME) is not None

    assert disk.replay(after, check) > 5
