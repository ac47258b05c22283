"""`rig level` and what hangs below it: what is handed on, where files lie, what is printed."""

from collections.abc import Generator
from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import pytest

from rig.calibration.file import load_calibration, save_calibration
from rig.calibration.history import HomeRecord
from rig.calibration.home import HomeCheck
from rig.commands.level import level as levelling
from rig.commands.level.prompts import PromptingPerson
from rig.procedures.level.person import FilePerson
from tests.calibration.example import calibration
from tests.commands.conftest import Rig
from tests.commands.stand_in import Opened

CAUTION = "Caution: the board will move"
READINGS = """
reference = "digital"
stated_error_deg = 0.3
[zero]
along = [-0.25, -0.25]
across = [0.25, 0.25]
""" + "".join(
    f'[[span]]\nangle_deg = {angle}\ndirection = "{way}"\nshown = {angle}\n'
    for way, angle in (("up", 12), ("up", 22), ("up", 34), ("down", 33), ("down", 20), ("down", 10))
)


class Levelled(Opened):
    """A rig with or without somebody who reads its level."""

    def __init__(self) -> None:
        super().__init__()
        self.person: Any = "the twin's"
        self.beside = 0

    def level_person(self, seed: int) -> Any:
        return self.person and (self.person, seed)

    def run(self, task: Any, beside: Any = (), *, presses: bool = True) -> Any:
        self.beside = len(beside)
        return super().run(task)


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Levelled:
    made = Levelled()
    monkeypatch.setattr("rig.opening.open_rig", made)
    return made


@pytest.fixture
def led(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    noted: dict[str, Any] = {}

    def run() -> Generator[Any, None, Any]:
        yield None
        return Path("found.json"), calibration()

    def procedure(machine: Any, person: Any, plan: Any, folder: Path, **how: Any) -> Any:
        noted.update(how, person=person, plan=plan, folder=folder)
        return Made(run=run)

    # First the one that is made from it, which must find it whole.
    monkeypatch.setattr("rig.procedures.level.by_hand.HandLevelProcedure", procedure)
    monkeypatch.setattr("rig.procedures.level.level.LevelProcedure", procedure)
    return noted


def test_a_calibration_on_the_twin(rig: Rig, opened: Levelled, led: dict[str, Any]) -> None:
    said = rig("level", "--twin", "--seed", "4")
    assert (said.code, said.err) == (0, "Saved found.json.\n")
    assert "22.0 °C" in said.out
    assert led["person"] == ("the twin's", 4)
    assert led["folder"] == Path("twin-calibration/seed-4"), "apart, so that no rig takes it"
    assert (led["fresh"], led["redo"]) == (False, None)
    plan = led["plan"]
    assert not plan.six
    assert not plan.second_temperature
    assert opened.beside == 1, "somebody says what the machine waits for"
    document = rig("level", "--twin", "--json").document
    assert document["calibration_file"] == "found.json"
    assert document["counts_per_g"] == 16393.0


def test_what_a_calibration_is_asked_for(rig: Rig, opened: Levelled, led: dict[str, Any]) -> None:
    words = "--digital 0.2 --six --redo zero --fresh --out there"
    assert rig("level", "--twin", *words.split()).code == 0
    plan = led["plan"]
    assert (plan.reference, plan.stated_error_deg, plan.six) == ("digital", 0.2, True)
    assert not plan.second_temperature
    assert (led["fresh"], led["redo"], led["folder"]) == (True, "zero", Path("there"))
    rig("level", "--twin", "--bar", "127", "--second-temperature")
    plan = led["plan"]
    assert (plan.reference, plan.bar_length_mm, plan.six) == ("sine-bar", 127.0, False)
    assert plan.second_temperature
    Path("r.toml").write_text(READINGS)
    assert rig("level", "--twin", "--readings", "r.toml", "--across").code == 0
    plan = led["plan"]
    assert isinstance(led["person"], FilePerson)
    assert (plan.stated_error_deg, plan.six, plan.second_temperature) == (0.3, False, False)
    wrong = rig("level", "--twin", "--unit", "furlong")
    assert wrong.code == 2


@pytest.mark.parametrize("across", [True, False])
def test_on_a_real_rig_a_person_is_asked_and_warned(
    rig: Rig, opened: Levelled, led: dict[str, Any], across: bool
) -> None:
    opened.person = None
    Path("etc").mkdir()
    Path("etc/my.toml").write_text("")
    words = ["--across"] if across else []
    said = rig("level", "--rig", "etc/my.toml", "--unit", "mm/m", *words)
    assert CAUTION in said.err
    person = led["person"]
    assert isinstance(person, PromptingPerson)
    assert (person._unit, person._ask_across) == ("mm/m", across)  # noqa: SLF001
    assert led["folder"] == Path("etc/calibration")


def test_what_the_machine_waits_for_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    opened: Any = Opened()
    machine = opened.machine
    machine.step_angle_deg = lambda: 12.345
    task = levelling._tell(opened)  # noqa: SLF001
    assert next(task).time_s == 0.2
    for wants in ("Press start.", "Press start.", "", "Press start.", "Read the level."):
        machine.live.wants = wants
        next(task)
    said = capsys.readouterr().err.splitlines()
    assert said == [
        " 12.35° by steps  Press start.",
        " 12.35° by steps  Press start.",
        " 12.35° by steps  Read the level.",
    ]


def test_the_calibration_in_force_is_shown(rig: Rig) -> None:
    assert "There is no calibration in calibration; make one" in rig("level", "show").err
    for folder, day in (("calibration", 1), ("calibration", 2), ("kept", 3), ("other", 4)):
        Path(folder).mkdir(exist_ok=True)
        given = calibration(made_at=f"2026-10-0{day}T08:00:00Z")
        save_calibration(Path(folder) / f"{day}.json", given)

    def shown(*words: str) -> str:
        return str(rig("level", "show", *words, "--json").document["calibration_file"])

    assert shown() == "calibration/2.json", "the newest"
    assert shown("calibration/1.json") == "calibration/1.json"
    assert shown("--out", "other") == "other/4.json"
    Path("rig.toml").write_text('[files]\ncalibration = "kept/3.json"\n')
    assert shown() == "kept/3.json", "the one that the settings name"
    assert shown("--out", "other") == "other/4.json"
    said = rig("level", "show")
    assert said.out.startswith("kept/3.json\n\n")
    assert "2026-10-03" in said.out
    assert load_calibration(Path("kept/3.json")).made_at.startswith("2026-10-03")


def test_home_readings_are_charted_in_words_or_as_a_document(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []
    records = [HomeRecord(f"2026-10-0{d}T08:00:00Z", d, 0.01, -0.02) for d in (2, 3, 4)]

    def home_readings(paths: Any) -> Any:
        asked.append(paths)
        return []

    made_at = "2026-10-01T08:00:00Z"
    monkeypatch.setattr("rig.study.slides.analysed.home_readings", home_readings)
    monkeypatch.setattr("rig.analysis.home.home_records", lambda _: (made_at, records))
    said = rig("level", "history", "a", "b")
    assert said.code == 0
    assert "2026-10-01" in said.out
    assert asked == [[Path("a"), Path("b")]]
    document = rig("level", "history", "--json").document
    assert asked[1] == [Path("runs")]
    assert document["calibration_made_at"] == "2026-10-01T08:00:00Z"
    assert [row["day"] for row in document["home"]] == [2, 3, 4]
    assert document["trend"]["n"] == 3
    records.clear()
    said = rig("level", "history", "a")
    assert (said.code, said.out) == (2, "")
    assert "No run there has a home reading" in said.err


@pytest.mark.parametrize("twin", [True, False])
def test_a_level_laid_on_at_home(
    rig: Rig, opened: Levelled, monkeypatch: pytest.MonkeyPatch, twin: bool
) -> None:
    noted: list[Any] = []
    found = HomeCheck(
        checked_at="2026-10-02T08:00:00Z",
        calibration_made_at="2026-10-01T08:00:00Z",
        sensor_along_deg=0.1,
        sensor_across_deg=0.0,
        level_along_deg=0.123,
        level_across_deg=-0.456,
        u_level_deg=0.05,
    )

    def level_check(machine: Any, *given: Any) -> Generator[Any, None, Any]:
        noted.extend(given)
        yield None
        return found

    monkeypatch.setattr("rig.procedures.level.check.level_check", level_check)
    words = ["--twin"] if twin else []
    if not twin:
        opened.person = None
    said = rig("level", "check", *words)
    assert "says +0.12° along and -0.46° across" in said.out
    assert (CAUTION in said.err) is not twin
    person, folder, resolution = noted
    assert isinstance(person, PromptingPerson) is not twin
    assert getattr(person, "_ask_across", False) is False
    assert folder == Path("twin-calibration/seed-1" if twin else "calibration")
    assert resolution == 0.05
    document = rig("level", "check", *words, "--json", "--resolution", "0.2").document
    assert noted[-1] == 0.2
    assert document["level_along_deg"] == 0.123
