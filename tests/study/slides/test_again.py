"""Lifts with a phone, measured again from their traces; the journal stays as it is."""

from pathlib import Path

import msgspec
import pytest

from rig.errors import BadInputError
from rig.study.folder.journal import ByPhone, Withdrawal
from rig.study.folder.journal_file import append
from rig.study.folder.study import open_study
from rig.study.phone.lift import measure
from rig.study.phone.trace import Trace, keep_trace, read_trace
from rig.study.slides.again import Again, corrections, lifts_again, lifts_of
from rig.study.slides.table import slide_table
from tests.panel.study.club import make_club
from tests.study.phone.lifted import note_lift, phone

KEYS = ("k1k1k1k1k1k1", "k2k2k2k2k2k2")


@pytest.fixture
def traces(tmp_path: Path) -> list[Path]:
    """Two lifts of a study."""
    study = make_club(tmp_path / "club")
    one = phone(31)
    return [note_lift(study, one, 18.0 + n, key) for n, key in enumerate(KEYS)]


@pytest.fixture
def folder(traces: list[Path]) -> Path:
    return traces[0].parents[1]


def again(folder: Path) -> list[Again]:
    return lifts_again(open_study(folder))


def better(shift_deg: float):
    """A program that measures otherwise."""

    def measured(trace: Trace, name: str, series: str) -> ByPhone:
        found = measure(trace, name, series)
        moved = tuple(one + shift_deg for one in found.before_tap_deg)
        return msgspec.structs.replace(found, before_tap_deg=moved)

    return measured


def angles(folder: Path) -> list[float | None]:
    return [one.onset_angle_deg for one in slide_table(open_study(folder)).valid]


def test_the_same_program_finds_the_same(folder: Path) -> None:
    found = again(folder)
    assert [one.differs for one in found] == [False, False]
    assert [one.slide and one.slide.angle_deg for one in found] == pytest.approx(angles(folder))
    assert [one.slide for one in found] == [one.noted for one in found]
    assert corrections(found, None, "") == []


@pytest.mark.parametrize(("shift_deg", "differs"), [(0.0009, False), (0.0011, True), (-0.3, True)])
def test_what_another_version_finds_is_seen_and_not_written(
    folder: Path, monkeypatch: pytest.MonkeyPatch, shift_deg: float, differs: bool
) -> None:
    before, journal = angles(folder), open_study(folder).journal_path.read_bytes()
    monkeypatch.setattr("rig.study.slides.again.measure", better(shift_deg))
    for one in again(folder):
        assert one.differs == differs
        assert one.slide is not None
        assert one.noted is not None
        assert one.slide.angle_deg - one.noted.angle_deg == pytest.approx(shift_deg, abs=1e-6)
    assert angles(folder) == before
    assert open_study(folder).journal_path.read_bytes() == journal


def test_a_correction_replaces_the_line_and_keeps_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = angles(folder)
    monkeypatch.setattr("rig.study.slides.again.measure", better(0.3))
    study = open_study(folder)
    old = study.journal.lines
    study.note(*corrections(again(folder), "Ines", ""))
    lines = open_study(folder).journal.lines
    assert lines[:2] == old
    assert [one.replaces for one in lines[2:]] == [one.line for one in old]
    assert [one.key for one in lines[2:]] == list(KEYS), "so that a lift sent again stays known"
    assert {(one.operator, one.note) for one in lines[2:]} == {
        ("Ines", "measured again from its trace")
    }
    assert angles(folder) == pytest.approx([(one or 0.0) + 0.3 for one in before])
    assert not any(one.differs for one in again(folder)), "and then all agrees"


def test_only_lines_that_count_are_corrected(
    folder: Path, traces: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One was taken back, one was never noted: whoever did that knows why."""
    study = open_study(folder)
    line = study.journal.lines[0].line
    append(study.journal_path, Withdrawal(at="2026-05-30T11:00:00Z", replaces=line, note="no"))
    loose = read_trace(traces[1])
    keep_trace(folder, "k3k3k3k3k3k3", loose)
    monkeypatch.setattr("rig.study.slides.again.measure", better(0.3))
    found = again(folder)
    assert [one.problem for one in found] == ["taken back", "", "noted by no line of the journal"]
    assert [one.differs for one in found] == [False, True, False]
    assert len(corrections(found, None, "")) == 1


def test_a_trace_that_is_gone_or_damaged_changes_nothing(folder: Path, traces: list[Path]) -> None:
    before = angles(folder)
    traces[0].unlink()
    data = traces[1].read_bytes()
    traces[1].write_bytes(data.replace(b"Harbour 1", b"Harbour 2"))
    damaged, missing = again(folder)
    assert "was changed after it was written" in damaged.problem
    assert "its trace is missing" in missing.problem
    assert missing.trace == traces[0]
    assert corrections([damaged, missing], None, "") == []
    assert angles(folder) == before


def test_a_lift_that_gives_no_slide_any_more_keeps_its_line(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> ByPhone:
        raise BadInputError("The board moved.")

    monkeypatch.setattr("rig.study.slides.again.measure", refuse)
    found = again(folder)
    assert {one.problem for one in found} == {"The board moved."}
    assert corrections(found, None, "") == []


def test_traces_are_found_wherever_they_lie(
    folder: Path, traces: list[Path], tmp_path: Path
) -> None:
    assert [one.trace for one in lifts_of([folder])] == traces
    assert [one.trace for one in lifts_of([folder, folder / "traces"])] == traces, "each once"
    assert [one.trace for one in lifts_of([traces[1]])] == [traces[1]]
    (one,) = lifts_of([traces[1]])
    assert one.reading is not None
    alone = tmp_path / "elsewhere" / traces[1].name
    alone.parent.mkdir()
    alone.write_bytes(traces[1].read_bytes())
    (moved,) = lifts_of([alone.parent])
    assert (moved.reading, moved.problem) == (None, "")
    assert moved.slide is not None
    assert one.slide is not None
    assert moved.slide.angle_deg == pytest.approx(one.slide.angle_deg, abs=0.05)


def test_where_no_lift_is_asked_for_no_slide_is_looked_at(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def looked(*_: object) -> None:
        raise AssertionError("all slides of the study were analysed")

    monkeypatch.setattr("rig.study.slides.again.slide_table", looked)
    runs = folder / "runs"
    assert lifts_of([runs]) == []
    assert lifts_of([make_club(tmp_path / "without a phone").path]) == []
    with pytest.raises(AssertionError, match="all slides"):
        lifts_of([folder])
