"""Lifts with a phone, measured again by commands."""

from pathlib import Path

import msgspec
import pytest

from rig.study.folder.journal import ByPhone, Reading
from rig.study.folder.study import open_study
from rig.study.phone.lift import measure
from rig.study.phone.trace import Trace
from tests.commands.conftest import Rig
from tests.panel.study.club import make_club
from tests.study.folder_example import add_run, make_study
from tests.study.phone.lifted import note_lift, phone


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    return note_lift(make_club(tmp_path / "club"), phone(31), 18.0, "k1k1k1k1k1k1")


def shift(monkeypatch: pytest.MonkeyPatch) -> None:
    def measured(trace: Trace, name: str, series: str) -> ByPhone:
        found = measure(trace, name, series)
        moved = tuple(one + 0.3 for one in found.before_tap_deg)
        return msgspec.structs.replace(found, before_tap_deg=moved)

    monkeypatch.setattr("rig.study.slides.again.measure", measured)


def test_analyse_shows_what_was_noted_and_what_comes_out_now(
    rig: Rig, trace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a study that has no run at all."""
    shift(monkeypatch)
    said = rig("analyse", "club")
    assert said.code == 0, said.err
    assert "Harbour 1, grip" in said.out
    assert "1 differs from the journal, which stays as it is" in said.out.replace("\n", " ")
    assert max(map(len, said.out.splitlines())) <= 80
    (one,) = rig("analyse", "club", "--json").document["lifts"]
    assert one["onset_angle_deg"] - one["noted_angle_deg"] == pytest.approx(0.3)
    assert (one["bag"], one["face"], one["line"], one["differs"]) == ("Harbour 1", "grip", 2, True)
    assert one["onset_angle_deg"] == pytest.approx(18.3, abs=4.0 * one["u_onset_angle_deg"])
    alone = rig("analyse", str(trace), "--json").document
    assert alone["lifts"] == [{**one, "trace_file": str(trace)}]
    assert alone["runs"] == []


def test_runs_and_lifts_of_a_study_stand_one_below_the_other(rig: Rig, tmp_path: Path) -> None:
    study = make_study(tmp_path / "club")
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    before = rig("analyse", "club", "--json").document
    assert "lifts" not in before
    note_lift(study, phone(31), 18.0, "k1k1k1k1k1k1")
    after = rig("analyse", "club", "--json").document
    assert after["runs"] == before["runs"]
    assert len(after["lifts"]) == 1


def test_again_notes_what_differs_and_nothing_else(
    rig: Rig, trace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = trace.parents[1] / "journal.jsonl"
    before = journal.read_bytes()
    said = rig("study", "reading", "club", "--again")
    assert said.code == 0
    assert "nothing is written" in said.err
    assert journal.read_bytes() == before
    shift(monkeypatch)
    said = rig("study", "reading", "club", "--again", "--operator", "Ines")
    assert said.code == 0
    assert "Line 2, Harbour 1, grip: 1" in said.err
    assert "Journal line 3: reading of Harbour 1." in said.out
    assert journal.read_bytes().startswith(before)
    (reading,) = open_study(journal.parent).journal.of(Reading)
    assert reading.line == 3


def test_again_is_asked_alone_and_of_a_study_with_lifts(rig: Rig, tmp_path: Path) -> None:
    make_club(tmp_path / "club")
    said = rig("study", "reading", "club", "Harbour 1", "grip", "--again")
    assert said.code == 2
    assert "leave them out" in said.err
    said = rig("study", "reading", "club", "--again")
    assert said.code == 2
    assert "has no lift with a phone" in said.err
