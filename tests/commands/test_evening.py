"""An evening with the twin: four bags, both faces, before and after, in few commands."""

from pathlib import Path

import pytest

from tests.commands.conftest import Rig

BAGS = ["Quay 1", "Quay 2", "Quay 3", "Quay 4"]
SOAK = ["--recipe", "soak", "--step", "soak: agent=softener, temperature=30, time=45"]


@pytest.mark.long
def test_before_and_after_in_eight_commands(rig: Rig) -> None:
    """From nothing to an answer; the rig's own two are one for before and one for after."""
    before, after = "2026-03-02T18:00Z", "2026-03-03T18:00Z"
    evening = ["--twin", "--now", "--out", "club", "--repeat", "2", "--rate", "2"]
    told = [
        rig("study", "new", "club"),
        rig("study", "board", "club", "ash"),
        rig("study", "bag", "club", *BAGS, "--set", "Quay", "--model", "Quay"),
        rig("run", "--set", "Quay", *evening, "--at", before),
        rig("study", "treat", "club", "--set", "Quay", *SOAK, "--at", "2026-03-03T08:00Z"),
        rig("run", "--set", "Quay", *evening, "--at", after),
        rig("study", "target", "club", "grip", "24"),
        rig("answer", "club"),
    ]
    assert len(told) <= 8
    assert [said.code for said in told] == [0] * len(told), [said.err for said in told]
    assert told[3].out.count("Put on") == 8
    assert told[4].out.count("treatment of Quay") == 4
    answer = rig("answer", "club", "--json").document
    assert {(one["bag"], one["face"]) for one in answer["bags"]} == {
        (bag, face) for bag in BAGS for face in ("slick", "grip")
    }
    assert {one["recipe"] for one in answer["treatments"]} == {"soak"}
    assert answer["sentences"][0].startswith("Use Quay")


@pytest.fixture
def club(rig: Rig) -> Path:
    """A study of two bags on no board yet."""
    assert rig("study", "new", "club").code == 0
    words = ["study", "bag", "club", "Quay 1", "Quay 2", "--set", "Quay", "--face", "grip"]
    assert rig(*words).code == 0
    return Path("club")


def test_which_study_set_and_board_are_meant(rig: Rig, club: Path, tmp_path: Path) -> None:
    nowhere = rig("run", "--set", "Quay", "--twin", "--out", str(tmp_path / "elsewhere"))
    assert (nowhere.code, "needs a study" in nowhere.err) == (2, True)
    words = ["run", "--twin", "--out", str(club)]
    assert "no board" not in rig(*words, "--set", "Quay").out
    assert "add one with `rig study board`" in rig(*words, "--set", "Quay").err
    for board in ("ash", "oak"):
        rig("study", "board", str(club), board)
    assert "Name the board with --board" in rig(*words, "--set", "Quay").err
    assert "did you mean 'Quay'" in rig(*words, "--set", "Quaj", "--board", "ash").err
    both = rig(*words, "--set", "Quay", "--board", "ash", "--plan", str(club))
    assert both.code == 2


def test_controls_of_a_set_are_not_treated(rig: Rig, club: Path) -> None:
    words = ["study", "bag", str(club), "Quay 3", "--set", "Quay", "--role", "control"]
    assert rig(*words).code == 0
    said = rig("study", "treat", str(club), "--set", "Quay", *SOAK, "--without-baseline")
    assert said.code == 0, said.err
    assert "Quay 3" not in said.out
    assert said.out.count("treatment of Quay") == 2
    assert '[treatments."soak"]' in (club / "study.toml").read_text("utf-8")
    again = rig("study", "treat", str(club), "--bag", "Quay 1", "--recipe", "wash")
    assert (again.code, "no treatment 'wash'" in again.err) == (2, True)
