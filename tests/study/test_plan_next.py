from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.folder.journal import Mass, Treatment, Wipe
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, open_study
from rig.study.plan.keep import current_plan
from rig.study.plan.progress import next_rows, open_wipe, progress, run_fields
from rig.study.plan.rows import read_plan
from rig.study.plan.status import study_status
from rig.study.slides.table import slide_table
from tests.study.folder_example import SOAK, add_run, make_study, run_row


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "s")
    current_plan(made)
    return made


def do_stage(study: Study, stage: str, day: int) -> None:
    for row in read_plan(study):
        if row.is_series and row.stage == stage:
            run_row(study, row, day)


def do_treat(study: Study, bag: str, at: str = "2026-05-10T08:00:00Z") -> None:
    append(study.journal_path, Treatment(at=at, bag=bag, stage="after 1", steps=SOAK))


def test_first_comes_the_first_session(study: Study) -> None:
    rows = next_rows(study)
    assert rows == [row for row in read_plan(study) if row.session == "1-s01"]


def test_what_was_run_is_not_asked_for_again(study: Study) -> None:
    plan = read_plan(study)
    run_row(study, plan[1], 1)
    add_run(study, plan[2].bag, "2026-05-01T09:00:00Z", face=plan[2].face, series=plan[2].row)
    add_run(study, plan[2].bag, "2026-05-01T09:01:00Z", series=plan[2].row, outcome="no_slide")
    add_run(study, plan[2].bag, "2026-05-01T09:02:00Z", series=plan[2].row, outcome=None)
    add_run(study, plan[2].bag, "2026-05-01T09:03:00Z", series=plan[2].row, flags=("step_loss",))
    rows = next_rows(study)
    assert rows[0].row == plan[2].row
    assert rows[0].runs == 1  # of 2: three of the four don't count


def test_a_wipe_is_done_by_its_note_or_when_the_next_row_was_run(study: Study) -> None:
    plan = read_plan(study)
    assert open_wipe(study, "A") == "1-001"
    wipe = Wipe(at="2026-05-01T07:00:00Z", board="A", series="1-001")
    append(study.journal_path, wipe)
    study = open_study(study.path)
    assert next_rows(study)[0].row == "1-002"
    assert open_wipe(study, "A") != "1-001"
    after = next(row for row in plan if row.action == "wipe" and row.row != "1-001")
    assert open_wipe(study, "A") == after.row
    run_row(study, plan[plan.index(after) + 1], 2)
    assert open_wipe(open_study(study.path), "A") != after.row


def test_a_climate_can_be_chosen_within_the_stage(study: Study) -> None:
    rows = next_rows(study, climate="dry")
    assert {row.climate for row in rows} == {"dry"}
    assert {row.stage for row in rows} == {"baseline"}
    with pytest.raises(BadInputError, match="knows no climate 'wet'"):
        next_rows(study, climate="wet")
    for row in rows:
        if row.is_series:
            run_row(study, row, 1)
    with pytest.raises(BadInputError, match=r"is left to run in the climate 'dry'.*today"):
        next_rows(study, climate="dry")


def test_a_treatment_stands_in_the_way_until_it_is_noted(study: Study) -> None:
    do_stage(study, "baseline", 1)
    with pytest.raises(BadInputError, match="next step is the treatment of T1"):
        next_rows(study)
    do_treat(study, "T1")
    with pytest.raises(BadInputError, match="next step is the treatment of T2"):
        next_rows(open_study(study.path))
    do_treat(study, "T2")
    rows = next_rows(open_study(study.path))
    assert {row.stage for row in rows} == {"after 1"}


def test_what_a_treatment_made_impossible_is_given_up(study: Study) -> None:
    do_treat(study, "T1")
    study = open_study(study.path)
    rows = next_rows(study)
    assert rows
    assert not any(row.bag == "T1" for row in rows)
    found = progress(study, read_plan(study), slide_table(study).of_rig)
    assert {(row.bag, row.stage) for row in found.missed} == {("T1", "baseline")}
    assert not any(found.runs_left[row.row] for row in found.missed)
    (said,) = [one for one in study_status(study).missing_climates if "Given up" in one]
    assert "T1 in" in said
    assert "T2" not in said


def test_the_plan_comes_to_its_end(study: Study) -> None:
    do_stage(study, "baseline", 1)
    do_treat(study, "T1")
    do_treat(study, "T2")
    do_stage(study, "after 1", 12)
    study = open_study(study.path)
    assert next_rows(study) == []
    found = study_status(study)
    assert found.hours_left == 0.0
    assert found.treatments_missing == []
    assert "rig answer" in found.next_step


def test_the_header_gets_what_the_study_knows(study: Study) -> None:
    row = next(row for row in next_rows(study) if row.bag == "T1" and row.action == "run")
    add_run(study, "T1", "2026-05-01T09:00:00Z", face=row.face)
    add_run(study, "T1", "2026-05-01T09:01:00Z", face=row.face, outcome="no_slide")
    weighed = Mass(
        at="2026-05-01T07:00:00Z", bag="T1", mass_g=441.5, conditioned_h=3.0, approach="from_dry"
    )
    append(study.journal_path, weighed)
    append(study.journal_path, Wipe(at="2026-05-01T07:10:00Z", board="A"))
    study = open_study(study.path)
    assert run_fields(study, row, slide_table(study).slides) == {
        "bag": "T1",
        "face": row.face,
        "leading_edge": None,
        "set": "Heron",
        "bag_mass_g": 441.5,
        "board": "A",
        "board_cleaned_at": "2026-05-01T07:10:00Z",
        "treatment_stage": "baseline",
        "session": "1-s01",
        "series": row.row,
        "slide_number": 1,
        "slides_before": 1,  # a raise without a slide wears nothing
        "approach": "from_dry",
        "conditioned_h": 3.0,
        "rate_deg_s": 1.0,
        "dwell_s": 10.0,
    }


def test_fields_fit_a_run_request(study: Study) -> None:
    from rig.control.request import RunRequest

    row = next(row for row in next_rows(study) if row.is_series)
    assert set(run_fields(study, row, [])) <= set(RunRequest.__struct_fields__)
