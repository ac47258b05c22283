from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from rig.errors import BadInputError
from rig.study.folder.study import Study, open_study
from rig.study.plan.keep import add_to_plan, current_plan
from rig.study.plan.rows import COLUMNS, plan_text, plan_warnings, read_plan
from tests.study.folder_example import make_study, run_row


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "s")
    current_plan(made)
    return made


def edit(study: Study, change: Callable[[str], str]) -> None:
    text = study.plan_path.read_text()
    changed = change(text)
    assert changed != text
    study.plan_path.write_text(changed)


def set_cell(study: Study, row: str, column: str, value: str) -> None:
    """Change one cell, as a person does in a spreadsheet."""

    def change(text: str) -> str:
        lines = [line.split(",") for line in text.splitlines()]
        chosen = next(line for line in lines if line[0] == row)
        chosen[COLUMNS.index(column)] = value
        return "\n".join(",".join(line) for line in lines) + "\n"

    edit(study, change)


def refusal(study: Study) -> str:
    with pytest.raises(BadInputError) as caught:
        read_plan(study)
    return str(caught.value)


def test_a_plan_is_read_as_it_was_written(study: Study) -> None:
    rows = read_plan(study)
    assert plan_text(rows) == study.plan_path.read_text()
    assert not plan_warnings(rows, study)


def test_a_note_that_a_spreadsheet_would_run_is_escaped_and_read_back(study: Study) -> None:
    rows = read_plan(study)
    noted = [msgspec.structs.replace(rows[0], note="=1+1"), *rows[1:]]
    study.plan_path.write_text(plan_text(noted))
    assert ",'=1+1\n" in study.plan_path.read_text()
    assert read_plan(study) == noted


def test_what_a_spreadsheet_does_to_it_is_all_right(study: Study) -> None:
    rows = read_plan(study)
    text = study.plan_path.read_text().replace(",", ";").replace("\n", "\r\n")
    study.plan_path.write_bytes(b"\xef\xbb\xbf" + text.encode() + b";;;;;;;;;;\r\n\r\n")
    assert read_plan(study) == rows


@pytest.mark.parametrize(
    ("row", "column", "value", "says"),
    [
        ("1-003", "runs", "five", "column runs: 'five' is not a whole number from 1 to 100"),
        ("1-003", "runs", "0", "line 4, column runs: '0' is not a whole number"),
        ("1-003", "runs", "-2", "line 4, column runs: '-2' is not a whole number"),
        ("1-003", "runs", "2.5", "line 4, column runs: '2.5' is not a whole number"),
        ("1-003", "runs", "٣", "line 4, column runs: '٣' is not a whole number"),
        ("1-003", "runs", "", "line 4, column runs: the cell is empty, and a run row needs it"),
        ("1-003", "bag", "", "line 4, column bag: the cell is empty"),
        ("1-003", "bag", "T9", "line 4, column bag: The study knows no bag 'T9'"),
        (
            "1-003",
            "face",
            "slik",
            "column face: The study knows no face 'slik'; did you mean 'slick'",
        ),
        ("1-003", "board", "B", "column board: The study knows no board 'B' (known: A)"),
        ("1-003", "climate", "wet", "column climate: The study knows no climate 'wet'"),
        ("1-003", "stage", "later", "column stage: 'later' is not a stage"),
        ("1-003", "stage", "after 01", "column stage: 'after 01' is not a stage"),
        ("1-003", "action", "jump", "column action: 'jump' is not an action; there are wipe"),
        ("1-003", "action", "", "column action: '' is not an action"),
        ("1-003", "row", "1-002", "column row: '1-002' is in line 3 already"),
        ("1-003", "row", "", "column row: the cell is empty"),
        ("1-002", "bag", "", "column bag: the cell is empty, and a reference row needs it"),
        ("1-001", "board", "", "column board: the cell is empty, and a wipe row needs it"),
    ],
)
def test_nonsense_in_a_cell_is_one_sentence_with_its_place(
    study: Study, row: str, column: str, value: str, says: str
) -> None:
    set_cell(study, row, column, value)
    said = refusal(study)
    assert says in said
    assert said.startswith(str(study.plan_path))
    assert "\n" not in said


def test_titles_must_all_be_there(study: Study) -> None:
    edit(study, lambda text: text.replace("climate,", "clime,", 1))
    assert "line 1: the title `climate` is not there" in refusal(study)
    study.plan_path.write_text("")
    assert "line 1: the title `row` is not there" in refusal(study)


def test_a_bag_must_not_go_back_to_an_earlier_stage(study: Study) -> None:
    rows = read_plan(study)
    last = [row for row in rows if row.bag == "C1"][-1]
    set_cell(study, last.row, "stage", "baseline")
    assert "C1 comes back to 'baseline' after a later stage" in refusal(study)


def test_a_treated_bag_needs_its_treat_row_first(study: Study) -> None:
    treat = next(r for r in read_plan(study) if r.action == "treat" and r.bag == "T1")
    edit(
        study,
        lambda text: "".join(
            line for line in text.splitlines(True) if not line.startswith(treat.row + ",")
        ),
    )
    assert "T1 is run in 'after 1' before the row that treats it" in refusal(study)


def test_a_treatment_cannot_skip_a_stage_or_touch_a_control(study: Study) -> None:
    treat = next(r for r in read_plan(study) if r.action == "treat" and r.bag == "T1")
    set_cell(study, treat.row, "stage", "after 2")
    assert "the treatment of T1 must begin the stage `after 1`" in refusal(study)
    set_cell(study, treat.row, "stage", "after 1")
    set_cell(study, treat.row, "bag", "C1")
    assert "C1 is a control bag, and those are never treated" in refusal(study)
    set_cell(study, treat.row, "bag", "T1")
    set_cell(study, treat.row, "treatment", "boil")
    assert "column treatment: The study knows no treatment 'boil'" in refusal(study)


def test_an_edited_plan_is_warned_about_what_it_lost(study: Study) -> None:
    set_cell(study, "1-003", "runs", "7")
    rows = read_plan(study)
    told = plan_warnings(rows, study)
    assert len(told) == 1
    assert "the bags do not get equal wear" in told[0]
    kept = [row for row in rows if row.action == "run"]
    told = plan_warnings(kept, study)
    assert any("does not begin and end with the reference bag" in one for one in told)
    assert any("(T1, treated) the board is not wiped" in one for one in told)


def test_there_must_be_a_plan(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="has no plan yet"):
        read_plan(make_study(tmp_path / "s"))


def test_a_plan_is_never_lost(study: Study) -> None:
    first = study.plan_path.read_bytes()
    assert current_plan(study) == read_plan(study)
    assert study.plan_path.read_bytes() == first
    rows = current_plan(study, replace=True)
    assert (study.path / "plan-1.csv").read_bytes() == first
    assert {row.row.partition("-")[0] for row in rows} == {"2"}
    study.plan_path.write_text("nonsense\n")
    rows = current_plan(study, replace=True)
    assert (study.path / "plan-2.csv").read_text() == "nonsense\n"
    assert rows[0].row == "3-001"
    third = study.plan_path.read_bytes()
    rows = current_plan(study, replace=True)
    assert (study.path / "plan-2.csv").read_text() == "nonsense\n"
    assert (study.path / "plan-3.csv").read_bytes() == third
    assert rows[0].row == "4-001"


def test_what_the_catalogue_gained_is_added_to_the_plan(study: Study) -> None:
    from rig.study.folder.catalogue import ClimateWanted
    from rig.study.folder.catalogue_file import add_table

    before = read_plan(study)
    with pytest.raises(BadInputError, match="has everything already"):
        add_to_plan(study)
    add_table(study.catalogue_path, "climates", "hot", ClimateWanted(temperature_c=31.0))
    study = open_study(study.path)
    rows = add_to_plan(study)
    new = [row for row in rows if row not in before]
    assert {row.climate for row in new} == {"hot"}
    assert {row.stage for row in new} == {"baseline", "after 1"}
    assert [row for row in rows if row in before] == before
    assert len({row.row for row in rows}) == len(rows)
    assert len({row.session for row in new} & {row.session for row in before}) == 0
    assert not plan_warnings(rows, study)


def test_a_stage_that_is_over_is_not_added(study: Study) -> None:
    from rig.study.folder.catalogue import ClimateWanted
    from rig.study.folder.catalogue_file import add_table
    from rig.study.folder.journal import Treatment
    from rig.study.folder.journal_file import append
    from tests.study.folder_example import SOAK

    for day, row in enumerate(r for r in read_plan(study) if r.stage == "baseline" and r.runs):
        run_row(study, row, 1 + day % 5)
    add_table(study.catalogue_path, "climates", "hot", ClimateWanted(temperature_c=31.0))
    at = "2026-06-01T08:00:00Z"
    append(study.journal_path, Treatment(at=at, bag="T1", stage="after 1", steps=SOAK))
    with pytest.raises(BadInputError, match="Some of the treated bags"):
        add_to_plan(open_study(study.path))
    append(study.journal_path, Treatment(at=at, bag="T2", stage="after 1", steps=SOAK))
    rows = add_to_plan(open_study(study.path))
    assert {row.stage for row in rows if row.climate == "hot"} == {"after 1"}
