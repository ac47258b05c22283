"""Bags to be matched and readings of today, as typed."""

from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.answer.ask import Like, air_at
from rig.study.answer.typed import like_of, slides_of
from rig.study.folder.study import Study
from tests.study.folder_example import make_study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return make_study(tmp_path / "s")


def test_the_air_to_be_like_is_taken_as_people_type_it(study: Study) -> None:
    assert like_of("C1/slick@oak:77F,50 %RH") == Like("C1", "slick", "oak", air_at(25.0, 50.0))
    assert like_of("C1/slick") == Like("C1", "slick")
    for air, why in (
        ("23", "names no bag"),
        ("23,50,2", "names no bag"),
        ("60,50", "temperature of"),
        ("23,101", "humidity of"),
    ):
        with pytest.raises(BadInputError, match=why):
            like_of(f"C1/slick:{air}")
    with pytest.raises(BadInputError, match="an invisible character"):
        like_of("C\u200b1/slick")
    with pytest.raises(BadInputError, match="an invisible character"):
        slides_of(["C\u200b1/slick=21"], study, None, None, None)


def test_readings_of_today_are_one_series_each(study: Study) -> None:
    found = slides_of(["C1/slick=21,22", "T1/grip=25.5"], study, "A", air_at(23.0, 45.0), "Ada")
    assert [(one.bag, one.face, one.onset_angle_deg) for one in found] == [
        ("C1", "slick", 21.0),
        ("C1", "slick", 22.0),
        ("T1", "grip", 25.5),
    ]
    assert {one.session for one in found} == {"today"}
    assert len({one.series for one in found}) == 2
    assert {(one.source, one.reader, one.board) for one in found} == {("hand", "Ada", "A")}
    assert {one.surface_humidity_pct for one in found} == {45.0}
    assert all(one.valid and one.slid for one in found)


@pytest.mark.parametrize("text", ["C1=3", "C1/slick=", "C1/slick=91", "C1/slick=0", "C1/slick=a"])
def test_what_is_not_a_reading(study: Study, text: str) -> None:
    with pytest.raises(BadInputError, match="is not a reading"):
        slides_of([text], study, None, None, None)
