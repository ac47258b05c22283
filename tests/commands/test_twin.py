"""`rig twin`, and what other commands do in a simulated rig's folder."""

import json
import os
from pathlib import Path
from typing import Any

import pytest

from rig.commands.level.prompts import RehearsingPerson, lines_of
from rig.commands.options import simulated
from rig.errors import BadInputError
from rig.twin.home import Home
from tests.commands.conftest import Rig

NEW = ("twin", "new", "shed", "--seed", "5", "--at", "2026-05-04T08:00Z")


@pytest.fixture
def shed(rig: Rig, tmp_path: Path) -> Home:
    assert rig(*NEW).code == 0
    os.chdir(tmp_path / "shed")
    return Home(tmp_path / "shed")


def test_a_home_is_made_once(rig: Rig) -> None:
    said = rig(*NEW)
    assert "seed 5; there it is 2026-05-04T08:00:00Z" in said.out
    assert rig(*NEW).code == 2
    assert rig("twin", "new", "other").code == 0
    assert rig("twin", "new", "another").code == 0
    seeds = {Home(Path(name)).seed for name in ("other", "another")}
    assert len(seeds) == 2
    wrong = rig("twin", "new", "third", "--law", "glue")
    assert wrong.code == 2
    assert "stribeck" in wrong.err


def test_without_a_home_one_is_asked_for(rig: Rig) -> None:
    said = rig("twin", "status")
    assert said.code == 2
    assert "`rig twin new DIR`" in said.err


def test_time_passes_for_all_commands(rig: Rig, shed: Home) -> None:
    assert "it is 2026-05-06T08:00:00Z" in rig("twin", "wait", "2d").out
    assert rig("study", "new", "club").code == 0
    rig("study", "bag", "club", "Quay 1", "--set", "Quay")
    rig("twin", "wait", "30min")
    assert rig("study", "play", "club", "--set", "Quay", "--throws", "40").code == 0
    line = json.loads((shed.folder / "club" / "journal.jsonl").read_text().splitlines()[-1])
    assert (line["at"], line["written_at"]) == ("2026-05-06T08:30:00Z",) * 2
    status = rig("twin", "status", "--json").document
    assert status["now"] == "2026-05-06T08:30:00Z"
    assert status["bags"] == {"Quay 1": {"slides": {}, "recipes": [], "throws": 40}}
    text = rig("twin", "status").out
    assert "as an ideal level leaves it" in text
    assert "Quay 1  none    none        40" in text
    assert rig("twin", "wait", "-1h").code == 2


def test_air_is_kept_and_let_go(rig: Rig, shed: Home) -> None:
    today = rig("twin", "air").out
    kept = rig("twin", "air", "--temperature", "30", "--humidity", "72").out
    assert kept != today
    assert Home(shed.folder).state.air is not None
    assert rig("twin", "air", "--temperature", "30").code == 2
    assert rig("twin", "air", "--follow").out == today


def test_the_air_of_a_study_is_that_of_its_home_from_anywhere(
    rig: Rig, shed: Home, tmp_path: Path
) -> None:
    rig("study", "new", "club")
    rig("twin", "air", "--temperature", "30", "--humidity", "72")
    os.chdir(tmp_path)
    said = rig("choose", "shed/club", "--twin")
    assert "Air by the rig's sensor: 30." in said.err
    assert "has the seed" not in said.err


def test_a_rig_at_home_has_its_own_seed_and_settings(shed: Home, tmp_path: Path) -> None:
    found = simulated(True, None, None)
    assert found == (None, shed.folder, shed.settings_file)
    mine = tmp_path / "mine.toml"
    assert simulated(True, None, mine).rig == mine
    assert simulated(False, None, None) == (None, None, None)
    with pytest.raises(BadInputError, match="a seed of its own"):
        simulated(True, 3, None)


def test_a_rig_without_a_home_is_another_each_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    seeds = {simulated(True, None, None).seed for _ in range(5)}
    assert len(seeds) > 1
    assert f"--seed {seeds.pop()} " in capsys.readouterr().err
    assert simulated(True, 3, None) == (3, None, None)
    assert capsys.readouterr().err == ""


class Shown:
    """A level that shows the same wherever it lies."""

    def __init__(self) -> None:
        self.done: list[Any] = []

    def level_deg(self, where: str, turned: bool) -> float:
        return -0.25

    def bubble_deg(self, bar: Any, point: Any, steps_deg: float) -> float:
        return 0.31

    def shown_deg(self, point: Any, steps_deg: float) -> float:
        return 20.4

    def position(self, way: str) -> None:
        self.done.append(way)

    def screw_on(self) -> None:
        self.done.append("screwed on")

    def warmed(self, first_c: float) -> None:
        self.done.append("warmed")


def rehearsing(tmp_path: Path, *answers: str) -> tuple[RehearsingPerson, Any]:
    file = tmp_path / "answers.txt"
    file.write_text("\n".join(answers))
    shown: Any = Shown()
    return RehearsingPerson(shown, "deg", False, lines_of(file)), shown


def test_what_a_person_types_counts_and_not_what_the_level_shows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    point: Any = type("Point", (), {"turned": False})
    bar: Any = type("Bar", (), {"length_mm": 127.0, "height_mm": 40.0})
    person, shown = rehearsing(tmp_path, "0.3", "n", "0.2", "20.5", "", "", "", "r")
    assert person.level_deg("along", False) == -0.3
    assert person.bubble_deg(bar, point, 20.0) == 0.2
    assert person.shown_deg(point, 20.0) == 20.5
    person.position("+x")
    person.screw_on()
    person.warmed(22.0)
    assert shown.done == ["+x", "screwed on", "warmed"]
    assert person.go_on("zero", "fine") == "redo"
    said = capsys.readouterr().err
    assert "shows 0.25 deg, the uphill end lower" in said
    assert "is centred after +0.31°" in said
    assert "shows 20.40" in said


def test_answers_that_end_too_early_are_told_where(tmp_path: Path) -> None:
    person, _ = rehearsing(tmp_path, "0.3")
    with pytest.raises(BadInputError, match="no line left for the question: Is the uphill end"):
        person.level_deg("along", False)
    with pytest.raises(BadInputError, match="can't be read"):
        lines_of(tmp_path / "none.txt")


def test_answers_are_for_the_simulated_rig(rig: Rig) -> None:
    Path("answers.txt").write_text("0.3\n")
    said = rig("level", "--twin", "--seed", "5", "--answers", "answers.txt")
    assert said.code == 2
    assert "answers.txt has no line left" in said.err
    real = rig("level", "--answers", "answers.txt")
    assert real.code == 2
