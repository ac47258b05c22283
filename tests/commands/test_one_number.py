"""Nobody finds two different numbers for one question, wherever it is asked."""

from pathlib import Path

import pytest

from tests.commands.conftest import Rig
from tests.commands.rendered import angles_in, texts
from tests.report.fonts import open_fonts
from tests.study.answer.evening import evening

pytestmark = pytest.mark.long


AIR = (22.0, 50.0)


@pytest.fixture(scope="module", autouse=True)
def _drawn_before() -> None:
    open_fonts()


@pytest.fixture
def said(rig: Rig, tmp_path: Path) -> dict[str, str]:
    club = evening(tmp_path / "club").path

    def say(*words: str) -> str:
        done = rig(*words)
        assert done.code == 0, done.err
        return done.out

    return texts(say, club, *AIR)


def test_one_angle_with_one_range_for_each_bag_face(said: dict[str, str]) -> None:
    by_place = {place: angles_in(text) for place, text in said.items()}
    whole = by_place["answer"]
    assert len(whole) == 8, "four bags of two faces"
    assert all(len(figures) == 1 for figures in whole.values())
    for place, found in by_place.items():
        assert found.keys() == whole.keys(), f"{place} leaves some out"
        assert found == whole, place


def test_one_sentence_for_each_question(said: dict[str, str]) -> None:
    first = said["page"].partition(" likely to lie within")[0]
    assert first.startswith("Use Quay")
    for place in ("answer", "choose", "report", "sheet as text"):
        assert first in said[place], place
    shown = said["answer"].partition(" the grip face by ")[2].partition(")")[0]
    assert shown, "the soak's effect on a face"
    for place in ("page", "report"):
        assert f" the grip face by {shown})" in said[place], place
    targets = ("slick 17.5° ± ", "grip 23.0° ± ")
    for place in ("sheet", "sheet as text", "report"):
        assert all(one in said[place] for one in targets), place


def test_two_numbers_would_be_found() -> None:
    text = "Use Quay 1, grip: 24.6° (24.2 to 25.0). Quay 1 grip 24.7° 24.2 to 25.0 62 %"
    assert angles_in(text) == {("Quay 1", "grip"): {("24.6", "24.2", "25.0"),
                                                    ("24.7", "24.2", "25.0")}}  # fmt: skip
