from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.answer.ask import ask
from rig.study.answer.effects import treatments_of
from rig.study.folder.journal import Correction, Reading, Treatment, Withdrawal
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, open_study
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, slide_table
from tests.study.folder_example import SOAK, add_run, make_study

TUMBLE = SOAK[1:]


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return make_study(tmp_path / "s")


def table_of(study: Study) -> SlideTable:
    return slide_table(open_study(study.path))


def treat(study: Study, bag: str, day: int, stage: int = 1, recipe: str | None = "soft") -> int:
    entry = Treatment(
        at=f"2026-05-{day:02d}T07:00:00Z",
        bag=bag,
        stage=f"after {stage}",
        recipe=recipe,
        steps=SOAK if recipe else TUMBLE,
    )
    return append(study.journal_path, entry).line


def read_by_hand(study: Study, bag: str, day: int, *angles_deg: float) -> int:
    entry = Reading(
        at=f"2026-05-{day:02d}T09:00:00Z",
        bag=bag,
        face="slick",
        board="A",
        reader="Ida",
        angles_deg=angles_deg,
        temperature_c=21.0,
        relative_humidity_pct=50.0,
        board_temperature_c=31.0,
        stage="baseline",
        session="evening",
    )
    return append(study.journal_path, entry).line


def only(table: SlideTable, bag: str) -> list[Slide]:
    return [slide for slide in table.slides if slide.bag == bag]


def test_a_run_and_a_reading_are_rows_alike(study: Study) -> None:
    add_run(study, "T1", "2026-05-02T08:00:00Z", series="1-002", session="1-s01")
    line = read_by_hand(study, "T1", 1, 24.5, 25.0)
    first, second, run = table_of(study).slides
    assert [one.slide_id for one in (first, second)] == [f"line {line}.1", f"line {line}.2"]
    assert (first.source, first.reader, first.onset_angle_deg) == ("hand", "Ida", 24.5)
    assert (second.slide_number, second.series) == (2, f"by hand, line {line}")
    assert (run.source, run.run_file) == ("twin", "runs/2026-05-02/0000.run.jsonl")
    assert (run.set, run.role, run.board, run.series) == ("Heron", "treated", "A", "1-002")
    assert all(one.valid and one.stage == "baseline" for one in (first, second, run))


def test_humidity_of_a_reading_is_that_at_the_surface(study: Study) -> None:
    """Saturation at 21 and 31 °C is 2.488 and 4.496 kPa (steam tables): 50 % becomes 27.7 %."""
    read_by_hand(study, "T1", 1, 24.5)
    (slide,) = table_of(study).slides
    assert slide.surface_humidity_pct == pytest.approx(50.0 * 2.488 / 4.496, abs=0.1)


def test_slides_before_are_real_slides_of_that_face(study: Study) -> None:
    for minute, outcome in enumerate(("slid", "no_slide", "slid", "slid")):
        add_run(study, "T1", f"2026-05-02T08:0{minute}:00Z", outcome=outcome)  # type: ignore[arg-type]
    add_run(study, "T1", "2026-05-02T08:30:00Z", face="grip")
    read_by_hand(study, "T1", 1, 24.5)
    assert [slide.slides_before for slide in only(table_of(study), "T1")] == [0, 1, 2, 2, 3, 0]


def test_the_journal_alone_says_what_was_done(study: Study) -> None:
    """The file names the stage that was planned; the entry may be withdrawn or replaced later."""
    add_run(study, "T1", "2026-05-01T08:00:00Z", stage="baseline")
    line = treat(study, "T1", 2)
    add_run(study, "T1", "2026-05-03T08:00:00Z", stage="after 1")
    before, after = only(table_of(study), "T1")
    assert (before.stage, before.treatments) == ("baseline", ())
    assert after.stage == "after 1"
    assert [one.name for one in after.treatments] == ["soft"]
    append(study.journal_path, Withdrawal(at="2026-05-04T08:00:00Z", replaces=line))
    _, after = only(table_of(study), "T1")
    assert (after.stage, after.treatments) == ("baseline", ())


def test_within_a_second_the_order_of_the_lines_counts(study: Study) -> None:
    before = read_by_hand(study, "T1", 2, 24.5)
    at = "2026-05-02T09:00:00Z"
    append(study.journal_path, Treatment(at=at, bag="T1", stage="after 1", steps=SOAK))
    read_by_hand(study, "T1", 2, 23.0)
    assert read_by_hand(study, "C1", 2, 25.0) > before
    treated, later = only(table_of(study), "T1")
    assert (treated.stage, treated.treatments) == ("baseline", ())
    assert later.stage == "after 1"
    assert len(later.treatments) == 1
    assert [slide.stage for slide in only(table_of(study), "C1")] == ["after 1"]


def test_the_file_speaks_where_no_treatment_was_ever_noted(study: Study) -> None:
    add_run(study, "T1", "2026-05-03T08:00:00Z", stage="after 1")
    assert only(table_of(study), "T1")[0].stage == "after 1"


def test_a_correction_moves_a_slide_to_its_bag(study: Study) -> None:
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    add_run(study, "T1", "2026-05-01T08:01:00Z")
    entry = Correction(
        at="2026-05-02T08:00:00Z", runs=("run 0001",), bag="T2", face="grip", note="mixed up"
    )
    line = append(study.journal_path, entry).line
    stays, moved = table_of(study).slides
    assert (stays.bag, stays.face, stays.set) == ("T1", "slick", "Heron")
    assert (moved.bag, moved.face, moved.set, moved.slides_before) == ("T2", "grip", None, 0)
    assert moved.result is not None
    assert (moved.result.bag, moved.result.face) == ("T2", "grip")
    append(study.journal_path, Withdrawal(at="2026-05-03T08:00:00Z", replaces=line))
    assert [slide.bag for slide in table_of(study).slides] == ["T1", "T1"]


def test_a_voided_slide_does_not_count_but_wore_the_bag(study: Study) -> None:
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    add_run(study, "T1", "2026-05-01T08:01:00Z")
    void = Correction(at="2026-05-02T08:00:00Z", runs=("run 0000",), void=True, note="bumped")
    append(study.journal_path, void)
    first, second = table_of(study).slides
    assert (first.valid, first.void) == (False, "bumped")
    assert second.valid
    assert second.slides_before == 1


def test_a_correction_of_nothing_is_a_problem(study: Study) -> None:
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    entry = Correction(at="2026-05-02T08:00:00Z", runs=("run 0007",), void=True)
    append(study.journal_path, entry)
    assert any(
        "corrects the run run 0007, which is not there" in p for p in table_of(study).problems
    )


def test_an_unreadable_file_is_named_and_the_rest_goes_on(study: Study) -> None:
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    (study.runs_path / "bad.run.jsonl").write_bytes(b'\x00\xff{"kind"')
    table = table_of(study)
    assert len(table.valid) == 1
    assert any("bad.run.jsonl" in problem for problem in table.problems)


def test_swapped_recipes_are_credited_as_journalled(study: Study) -> None:
    """The catalogue means both bags for `soft`; one of them got other steps, another got both."""
    for bag in ("T1", "T2", "C1", "C2"):
        add_run(study, bag, "2026-05-01T08:00:00Z")
        add_run(study, bag, "2026-05-05T08:00:00Z", stage="after 1")
    treat(study, "T1", 2, recipe="soft")
    treat(study, "T2", 2, recipe=None)
    treat(study, "T1", 3, 2, None)
    draws = ask(open_study(study.path)).draws
    assert [(one.bag, one.recipe) for one in draws.about.applications] == [
        ("T1", "soft"),
        ("T1", "rinse"),
        ("T2", "rinse"),
    ]
    found = treatments_of(draws, [("", "slick")])
    applied = {one.recipe: (one.n_bags, one.n_applications) for one in found}
    assert applied == {"soft": (1, 1), "rinse": (2, 2)}


def spoil(path: Path, old: bytes, new: bytes) -> None:
    data = path.read_bytes()
    assert data.count(old) == 1
    path.write_bytes(data.replace(old, new))


def test_a_changed_line_blocks_the_answers_about_its_bag(study: Study) -> None:
    for bag in ("T1", "T2"):
        add_run(study, bag, "2026-05-01T08:00:00Z")
        treat(study, bag, 2)
    spoil(study.journal_path, b'"bag":"T1","stage":"after 1"', b'"bag":"T1","stage":"after 2"')
    table = table_of(study)
    assert set(table.blocked) == {"T1"}
    assert "was changed after it was written" in table.blocked["T1"]
    answer = ask(open_study(study.path)).answer
    assert {one.bag for one in answer.bags} == {"T2"}
    assert answer.unknown[0] == table.blocked["T1"]


def test_a_line_whose_bag_cannot_be_read_blocks_all(study: Study) -> None:
    add_run(study, "T1", "2026-05-01T08:00:00Z")
    treat(study, "T1", 2)
    spoil(study.journal_path, b'"bag":"T1"', b'"bag:"T1"')
    with pytest.raises(BadInputError, match="answers about any bag must wait"):
        ask(open_study(study.path))
