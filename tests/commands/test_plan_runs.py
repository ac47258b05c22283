"""`rig run --plan`: the next session of a plan, on the twin."""

import csv
import json
import re
from pathlib import Path

import pytest

from rig.study.folder.study import open_study
from rig.study.plan.progress import progress
from rig.study.plan.rows import read_plan
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table
from tests.commands.conftest import Rig


def slides_of(folder: Path) -> list[Slide]:
    return slide_table(open_study(folder)).of_rig


@pytest.fixture
def club(rig: Rig) -> Path:
    """A study of two bags, one climate, one run a series, with its plan."""
    for words in (
        ["study", "new", "club", "--runs", "1"],
        ["study", "board", "club", "shed board"],
        ["study", "climate", "club", "cold dry", "--temperature", "16:2", "--humidity", "32:6"],
        ["study", "treat", "club", "--recipe", "soak", "--step", "soak: time=45"],
        ["study", "bag", "club", "Heron 1", "--treatment", "soak", "--face", "slick"],
        ["study", "bag", "club", "Knot 1", "--role", "control", "--face", "slick"],
    ):
        said = rig(*words)
        assert said.code == 0, said.err
    # A plan as short as can be: without a reference bag and with one control.
    text = Path("club/study.toml").read_text("utf-8")
    short = {"reference_runs": 0, "min_controls": 1, "rate_deg_s": 2.0, "check_runs": 0}
    for key, value in short.items():
        text, n = re.subn(rf"(?m)^{key} = [\d.]+$", f"{key} = {value}", text)
        assert n == 1
    Path("club/study.toml").write_text(text, "utf-8")
    said = rig("study", "plan", "club")
    assert said.code == 0, said.err
    return Path("club")


def test_a_session_is_made_as_the_plan_says_and_then_the_treatment_is_asked_for(
    rig: Rig, club: Path
) -> None:
    rows = list(csv.DictReader((club / "plan.csv").read_text("utf-8").splitlines()))
    wanted = [(r["row"], r["bag"], r["face"]) for r in rows if r["stage"] == "baseline"]
    said = rig(*"run --plan club --twin --at 2026-03-02T08:00Z --json".split())
    assert said.code == 0, said.err
    made = [(run["series"], run["bag"], run["face"]) for run in said.document["runs"]]
    assert sorted(set(made)) == sorted(row for row in wanted if row[1])
    # A new study has quick starts: one uncounted raise before the planned one of each series.
    assert [(run["method"], run["valid"]) for run in said.document["runs"]] == [
        ("whole 1.5 °/s", False),
        ("quick 2 °/s", True),
    ] * 2
    assert {run["treatment_stage"] for run in said.document["runs"]} == {"baseline"}
    assert all(
        run["temperature_c"] == pytest.approx(16.0, abs=1.5) for run in said.document["runs"]
    )

    refused = rig(*"run --plan club --twin".split())
    assert refused.code == 2
    assert "rig study treat" in refused.err
    assert "Heron 1" in refused.err

    at = "2026-03-02T12:00Z"
    rig("study", "treat", "club", "--bag", "Heron 1", "--recipe", "soak", "--at", at)
    after = rig(*"run --plan club --twin --at 2026-03-03T08:00Z --json".split())
    assert after.code == 0, after.err
    assert {run["treatment_stage"] for run in after.document["runs"]} == {"after 1"}
    assert "nothing is left" in rig(*"run --plan club --twin".split()).err


def test_a_series_that_has_enough_is_not_asked_for_again(rig: Rig, club: Path) -> None:
    path = club / "plan.csv"
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    for row in rows:
        row["runs"] = "4" if row["runs"] == "1" else row["runs"]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    words = "run --plan club --twin --at 2026-03-02T08:00Z --until 5 --least 2 --repeat 6 --json"
    said = rig(*words.split())
    assert said.code == 0, said.err
    valid = [run["series"] for run in said.document["runs"] if run["valid"]]
    wanted = [row["row"] for row in rows if row["stage"] == "baseline" and row["bag"]]
    assert sorted(valid) == sorted(wanted * 2)
    assert "scatter of slides alone) after 2 runs; ±5° was asked for" in said.err
    refused = rig(*"run --plan club --twin".split())
    assert refused.code == 2
    assert "rig study treat" in refused.err
    # Of the four planned runs two are left if the note is withdrawn.
    notes = [json.loads(line) for line in (club / "journal.jsonl").read_text("utf-8").splitlines()]
    enough = [note for note in notes if note["kind"] == "enough"]
    assert sorted(note["series"] for note in enough) == sorted(wanted)
    gone = rig("study", "withdraw", "club", str(enough[0]["line"]), "--why", "more")
    assert gone.code == 0, gone.err
    found = progress(open_study(club), read_plan(open_study(club)), slides_of(club))
    assert found.runs_left[enough[0]["series"]] == 2


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("run --plan nowhere --twin", "nowhere"),
        ("run --plan club --twin --bag X", "--plan"),
        ("run --plan club --twin --quick", "raise_start"),
        ("run --plan club --twin --purpose check", "raise_start"),
        ("run --plan club --twin --climate tropical", "tropical"),
        ("run --plan club --twin --at someday", "someday"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(
    rig: Rig, club: Path, words: str, sentence: str
) -> None:
    said = rig(*words.split())
    assert said.code == 2
    assert sentence in said.err


def test_a_planned_check_is_made_with_the_bag_as_it_lies(rig: Rig, club: Path) -> None:
    text = (club / "study.toml").read_text("utf-8")
    for key, value in (("check_runs", 2), ("rate_deg_s", 0.5)):
        text, n = re.subn(rf"(?m)^{key} = [\d.]+$", f"{key} = {value}", text)
        assert n == 1
    (club / "study.toml").write_text(text, "utf-8")
    assert rig("study", "plan", "club", "--replace").code == 0
    said = rig(*"run --plan club --twin --at 2026-03-02T08:00Z --json".split())
    assert said.code == 0, said.err
    checks = [run for run in said.document["runs"] if run["purpose"] == "check"]
    assert [run["method"] for run in checks] == ["whole 1.5 °/s", "quick 1 °/s", "quick 1 °/s"]
    assert [run["valid"] for run in checks] == [False, True, True]
    level = [run for run in said.document["runs"] if run["purpose"] is None and run["valid"]]
    assert {run["method"] for run in level} == {"quick 0.5 °/s"}
    assert len(level) == 2
    assert sum(group["n_runs"] for group in said.document["groups"]) == 2


def test_a_rate_of_the_study_that_the_pulses_cannot_make_is_refused(rig: Rig, club: Path) -> None:
    path = club / "study.toml"
    text = path.read_text("utf-8")
    path.write_text(text.replace("rate_deg_s = 2.0", "rate_deg_s = 2.8"), "utf-8")
    said = rig(*"run --plan club --twin".split())
    assert said.code == 2
    assert "club/study.toml is 2.8 °/s" in said.err
    assert not (club / "runs").exists() or not list((club / "runs").rglob("*.run.jsonl"))


def test_a_session_waits_for_the_planned_air_and_says_so(rig: Rig, club: Path) -> None:
    """The room is nearly at 16 °C; a band of 0.01 %RH about the planned 32 is never met."""
    path = club / "study.toml"
    text = path.read_text("utf-8")
    path.write_text(
        text.replace("humidity_tolerance_pct = 6.0", "humidity_tolerance_pct = 0.01"), "utf-8"
    )
    assert "humidity_tolerance_pct = 0.01" in path.read_text("utf-8")
    words = "run --plan club --twin --at 2026-03-02T08:00Z --climate-timeout 3".split()
    said = rig(*words)
    assert said.code != 0
    assert "The air did not come to where it should be within 3 min" in said.err
    assert "wanted 32 ± 0.01" in said.err
    # Air that a person types takes the place of the plan's.
    typed = rig(*words, "--humidity", "32:6", "--steady", "1")
    assert typed.code == 0, typed.err
