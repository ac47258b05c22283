"""`rig answer`, `compare`, `choose`, `sheet` and `study power` on one evening read by hand."""

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from rig.commands import asking
from tests.commands.conftest import Rig
from tests.study.answer.evening import evening
from tests.study.folder_example import add_run, make_study

AIR = ["--temperature", "22 C", "--humidity", "50"]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three treated bags and a control."""
    return evening(tmp_path_factory.mktemp("made") / "club", faces=("grip",)).path


@pytest.fixture
def club(made: Path, tmp_path: Path, rig: Rig) -> str:
    """A copy of its own, with the draws that were made before."""
    if not (made / ".rig-results").exists():
        rig("answer", str(made))
    return str(shutil.copytree(made, tmp_path / "club"))


@pytest.fixture
def sensed(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Air that the rig's sensor reads, and how it was asked."""
    noted: list[Any] = []

    def read(*how: Any) -> tuple[float, float]:
        noted.append(how)
        return 21.26, 48.4

    monkeypatch.setattr(asking, "live_air", read)
    return noted


def test_the_answer_in_25_lines_of_80_columns(rig: Rig, club: str) -> None:
    said = rig("answer", club)
    lines = said.out.splitlines()
    assert said.code == 0
    assert len(lines) <= 25
    assert max(map(len, lines)) <= 80
    assert lines[0] == "Quay club · 2026-06-02 · 22 °C, 52 %RH"
    assert lines[1].startswith("Use Quay")
    assert any(line.startswith("Soak lowers the grip face by") for line in lines)


def test_all_commands_give_the_same_figures(rig: Rig, club: str) -> None:
    """One question, one number, whichever way it is asked."""
    whole = rig("answer", club, *AIR, "--json").document
    choice = rig("choose", club, *AIR, "--json").document
    for key in ("picks", "bags", "best_four", "sets", "targets", "air"):
        assert choice[key] == whole[key], key
    compared = rig("compare", club, "--json").document
    for key in ("treatments", "weather", "scatter", "boards"):
        assert compared[key] == whole[key], key
    best = whole["picks"][0]
    angle, ends = f"{best['angle_deg']:.1f}°", f"{best['lower_deg']:.1f} to {best['upper_deg']:.1f}"
    for words in (
        rig("answer", club, *AIR).out,
        rig("choose", club, *AIR).out,
        rig("sheet", club, *AIR, "--text").out,
    ):
        assert f"Use {best['bag']}, {best['face']}: {angle} ({ends})" in words
    assert rig("sheet", club, *AIR).code == 0
    page = Path(club, "report", "sheet.html").read_text("utf-8")
    assert f"should slide at {angle}</span> ({ends}°)" in page
    (effect,) = whole["treatments"]
    change = f"{abs(effect['effect_deg']):.1f}°"
    assert f"Soak lowers the grip face by {change}" in rig("answer", club).out
    assert f"−{change[:-1]}" in rig("compare", club).out


def test_a_typed_angle_coefficient_or_bag_is_the_target(rig: Rig, club: str) -> None:
    def target(*words: str) -> Any:
        return rig("choose", club, *AIR, *words, "--json").document["targets"][0]

    assert target("--angle", "21,5", "--tolerance", "0.8") == {
        "face": "grip",
        "angle_deg": 21.5,
        "tolerance_deg": 0.8,
    }
    assert target("--mu", "0.4")["angle_deg"] == pytest.approx(21.80, abs=0.01)  # atan 0.4
    whole = rig("answer", club, *AIR, "--json").document
    angles = {one["bag"]: one["angle_deg"] for one in whole["bags"]}
    liked = rig("choose", club, *AIR, "--like", "Quay 2/grip", "--json").document
    assert liked["targets"][0]["angle_deg"] == pytest.approx(angles["Quay 2"], abs=0.01)
    assert liked["picks"][0] | {"p_within": 1.0} == liked["picks"][0]
    assert liked["picks"][0]["bag"] == "Quay 2"


def test_readings_of_the_day_shift_the_whole_list(rig: Rig, club: str) -> None:
    before = rig("choose", club, *AIR, "--board", "venue", "--json")
    assert "venue is a new board" in before.err
    angles = {one["bag"]: one for one in before.document["bags"]}
    high = f"{angles['Quay 1']['angle_deg'] + 1.5:.1f}"
    reading = ["--reading", f"Quay 1/grip={high},{high},{high}", "--reader", "Ada"]
    after = rig("choose", club, *AIR, "--board", "venue", *reading, "--json").document
    for one in after["bags"]:
        old = angles[one["bag"]]
        assert 0.4 < one["angle_deg"] - old["angle_deg"] < 1.5
        width = one["upper_deg"] - one["lower_deg"]
        assert width < old["upper_deg"] - old["lower_deg"]
    assert "today" not in Path(club, "journal.jsonl").read_text("utf-8")


@pytest.mark.parametrize("command", ["choose", "sheet"])
def test_without_typed_air_the_rig_is_asked(
    rig: Rig, club: str, sensed: list[Any], command: str
) -> None:
    said = rig(command, club, "--twin", "--seed", "3")
    assert said.code == 0
    assert said.err.startswith("Air by the rig's sensor: 21.3 °C, 48 %RH.\n")
    assert sensed == [(Path(club), None, True, 3)]
    us = rig(command, club, "--twin", "--units", "us")
    assert us.err.startswith("Air by the rig's sensor: 70.3 °F, 48 %RH.\n")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--temperature", "22"], "Give both of the day's air"),
        (["--humidity", "50"], "Give both of the day's air"),
        (["--temperature", "22", "--humidity", "150"], "--humidity must lie between 0 and 100 %"),
        (["--temperature", "-21", "--humidity", "50"], "--temperature must lie between -20 and 50"),
        ([*AIR, "--board-temperature", "81"], "--board-temperature must lie between -20 and 80"),
        ([*AIR, "--angle", "20", "--mu", "0.4"], "Give one of --angle, --mu and --like"),
        ([*AIR, "--angle", "80"], "--angle must lie between 1 and 59"),
        ([*AIR, "--like", "Quay 1"], "names no bag to be like"),
        ([*AIR, "--like", "Quay 9/grip"], "has no slide that counts"),
        ([*AIR, "--reading", "Quay 1=3"], "is not a reading"),
        ([*AIR, "--reading", "Quay 9/grip=20"], "The study knows no bag 'Quay 9'"),
        ([*AIR, "--approach", "rain"], "--approach takes `dry` or `damp`"),
        ([*AIR, "--tolerance", "0"], "--tolerance must lie between"),
        ([*AIR, "--board", "ashe"], "did you mean 'ash'"),
    ],
)
def test_what_was_typed_wrong_is_one_sentence(
    rig: Rig, club: str, sensed: list[Any], words: Sequence[str], sentence: str
) -> None:
    said = rig("choose", club, *words)
    assert (said.code, said.out) == (2, "")
    assert sentence in said.err
    assert said.err.count("\n") <= 2


def test_bags_from_damp_air_are_asked_for_by_either_word(rig: Rig, club: str) -> None:
    damp = rig("choose", club, *AIR, "--approach", "damp", "--json").document
    assert rig("choose", club, *AIR, "--from", "damp", "--json").document == damp
    assert damp["bags"] != rig("choose", club, *AIR, "--json").document["bags"]


def test_a_sunlit_board_is_drier(rig: Rig, club: str) -> None:
    sun = rig("choose", club, *AIR, "--board-temperature", "113F", "--json")
    assert sun.document["air"]["surface_humidity_pct"] == pytest.approx(13.8, abs=0.5)
    assert "45 °C (113F as typed)" in sun.err


def test_the_sheet_is_a_file_or_text(rig: Rig, club: str) -> None:
    said = rig("sheet", club, *AIR, "--paper", "letter", "--units", "us")
    path = Path(club, "report", "sheet.html")
    assert said.err.endswith(f"The sheet is {path}; print it on letter, both sides.\n")
    page = path.read_text("utf-8")
    assert "size: letter" in page
    assert "72 °F" in page
    assert "in</td>" in page
    assert " mm" not in page
    assert "on a board of 47.99 in" in page
    assert "SIMULATED" not in page
    text = rig("sheet", club, *AIR, "--text")
    assert "Take the median of the three. Between 22.5° and 23.5°: use Quay" in text.out
    assert rig("sheet", club, *AIR, "--out", "a/b/one.html").code == 0
    assert Path("a/b/one.html").exists()
    Path(club).with_name("twin.json").write_text('{"now": "2031-02-03T12:00:00Z"}')
    assert rig("sheet", club, *AIR).code == 0
    assert "Printed 2031-02-03;" in path.read_text("utf-8"), "by the simulated rig's clock"
    refused = rig("sheet", club, *AIR, "--paper", "A5")
    assert (refused.code, "`A4` or `letter`" in refused.err) == (2, True)
    refused = rig("sheet", club, *AIR, "--out", "/proc/x/sheet.html")
    assert (refused.code, "name another place with --out" in refused.err) == (2, True)


def test_targets_are_set_and_changed_without_an_editor(rig: Rig, club: str) -> None:
    path = Path(club, "study.toml")
    before = path.read_text("utf-8")
    assert rig("study", "target", club, "grip", "21,5", "--tolerance", "1").code == 0
    after = path.read_text("utf-8")
    kept = [line for line in before.splitlines() if "angle_deg = 23" not in line]
    assert [line for line in kept if line not in after.splitlines()] == []
    targets = rig("answer", club, "--json").document["targets"]
    assert targets[0] == {"face": "grip", "angle_deg": 21.5, "tolerance_deg": 1.0}
    for words, sentence in (
        (("smooth", "21"), "a face that no bag has"),
        (("grip", "75"), "must lie between 1 and 59"),
    ):
        refused = rig("study", "target", club, *words)
        assert (refused.code, sentence in refused.err) == (2, True)
    assert path.read_text("utf-8") == after


def test_play_is_noted_for_a_set_and_breaks_bags_in(rig: Rig, club: str) -> None:
    bags = rig("answer", club, "--json").document["bags"]
    assert all(one["throws_to_target"] is None for one in bags)
    said = rig("study", "play", club, "--set", "Quay", "--throws", "200")
    assert said.out.count("play of Quay") == 4
    played = rig("answer", club, "--json").document["bags"]
    assert all(one["throws_to_target"] is not None for one in played)
    assert all(0.0 <= one["throws_to_target"]["p_ever"] <= 1.0 for one in played)
    nobody = rig("study", "play", club, "--throws", "20")
    assert (nobody.code, "--bag or --set" in nobody.err) == (2, True)
    nobody = rig("study", "play", club, "--set", "Quai", "--throws", "20")
    assert (nobody.code, "did you mean 'Quay'" in nobody.err) == (2, True)


def test_power_of_the_study_and_of_what_is_typed(rig: Rig, club: str) -> None:
    document = rig("study", "power", club, "--json").document
    assert document["trial"] == {
        "treated": 3,
        "controls": 1,
        "sessions": 1,
        "series": 1,
        "slides": 3,
    }
    assert document["scatter_from"] == "of this study"
    assert 0.5 < document["half_width_deg"] < 1.5
    more = rig("study", "power", club, "--bags", "12", "--controls", "12", "--json").document
    assert more["half_width_deg"] < 0.7 * document["half_width_deg"]
    assert more["power"] > document["power"]
    said = rig("study", "power", "--bags", "1", "--controls", "0", "--runs", "1", "--series", "1")
    assert "1 bag of a treatment and 0 controls" in said.out
    assert "expected, not measured" in said.out


def test_an_empty_study_has_no_answer_yet(rig: Rig) -> None:
    assert rig("study", "new", "empty").code == 0
    for words in (["answer"], ["compare"], ["choose"], ["sheet"]):
        said = rig(*words, "empty", *(AIR if words[0] in ("choose", "sheet") else []))
        assert said.code == 2
        assert "no slide that counts yet" in said.err


@pytest.mark.parametrize("command", ["answer", "choose", "sheet", "compare"])
def test_a_run_that_was_cut_off_is_told(rig: Rig, tmp_path: Path, command: str) -> None:
    study = make_study(tmp_path / "shed")
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    cut = add_run(study, "T2", "2026-05-01T08:01:00Z", outcome=None)
    said = rig(command, str(study.path), *([] if command == "compare" else AIR))
    assert said.code == 0
    assert f"{cut.name} has no last line: it was cut off in state" in said.err
