from pathlib import Path

import pytest

from rig.study.folder.catalogue import ClimateWanted
from rig.study.folder.catalogue_file import add_table
from rig.study.folder.study import Study, open_study
from rig.study.plan.keep import current_plan
from rig.study.plan.rows import read_plan
from rig.study.plan.status import study_status
from tests.study.folder_example import add_run, make_study, run_row


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "s")
    current_plan(made)
    return made


def test_a_new_study_asks_for_a_plan(tmp_path: Path) -> None:
    found = study_status(make_study(tmp_path))
    assert found.blocks == []
    assert "rig study plan" in found.next_step


def test_done_and_missing_are_counted(study: Study) -> None:
    plan = read_plan(study)
    for row in plan[1:4]:
        run_row(study, row, 1)
    add_run(study, "T1", "2026-05-02T08:00:00Z", series="by the way")
    add_run(study, "T1", "2026-05-02T08:01:00Z", series=plan[4].row, outcome="no_slide")
    found = study_status(study)
    block = found.blocks[0]
    assert (block.stage, block.climate) == ("baseline", "today")
    assert (block.series_done, block.series_planned) == (3, 10)
    assert (block.runs_done, block.runs_planned) == (5, 8 * 2 + 2)
    assert (found.runs, found.runs_not_counting, found.runs_outside_plan) == (6, 1, 1)
    assert found.treatments_missing == ["T1: soft (after 1)", "T2: soft (after 1)"]
    assert f"put {plan[4].bag}, {plan[4].face} down" in found.next_step


def test_the_time_left_comes_from_the_runs_so_far(study: Study) -> None:
    before = study_status(study)
    assert before.minutes_per_run == pytest.approx((10 + 30 + 25) / 60)
    for second in range(0, 50, 10):
        add_run(study, "T1", f"2026-05-02T08:{second:02d}:00Z", series="one")
    found = study_status(study)
    assert found.minutes_per_run == 10.0
    runs = sum(block.runs_planned for block in found.blocks)
    series = sum(block.series_planned for block in found.blocks)
    assert found.hours_left == pytest.approx((runs * 10.0 + series * 2.0) / 60.0)


def test_a_quick_start_takes_less_for_a_run_and_one_raise_more_for_a_series(
    tmp_path: Path,
) -> None:
    quick = make_study(tmp_path, rate_deg_s=0.3, raise_start="quick")
    current_plan(quick)
    found = study_status(quick)
    # 27° at 2.5 °/s and 3° at 0.3 °/s.
    per_run = (10 + 27 / 2.5 + 3 / 0.3 + 25) / 60
    assert found.minutes_per_run == pytest.approx(per_run)
    runs = sum(block.runs_planned for block in found.blocks)
    series = sum(block.series_planned for block in found.blocks)
    assert series > 0
    assert found.hours_left == pytest.approx(((runs + series) * per_run + series * 2.0) / 60.0)


def test_missing_climates_are_said(study: Study) -> None:
    add_table(study.catalogue_path, "climates", "hot", ClimateWanted(temperature_c=31.0))
    study = open_study(study.path)
    for row in read_plan(study):
        if row.is_series and (row.stage, row.climate) == ("baseline", "today"):
            run_row(study, row, 1)
    said = study_status(study).missing_climates
    assert said[0] == "Still to measure in stage 'baseline': dry."
    assert "Wanted, but not in the plan of stage 'baseline': hot" in said[1]
    assert "The plan has 2 climates; with fewer than 4" in said[-1]


def test_air_that_is_not_the_climate_is_told(study: Study) -> None:
    row = next(r for r in read_plan(study) if r.is_series and r.climate == "dry")
    for minute, humidity in enumerate((35.0, 38.9, 48.0)):
        add_run(
            study,
            row.bag,
            f"2026-05-01T08:0{minute}:00Z",
            face=row.face,
            series=row.row,
            humidity=humidity,
        )
    said = study_status(study).missing_climates
    assert "1 run planned for dry had other air; they count with the air they had." in said


def test_what_cannot_be_read_is_a_warning(study: Study) -> None:
    study.journal_path.write_text('{"kind":"mass","line":2,"at"')
    path = add_run(study, "T1", "2026-05-02T08:00:00Z")
    path.write_bytes(path.read_bytes()[:100])
    said = study_status(open_study(study.path)).warnings
    assert any("was cut off after 28 bytes" in one for one in said)
    assert any("0000.run.jsonl is cut off within its first line" in one for one in said)
