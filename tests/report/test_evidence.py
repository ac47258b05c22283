"""What a page stands on: the air of sessions, series in rows, one run in full; its tables."""

from pathlib import Path
from typing import Any

import pytest

from rig.analysis.climate import absolute_humidity_g_m3, dew_point_c
from rig.report.document import build
from rig.report.evidence import Evidence, collect, series_rows, session_airs
from rig.report.page import Value, filled
from rig.report.tables import Column, ranged, text
from rig.study.answer.ask import ask
from rig.study.slides.slide import Slide
from tests.study.answer.evening import evening


def slide(angle: float | None = 20.0, **changes: Any) -> Slide:
    values: dict[str, Any] = {
        "slide_id": "x",
        "source": "rig",
        "at": "2026-06-01T18:00:00Z",
        "bag": "Heron",
        "face": "slick",
        "board": "ash",
        "rig": "one",
        "session": "s1",
        "series": "a",
        "stage": "baseline",
        "temperature_c": 20.0,
        "relative_humidity_pct": 50.0,
        "onset_angle_deg": angle,
        "valid": True,
    }
    return Slide(**values | changes)


def test_a_sessions_air_is_the_mean_of_what_is_known() -> None:
    first, second = session_airs(
        [
            slide(surface_humidity_pct=60.0),
            slide(temperature_c=24.0, surface_humidity_pct=None),
            slide(session=None, temperature_c=None, at="2026-06-02T18:00:00Z"),
        ]
    )
    assert (first.session, first.date, first.n_slides) == ("s1", "2026-06-01", 2)
    assert (first.temperature_c, first.relative_humidity_pct) == (22.0, 50.0)
    assert first.surface_humidity_pct == 60.0
    assert first.absolute_humidity_g_m3 == absolute_humidity_g_m3(22.0, 50.0)
    assert first.dew_point_c == dew_point_c(22.0, 50.0)
    assert (second.session, second.temperature_c) == ("2026-06-02", None)
    assert (second.absolute_humidity_g_m3, second.dew_point_c) == (None, None)


def test_slides_of_a_series_share_a_row_those_that_do_not_count_too() -> None:
    rows = series_rows(
        [
            slide(20.0, run_file="runs/1"),
            slide(21.0, valid=False, flags=("slid_early",)),
            slide(None, valid=False, outcome="no_slide"),
            slide(22.0, valid=False, void="wrong bag"),
            slide(20.5, stage="after 1", source="hand", reader="Ada", rig=None),
        ]
    )
    first, second = rows
    assert [one.onset_angle_deg for one in first.slides] == [20.0, 21.0, None, 22.0]
    assert [one.valid for one in first.slides] == [True, False, False, False]
    assert first.slides[0].run_file == "runs/1"
    assert first.left_out == "slid_early; no_slide; wrong bag"
    assert (first.by, second.by, second.left_out) == ("one", "Ada", "")
    assert (first.date, first.stage, second.stage) == ("2026-06-01", "baseline", "after 1")


def test_a_reference_bag_has_one_row_for_a_session() -> None:
    rows = series_rows([slide(role="reference", series=name) for name in "abc"])
    assert [len(row.slides) for row in rows] == [3]
    assert len(series_rows([slide(series=name) for name in "abc"])) == 3


def test_the_run_in_full_is_the_one_of_median_uncertainty(evidence: Evidence) -> None:
    assert evidence.example is not None
    u = evidence.example.result.u_onset_angle_deg
    all_u = [
        s.u_onset_angle_deg or 0.0 for s in evidence.slides if s.run_file and s.role != "reference"
    ]
    assert u == sorted(all_u)[len(all_u) // 2]
    assert evidence.example.result.bag != "Plover", "not the bag that watches the board"


def test_a_study_by_hand_has_a_page_without_a_rig(tmp_path: Path) -> None:
    found = collect(ask(evening(tmp_path / "club", treated=1, controls=1, faces=("slick",))))
    assert (found.example, found.calibration, found.home) == (None, None, [])
    document = build(found)
    assert (document["budget"], document["home"], document["calibration"]) == (None, None, None)
    assert (document["method"]["n_by_hand"], document["method"]["n_files"]) == (12, 0)
    assert document["simulated"] == ""
    assert document["said"]["targets"] == "grip 23.0° ± 0.5°; slick 17.5° ± 0.5°"
    faces = {one["bag"]: one for one in document["faces"]}
    assert faces["Quay 1"]["picture"] == "path-1"
    assert faces["Quay 2"]["picture"] == "", "a control with one point has no way to draw"
    undecided = [b.bag for b in found.answer.bags if b.advice not in ("stop", "passed")]
    assert {one["bag"] for one in document["forecasts"]} <= set(undecided)
    assert [len(faces[bag]["stages"]) for bag in ("Quay 1", "Quay 2")] == [2, 1]


ROWS: list[dict[str, Any]] = [
    {"bag": "a", "board": "ash", "set": None, "at": [{"x": 1.0}]},
    {"bag": "b", "board": "ash", "set": "", "at": []},
]


@pytest.mark.parametrize(
    ("column", "is_there"),
    [
        (text("Bag", "bag"), True),
        (text("Set", "set"), False),
        (text("Mass", "mass"), False),
        (text("Board", "board"), True),
        (text("Board", "board", is_context=True), False),
        (text("Bag", "bag", is_context=True), True),
        (Column("X", ("at.0.x",), ".1f"), True),
        (Column("X", ("at.1.x",), ".1f"), False),
    ],
)
def test_columns_without_a_value_or_without_news_are_left_out(
    column: Column, is_there: bool
) -> None:
    assert filled(Value(ROWS), [column]) == ([column] if is_there else [])


def test_a_range_has_its_ends_beside_it() -> None:
    one = ranged("1 more, °", "angle_deg", within="steps.0.")
    assert one.keys == ("steps.0.angle_deg", "steps.0.lower_deg", "steps.0.upper_deg")
    assert one.form == "{} ({} to {})"
