"""A plan on the page: its wipes, its air and its method are those of `rig run --plan`."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from rig.panel import link
from rig.procedures.series.climate_gate import ClimateBand
from rig.procedures.studied import series_requests, study_series
from rig.settings.model import Settings
from rig.study.folder.journal import Wipe
from rig.study.folder.study import Study
from rig.study.plan.keep import current_plan
from rig.study.plan.progress import next_rows
from rig.study.plan.rows import PlanRow, read_plan
from tests.panel.study.stand import StudyStand
from tests.study.folder_example import add_run, make_study, run_row

NOW = datetime(2026, 5, 4, 19, tzinfo=UTC)


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "s", raise_start="quick")
    current_plan(made)
    return made


@pytest.fixture
def stand(study: Study) -> Iterator[StudyStand]:
    stand = StudyStand(study.path, has_rig=True)
    stand.controller.post("/take")
    yield stand
    stand.runner.close()


def rows_of(stand: StudyStand) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = stand.controller.ask("GET", "/study").document["rows"]
    return found


def measured(stand: StudyStand, rows: list[PlanRow]) -> link.EveningMessage:
    body = {"key": "12345678", "board": "A", "rows": [[row.bag, row.face] for row in rows]}
    assert stand.controller.post("/study/measure", body).status == 202
    (wish,) = stand.desk.wishes
    assert isinstance(wish, link.EveningMessage)
    return wish


def test_a_wipe_of_the_plan_is_asked_for_once_and_noted_as_its_own(
    study: Study, stand: StudyStand
) -> None:
    plan = next_rows(study)
    assert plan[0].action == "wipe"
    first, *rest = rows_of(stand)
    assert first["wipe"] == "A"
    wipes = sum(row.action == "wipe" for row in plan)
    assert sum(row["wipe"] == "A" for row in rest) == wipes - 1
    assert stand.controller.post("/study/wipe", {"key": "87654321", "board": "A"}).status == 200
    assert [entry.series for entry in stand.journal.of(Wipe)] == [plan[0].row]
    assert rows_of(stand)[0]["wipe"] == ""


def test_series_of_the_page_are_made_as_those_of_the_command(
    study: Study, stand: StudyStand
) -> None:
    rows = [row for row in next_rows(study, "dry") if row.is_series]
    for row in read_plan(study):
        if row.is_series and row.stage == "baseline" and row.climate != "dry":
            run_row(study, row, 1)
    add_run(study, rows[0].bag, "2026-05-02T09:00:00Z", face=rows[0].face, series=rows[0].row)
    rows = [row for row in next_rows(study) if row.is_series]
    wish = measured(stand, rows[:2])
    assert link.decode_message(link.encode(wish)) == wish
    for series, row, steady_s in zip(wish.series, rows[:2], (300.0, 0.0), strict=True):
        assert series.fields["series"] == row.row
        assert series.options.quick, "the study begins its series with a settling raise"
        air = ClimateBand(temperature_c=20.0, relative_humidity_pct=35.0, steady_s=steady_s)
        assert series.options.climate == air
    first = series_requests(wish.series[0], Settings(), source="twin", started=NOW)
    runs = study.catalogue.preferences.runs_per_series
    begun = [one.slide_number for one in first]
    assert begun == list(range(1, 1 + runs))[-len(begun) :], "numbers go on where they ended"


def test_a_face_twice_in_a_session_is_two_series(study: Study, stand: StudyStand) -> None:
    """A reference bag comes at the beginning and at the end."""
    rows = [row for row in next_rows(study) if row.is_series and row.bag == "Ref"]
    twice = [row for row in rows if row.face == rows[0].face]
    assert len(twice) > 1
    wish = measured(stand, twice)
    assert [one.fields["series"] for one in wish.series] == [row.row for row in twice]


def test_air_that_a_person_asks_for_goes_before_that_of_the_plan(study: Study) -> None:
    from rig.procedures.series.log import SeriesOptions

    own = SeriesOptions(climate=ClimateBand(temperature_c=30.0), bad_in_a_row=2)
    row = next(row for row in read_plan(study) if row.is_series and row.climate == "dry")
    found = study_series(study, row, [], own).options
    assert (found.climate, found.bad_in_a_row, found.quick) == (own.climate, 2, True)
    today = next(row for row in read_plan(study) if row.is_series and row.climate == "today")
    assert study_series(study, today, []).options == SeriesOptions(quick=True)
