"""A whole study by a board that a person raises, alone: four bags, one treatment, two airs."""

import json
from pathlib import Path
from statistics import fmean

import pytest

from tests.commands.conftest import Rig

HAND = '[motion]\nraised_by = "hand"\n'
BAGS = ("Quay 1", "Quay 2", "Quay 3", "Quay 4")
MOST_SESSIONS = 3
TODAY = ("--temperature", "22", "--humidity", "50")


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_from_nothing_to_the_best_four_without_a_motor(
    rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The answer lies near the truth: 3 of 4 ranges hold it, and it is off by 0.6° in the mean."""

    def done(*words: str) -> str:
        said = rig(*words)
        assert said.code == 0, (words, said.err)
        return said.out

    done("twin", "new", "shed", "--seed", "11", "--at", "2026-06-01T18:00Z")
    monkeypatch.chdir(tmp_path / "shed")
    Path("rig.toml").write_text(HAND + "[cycle]\ndwell_s = 3.0\n", "utf-8")
    assert "no steps tell it" in done("level", "--twin", "--answers", "shown")
    new = ("study", "new", "club", "--runs", "2", "--rate", "2", "--start", "whole")
    done(*new, "--reference-runs", "0")
    done("study", "board", "club", "shed board")
    for name, air in (("dry day", ("21", "40")), ("damp day", ("22", "60"))):
        done("study", "climate", "club", name, "--temperature", air[0], "--humidity", air[1])
    done(
        "study", "treat", "club", "--recipe", "soft soak", "--step", "soak: agent=softener, time=45"
    )
    named = ("--set", "Quay", "--model", "Quay", "--face", "slick")
    for bag in BAGS[:3]:
        done("study", "bag", "club", bag, *named, "--treatment", "soft soak")
    done("study", "bag", "club", BAGS[3], *named, "--role", "control")
    done("study", "target", "club", "slick", "17.5")
    done("study", "plan", "club")

    def session() -> None:
        for name in ("dry day", "damp day"):
            done("twin", "wait", "20h")
            done("run", "--plan", "club", "--climate", name, "--twin")

    session()
    treated = [word for bag in BAGS[:3] for word in ("--bag", bag)]
    for _ in range(MOST_SESSIONS):
        said = rig("study", "treat", "club", *treated, "--recipe", "soft soak")
        if said.code == 0:
            break
        # Slides that were refused left a series short: it is made up for, as a person would.
        assert "The plan still wants" in said.err
        session()
    assert said.code == 0, said.err
    session()

    runs = [json.loads(path.read_text("utf-8").splitlines()[0]) for path in run_files()]
    assert {run["raised_by"] for run in runs} == {"hand"}
    answer = json.loads(done("answer", "club", *TODAY, "--json"))
    assert {one["recipe"] for one in answer["treatments"]} == {"soft soak"}
    assert answer["sentences"][0].startswith("Use Quay")
    assert len(json.loads(done("choose", "club", *TODAY, "--json"))["picks"]) >= 1
    truth = done("twin", "truth", "club", *TODAY, "--json")
    angles = json.loads(truth[truth.index("{") :])["angles"]
    held = sum(one["lower_deg"] <= one["true_angle_deg"] <= one["upper_deg"] for one in angles)
    off = fmean(abs(one["angle_deg"] - one["true_angle_deg"]) for one in angles)
    print(f"{held} of {len(angles)} ranges hold the truth; off by {off:.2f}° in the mean.")
    assert len(angles) == len(BAGS)
    assert held >= len(angles) - 1
    assert off < 0.6


def run_files() -> list[Path]:
    return sorted(Path("club/runs").rglob("*.run.jsonl"))


def test_a_study_with_quick_starts_is_refused_with_a_way_out(rig: Rig) -> None:
    Path("rig.toml").write_text(HAND, "utf-8")
    assert rig("study", "new", "club").code == 0
    assert rig("study", "board", "club", "ash").code == 0
    assert rig("study", "bag", "club", "Quay 1", "--set", "Quay", "--model", "Quay").code == 0
    said = rig("run", "--set", "Quay", "--twin", "--out", "club", "--board", "ash")
    assert said.code == 2
    assert 'put `raise_start = "whole"`' in said.err
    said = rig("run", "--quick", "--twin")
    assert said.code == 2
    assert "leave --quick out" in said.err


def test_a_run_with_a_rig_toml_of_ones_own(rig: Rig) -> None:
    """`rig run --twin` with `raised_by = "hand"`: nothing else differs for who types it."""
    Path("rig.toml").write_text(HAND + "[cycle]\ndwell_s = 2.0\n", "utf-8")
    said = rig("run", "--twin", "--seed", "6", "--now", "--json")
    assert said.code == 0, said.err
    (row,) = said.document["runs"]
    assert row["raised_by"] == "hand"
    assert row["method"] == "by hand 1 °/s"
    assert row["valid"]


def test_a_blade_and_a_hand_do_not_go_together(rig: Rig) -> None:
    blade = (
        "[blade]\nfitted = true\n[pins]\nblade_step = 13\nblade_direction = 19\nblade_enable = 21\n"
    )
    Path("rig.toml").write_text(HAND + blade, "utf-8")
    said = rig("settings")
    assert said.code == 2
    assert "works only on a board that a motor levels" in said.err
