"""Runs in a row: what is refused before anything moves, and what ends them."""

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from rig.calibration.model import Calibration
from rig.clock import At, Done, Task
from rig.control.machine import Machine
from rig.control.mover import StoppedError
from rig.control.request import RunRequest
from rig.control.stop import StopRequest
from rig.devices.inputs import Edge
from rig.errors import BadInputError, MachineFaultError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import (
    NEXT,
    NEXT_SERIES,
    MadeRun,
    make_runs,
    raise_failures,
    start_watching,
    stop_watching,
)
from rig.runfile.reader import read_run
from tests.faults.harness import SCENARIO, SETTINGS
from tests.procedures.scripted import Act, Script


@pytest.fixture
def rig() -> Iterator[OpenRig]:
    with open_twin(SETTINGS, SCENARIO, 3) as opened:
        yield opened


def runs(rig: OpenRig, folder: Path, n: int = 1, **more: Any) -> list[MadeRun]:
    started = rig.machine.clock.utc_now()
    asked = plan_series(SETTINGS, n, source="twin", started=started)
    return rig.run(make_runs(rig.machine, asked, folder, start_now=True, **more))


def own(rig: OpenRig) -> Calibration:
    assert rig.machine.calibration is not None
    return rig.machine.calibration


def test_without_a_calibration_no_run_is_made(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = Script(monkeypatch)
    rig.machine.calibration = None
    with pytest.raises(BadInputError, match="no calibration of its angle sensor"):
        runs(rig, tmp_path)
    assert script.requests == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"due_at": "2020-06-01T00:00:00Z"}, "overdue since 2020-06-01"),
        ({"sensor": "another"}, "the sensor here is"),
    ],
)
def test_a_calibration_that_does_not_fit_is_refused_before_a_file_is_made(
    rig: OpenRig,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    change: dict[str, Any],
    words: str,
) -> None:
    Script(monkeypatch)
    if "sensor" in change:
        change = {"sensor": msgspec.structs.replace(own(rig).sensor, identity="6c-9999")}
    rig.machine.calibration = msgspec.structs.replace(own(rig), **change)
    with pytest.raises(BadInputError, match=words):
        runs(rig, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_an_overdue_calibration_that_was_allowed_flags_each_run(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Script(monkeypatch)
    rig.machine.calibration = msgspec.structs.replace(own(rig), due_at="2020-06-01T00:00:00Z")
    rig.machine.allow_overdue = True
    for made in runs(rig, tmp_path, 2):
        end = read_run(made.path).end
        assert end is not None
        assert end.flags == ["calibration_overdue"]


def parked_with(
    rig: OpenRig, monkeypatch: pytest.MonkeyPatch, n: int
) -> tuple[list[str], list[str]]:
    """Runs that only park; what the lamp shows, and the words as each of them parks."""
    lamps: list[str] = []
    seen: list[str] = []
    monkeypatch.setattr(rig.machine.lamp, "show", lamps.append)

    def park(machine: Machine) -> None:
        machine.enter("parked")
        seen.append(machine.live.wants)

    Script(monkeypatch, [Act(then=park)] * n)
    return lamps, seen


@pytest.mark.parametrize("n_cut", [0, 1])
def test_between_two_runs_the_lamp_and_the_words_say_what_comes(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, n_cut: int
) -> None:
    """After the last one they say rest, also where a rule made it the last."""
    machine, (lamps, seen) = rig.machine, parked_with(rig, monkeypatch, 3)
    runs(rig, tmp_path, 3, on_end=lambda _: "enough" if len(seen) == 3 - n_cut else None)
    coming = "The board homes next: keep clear. Then put the bag back and press start."
    assert seen == [coming, coming, ""][: 3 - n_cut]
    assert lamps == [["homing", "homing", "parked"], ["homing", "homing", "parked"]][n_cut]
    assert machine.live.wants == ""


@pytest.mark.parametrize("n_cut", [0, 1])
def test_before_another_series_lamp_and_words_do_not_say_rest(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, n_cut: int
) -> None:
    machine, (lamps, seen) = rig.machine, parked_with(rig, monkeypatch, 2)
    runs(
        rig, tmp_path, 2, is_last=False,
        on_end=lambda _: "enough" if len(seen) == 2 - n_cut else None,
    )  # fmt: skip
    assert len(seen) == 2 - n_cut
    assert set(lamps) == {"homing"}
    assert machine.live.wants == NEXT_SERIES
    assert machine.comes_next == ""


def test_with_a_blade_the_next_run_comes_by_itself() -> None:
    assert "by itself: keep clear" in NEXT["blade"]
    assert "start" not in NEXT["blade"]


def test_who_only_looks_ends_with_a_stop_as_well(rig: OpenRig) -> None:
    rig.machine.events.put(StopRequest("SIGINT", ends_program=True))
    with pytest.raises(StoppedError, match="SIGINT"):
        raise_failures(rig.machine)


def test_events_from_before_are_history_but_a_wish_to_stop_is_not(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine, seen = rig.machine, []

    def look(machine: Machine) -> None:
        while (item := machine.events.get_nowait()) is not None:
            seen.append(item)

    Script(monkeypatch, [Act(then=look)])
    handle: Any = None
    machine.events.put(Edge(0.0, "stop_button", True))
    machine.events.put(StopRequest("SIGTERM", ends_program=True))
    machine.events.put(Done(handle, RuntimeError("long ago")))
    runs(rig, tmp_path)
    assert seen == [StopRequest("SIGTERM", ends_program=True)]


def test_no_run_begins_after_the_last_one_that_was_to_be_finished(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reason = MachineFaultError("low_supply", "It is low.")
    script = Script(
        monkeypatch, [Act(), Act(then=lambda machine: setattr(machine, "last_run_reason", reason))]
    )
    with pytest.raises(MachineFaultError) as caught:
        runs(rig, tmp_path, 4)
    assert caught.value is reason
    assert len(script.requests) == 2


def test_what_comes_before_a_run_may_change_it_and_what_comes_after_may_end_the_row(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = Script(monkeypatch, [Act(pushes=2, brought_down=1)])

    def before(request: RunRequest) -> Task[RunRequest]:
        yield from ()
        return msgspec.structs.replace(request, operator=f"run {request.repeat}")

    ended: list[MadeRun] = []

    def on_end(run: MadeRun) -> str | None:
        ended.append(run)
        return "enough" if len(ended) == 2 else None

    made = runs(rig, tmp_path, 4, before=before, on_end=on_end)
    assert [request.operator for request in script.requests] == ["run 1", "run 2"]
    assert made == ended
    assert [(run.outcome, run.pushes, run.brought_down) for run in made] == [
        ("slid", 2, 1),
        ("slid", 0, 0),
    ]


def test_each_run_has_a_file_of_its_day_and_its_free_space_checked(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Script(monkeypatch)
    begun: list[Path] = []
    (made,) = runs(rig, tmp_path, on_begin=lambda _, path: begun.append(path))
    assert begun == [made.path]
    header = read_run(made.path).header
    assert made.path.parent.name == header.started_at[:10]
    assert header.started_at.endswith("Z")
    monkeypatch.setattr(
        "rig.control.process.host.shutil.disk_usage", lambda _: SimpleNamespace(free=1e6)
    )
    with pytest.raises(BadInputError, match="Only 1 MB are free"):
        runs(rig, tmp_path, on_begin=lambda _, path: begun.append(path))
    assert len(begun) == 1


def test_sensors_are_watched_from_before_the_first_run_to_the_end(
    rig: OpenRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    live, ages = rig.machine.live, []

    def look(machine: Machine) -> None:
        assert live.angle_seen_s is not None
        ages.append(machine.clock.time_s() - live.angle_seen_s)
        assert live.temperature_c is not None

    def then_rest() -> Task[None]:
        began_s = clock.time_s()
        asked = plan_series(SETTINGS, 1, source="twin", started=clock.utc_now())
        yield from make_runs(rig.machine, asked, tmp_path, start_now=True)
        # 0.3 s for a first look, and 1 s for the run.
        assert clock.time_s() - began_s == pytest.approx(1.3, abs=0.1)
        seen_s = live.angle_seen_s
        yield At(clock.time_s() + 5.0)
        assert live.angle_seen_s == seen_s, "a task is still watching"

    clock = rig.machine.clock
    Script(monkeypatch, [Act(then=look)])
    rig.run(then_rest())
    assert max(ages) < 0.3


@pytest.mark.parametrize("chip", ["imu_address", "climate_address"])
def test_what_a_watching_task_meets_comes_as_an_event(rig: OpenRig, chip: str) -> None:
    machine = rig.machine

    def watch() -> Task[None]:
        watchers = start_watching(machine)
        yield At(machine.clock.time_s() + 1.0)
        raise_failures(machine)
        assert rig.twin is not None
        del rig.twin.bus.chips[getattr(SETTINGS.bus, chip)]
        yield At(machine.clock.time_s() + 5.0)
        try:
            raise_failures(machine)
        finally:
            yield from stop_watching(machine, watchers)

    with pytest.raises(MachineFaultError) as caught:
        machine.clock.run(watch())
    assert caught.value.cause == "bus"
