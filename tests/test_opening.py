"""Opening a rig: which calibration it takes, which clock, who stands beside the twin."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import msgspec
import pytest

from rig import opening
from rig.calibration.file import save_calibration
from rig.clock import At, RealClock, Task, VirtualClock
from rig.errors import BadInputError, BusyError
from rig.opening import OnBoard, OpenRig, calibration_folder, open_rig, open_twin
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from rig.twin.home import Home, new_home
from rig.twin.invented import Past, on_board
from tests.calibration.example import calibration

UTC_NOW = datetime(2026, 10, 1, 8, 0, tzinfo=UTC)


class NotedMachine:
    """Stands for a machine and its clock."""

    def __init__(self) -> None:
        self.told: list[Any] = []
        self.clock = self
        self.has_motor = True

    def __enter__(self) -> None:
        self.told.append("open")

    def __exit__(self, *ended: object) -> None:
        self.told.append(("close", *ended))

    def spawn(self, task: Any, name: str) -> None:
        self.told.append((task, name))

    def run(self, task: Any) -> Any:
        self.told.append(task)
        return "result"


def noted(twin: Any = None) -> tuple[OpenRig, list[Any]]:
    machine: Any = NotedMachine()
    return OpenRig(machine, twin), machine.told


def test_the_machine_is_opened_and_closed_with_what_went_wrong() -> None:
    opened, told = noted()
    error = ValueError()
    with pytest.raises(ValueError), opened as same:  # noqa: PT011, PT012
        assert same is opened
        assert told == ["open"]
        raise error
    assert told[1][:3] == ("close", ValueError, error)


def test_on_a_real_rig_nobody_is_simulated(tmp_path: Path) -> None:
    opened, told = noted()
    assert opened.run("task", beside=["one", "two"]) == "result"  # type: ignore[arg-type,list-item]
    assert told == [("one", "beside 0"), ("two", "beside 1"), "task"]
    assert opened.source == "rig"
    assert opened.level_person(1) is None
    assert opened.write_truth(tmp_path) is None


@pytest.mark.parametrize("presses", [True, False])
def test_on_the_twin_a_person_stands_by(presses: bool) -> None:
    twin: Any = Made(
        person=lambda **how: how,
        world="world",
        write_truth=lambda path: path / "truth",
    )
    opened, told = noted(twin)
    opened.run("task", presses=presses)  # type: ignore[arg-type]
    assert told == [({"presses": presses}, "person"), "task"]
    assert opened.source == "twin"
    assert opened.write_truth(Path("a")) == Path("a/truth")


def test_the_twins_level_is_read_with_its_own_seed() -> None:
    opened = open_twin(Settings(), draw_scenario(1), 1, utc=UTC_NOW)
    assert opened.level_person(3) is not None
    assert opened.twin is not None


def test_the_twin_jumps_or_takes_its_time() -> None:
    scenario = draw_scenario(1)
    fast = open_twin(Settings(), scenario, 1, utc=UTC_NOW).machine
    assert isinstance(fast.clock, VirtualClock)
    assert fast.clock.utc_now() == UTC_NOW
    real = open_twin(Settings(), scenario, 1, "real").machine
    assert isinstance(real.clock, RealClock)


def test_the_twin_has_a_calibration_of_its_own_unless_one_is_given() -> None:
    scenario, given = draw_scenario(1), calibration()
    assert open_twin(Settings(), scenario, 1, calibration=given).machine.calibration is given
    own = open_twin(Settings(), scenario, 1).machine.calibration
    assert own is not None
    assert own != given


def kept(folder: Path, day: int) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    made = calibration(made_at=f"2026-10-0{day}T08:00:00Z")
    save_calibration(folder / f"2026-10-0{day}.json", made)


def in_force(*, twin: bool, named: str | None, settings_file: Path | None) -> str | None:
    """Day of the calibration of a rig that was opened so."""
    settings = Settings()
    if named is not None:
        files = msgspec.structs.replace(settings.files, calibration=named)
        settings = msgspec.structs.replace(settings, files=files)
    found = open_rig(settings, twin=twin, settings_file=settings_file).machine.calibration
    return None if found is None else found.made_at[8:10]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr(opening, "real_bus", lambda clock, number: Made(number=number))
    return tmp_path


def test_a_real_rig_takes_the_newest_calibration_or_the_one_named(here: Path) -> None:
    settings_file = here / "etc" / "my.toml"
    settings_file.parent.mkdir()
    settings_file.write_text("")
    assert in_force(twin=False, named=None, settings_file=settings_file) is None
    kept(here / "etc" / "calibration", 1)
    kept(here / "etc" / "calibration", 2)
    kept(here / "etc" / "old", 3)
    assert in_force(twin=False, named=None, settings_file=settings_file) == "02"
    assert in_force(twin=False, named="old/2026-10-03.json", settings_file=settings_file) == "03"
    assert in_force(twin=True, named="old/2026-10-03.json", settings_file=settings_file) == "03"


@pytest.mark.parametrize("twin", [True, False])
@pytest.mark.parametrize("is_damaged", [True, False])
def test_a_missing_or_damaged_calibration_hinders_runs_and_no_calibration(
    here: Path, twin: bool, is_damaged: bool
) -> None:
    files = msgspec.structs.replace(Settings().files, calibration="mine.json")
    settings = msgspec.structs.replace(Settings(), files=files)
    if is_damaged:
        (here / "mine.json").write_text("{", "utf-8")
    with pytest.raises(BadInputError, match=r"mine\.json"):
        open_rig(settings, twin=twin)
    found = open_rig(settings, twin=twin, calibrates=True).machine.calibration
    assert (found is not None) is twin, "the twin has one of its own"


def test_the_twin_takes_none_that_lies_about(here: Path) -> None:
    kept(here / "calibration", 1)
    assert in_force(twin=False, named=None, settings_file=None) == "01"
    own = open_rig(Settings(), twin=True).machine.calibration
    assert own is not None
    assert own.made_at[:10] != "2026-10-01" or own.counts_per_g != 16393.0


def test_calibrations_lie_beside_the_settings_in_force(here: Path) -> None:
    assert calibration_folder(None) == Path("calibration")
    (here / "config" / "rig").mkdir(parents=True)
    (here / "config" / "rig" / "rig.toml").write_text("")
    assert calibration_folder(None) == here / "config" / "rig" / "calibration"
    assert calibration_folder(Path("a/my.toml")) == Path("a/calibration")


def test_a_real_rig_is_held_by_a_lock_and_knows_the_levels_word(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folders: list[Path] = []
    word: Any = "word"

    def load(folder: Path) -> Any:
        folders.append(folder)
        return word

    monkeypatch.setattr(opening, "load_home_check", load)
    opened = open_rig(Settings(), twin=False)
    assert opened.twin is None
    assert opened.machine.home_check is word
    assert folders == [Path("calibration")]
    assert isinstance(opened.machine.clock, RealClock)


def test_what_lies_on_the_twins_board_is_what_was_laid_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[Any] = []

    def scenario_of(seed: int, face: Any, air: Any, **what: Any) -> Any:
        asked.append((seed, what | {"face": face, "air": air}))
        return draw_scenario(seed)

    monkeypatch.setattr("rig.twin.invented.scenario_of", scenario_of)
    open_rig(Settings(), twin=True, seed=3, on_board=OnBoard(bag="Heron", slides_before=4))
    open_rig(Settings(), twin=True, on_board=OnBoard(law="lugre"))
    heron = on_board(3, "Heron", None, None, Past())
    assert heron is not None
    assert [(seed, what["face"], what["slides_before"], what["law"]) for seed, what in asked] == [
        (3, heron, 4, "coulomb"),
        (1, None, 0, "lugre"),
    ]


def test_a_law_must_be_known_and_not_the_homes(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"--law takes coulomb, .*lugre, not 'sticky'"):
        open_rig(Settings(), twin=True, on_board=OnBoard(law="sticky"))
    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    with pytest.raises(BadInputError, match="has a law of its own"):
        opened_at(home, on_board=OnBoard(law="lugre"))


def opened_at(home: Home, **more: Any) -> OpenRig:
    return open_rig(Settings(), twin=True, seed=None, home=home.folder, **more)


def test_a_twin_at_home_has_its_seed_its_clock_and_its_calibration(tmp_path: Path) -> None:
    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    first = opened_at(home)
    assert first.twin is not None
    assert (first.twin.seed, first.machine.clock.utc_now()) == (5, UTC_NOW)
    kept(home.folder / "twin-calibration", 1)
    found = opened_at(home).machine.calibration
    assert found is not None
    assert found.made_at[:10] == "2026-10-01"
    real = opened_at(home, speed="real").machine.clock.utc_now()
    assert abs(real - UTC_NOW) < timedelta(minutes=1)


def test_a_twin_without_a_home_takes_the_calibration_of_its_seed(here: Path) -> None:
    kept(here / "twin-calibration" / "seed-3", 1)
    found = [open_rig(Settings(), twin=True, seed=n).machine.calibration for n in (3, 4)]
    assert [one is not None and one.made_at[:10] == "2026-10-01" for one in found] == [True, False]


def test_time_goes_on_at_home_and_never_back(tmp_path: Path) -> None:
    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    with opened_at(home, utc=UTC_NOW + timedelta(hours=1)) as opened:
        opened.run(wait(opened, 600.0))
    assert Home(home.folder).now == UTC_NOW + timedelta(hours=1, minutes=10)
    with pytest.raises(BadInputError, match="it is 2026-10-01T09:10:00Z already"):
        opened_at(home, utc=UTC_NOW)


def test_slides_are_remembered_after_each_run(tmp_path: Path) -> None:
    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    home.slid("Heron", None, 4, UTC_NOW)
    opened = opened_at(home, on_board=OnBoard(bag="Heron"))
    twin: Any = opened.twin
    opened.twin = twin_that(SLID, STAYED, SLID)
    opened.write_truth(tmp_path)
    opened.write_truth(tmp_path)
    assert Home(home.folder).slides_of("Heron", "slick") == 6
    assert twin.world.scenario.slides_before == 4


def test_an_open_twin_keeps_its_home_from_others(tmp_path: Path) -> None:
    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    with opened_at(home):
        with pytest.raises(BusyError, match="simulated rig"), opened_at(home):
            pass
        with pytest.raises(BusyError):
            Home(home.folder).wait(UTC_NOW + timedelta(hours=1))
    with opened_at(home):
        pass
    stale = opened_at(home)
    home.wait(UTC_NOW + timedelta(hours=1))
    with pytest.raises(BadInputError, match="has just changed"), stale:
        pass


def test_a_machine_that_does_not_open_leaves_the_home_to_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> None:
        raise BadInputError("no")

    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    monkeypatch.setattr("rig.control.machine.Machine.__enter__", fail)
    with pytest.raises(BadInputError, match="no"), opened_at(home):
        pass
    home.wait(UTC_NOW + timedelta(hours=1))


def test_bags_that_are_taken_one_after_another_keep_their_own_slides(tmp_path: Path) -> None:
    """As at the page, where one program makes the series of an evening."""
    home = new_home(tmp_path / "shed", seed=5, now=UTC_NOW)
    home.slid("Heron", "grip", 4, UTC_NOW)
    with opened_at(home) as opened:
        twin: Any = opened.twin
        opened.take_bag("Heron", "grip", "club board")
        assert twin.world.scenario.slides_before == 4
        heron = twin.world.scenario.face
        opened.twin = twin_that(SLID, STAYED, SLID, world=twin.world)
        opened.take_bag("Knot", "grip", "club board")
        assert twin.world.scenario.slides_before == 0
        assert twin.world.scenario.face != heron
        opened.twin = twin_that(SLID, STAYED, SLID, SLID, world=twin.world)
        assert Home(home.folder).state.slides == {"Heron": {"grip": 6}}
        opened.write_truth(tmp_path)
        opened.take_bag("Heron", "grip", "club board")
        assert twin.world.scenario.slides_before == 6
    assert Home(home.folder).state.slides == {"Heron": {"grip": 6}, "Knot": {"grip": 1}}


def test_a_twin_without_a_home_and_a_real_rig_take_no_bag(tmp_path: Path) -> None:
    opened, told = noted()
    assert opened.take_bag("Heron", "grip", None) == []
    assert told == []


SLID, STAYED = Made(onset_angle_deg=20.0), Made(onset_angle_deg=None)


def twin_that(*truths: Any, world: Any = None) -> Any:
    """A twin on whose board this has happened."""
    return Made(truths=[*truths], write_truth=lambda path: path, world=world)


def wait(opened: OpenRig, seconds: float) -> Task[None]:
    yield At(opened.machine.clock.time_s() + seconds)
