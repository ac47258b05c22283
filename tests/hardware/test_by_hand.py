"""The way in by hand: its files are those that the tools make, and their figures are right."""

import re
from math import degrees, sqrt

import pytest

from hardware.tools import by_hand
from hardware.tools.paper import PAPERS_MM, RADIUS_MM, TEST_MM, WIDTHS
from rig.study.slides.from_csv import COLUMNS


def text(name: str) -> str:
    return (by_hand.FOLDER / name).read_text("utf-8")


def test_the_files_are_those_that_the_tools_make() -> None:
    made = dict(by_hand.all_sheets())
    assert {path.name for path in by_hand.FOLDER.iterdir()} == set(made)
    for name, drawing in made.items():
        assert text(name) == drawing, name
    page = by_hand.PAGE.read_text("utf-8")
    assert page == by_hand.filled(page)
    for name in made:
        assert f"(by_hand/{name})" in page


@pytest.mark.parametrize(
    ("height_mm", "angle_deg"),
    [(100.0, 5.7392), (500.0, 30.0), (1000.0 * sqrt(0.5), 45.0), (300.0, 17.4576)],
)
def test_heights_give_the_angles_of_a_sine_bar(height_mm: float, angle_deg: float) -> None:
    # sin 30° and sin 45°, and arcsin 0.1 and 0.3 of a printed table of functions.
    assert by_hand.angle_deg(height_mm) == pytest.approx(angle_deg, abs=1e-4)


def test_what_a_millimetre_makes_is_the_difference_of_two_angles() -> None:
    for height in by_hand.HEIGHTS_MM:
        by_height, by_apart = by_hand.per_mm_deg(height)
        step = by_hand.angle_deg(height + 0.5) - by_hand.angle_deg(height - 0.5)
        assert by_height == pytest.approx(step, rel=1e-4)
        apart = by_hand.APART_MM
        step = by_hand.angle_deg(height, apart + 0.5) - by_hand.angle_deg(height, apart - 0.5)
        assert by_apart == pytest.approx(step, rel=1e-3)
        assert by_hand.dowel_u_deg(height, 0.5, 0.5) < 0.05
    page = by_hand.PAGE.read_text("utf-8")
    assert f"weighs {by_hand.board_kg():.1f} kg" in page
    assert degrees(1.0 / 1000.0) == pytest.approx(0.0573, abs=1e-4)


def test_the_uprights_foot_and_crossbar_add_up_to_the_height() -> None:
    for height in by_hand.TRESTLES_MM:
        assert by_hand.upright_mm(height) + 18.0 + 38.0 == height


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_reading_sheet_has_the_columns_of_the_command(paper: str) -> None:
    sheet = text(f"reading_sheet_{paper}.svg")
    words = re.findall(r">([^<>]+)</text>", sheet)
    joined = "".join(words)
    for name in COLUMNS:
        assert name in joined, name
    assert list(WIDTHS) == list(COLUMNS)
    wide, tall = PAPERS_MM[paper]
    assert f'width="{wide:g}mm" height="{tall:g}mm" viewBox="0 0 {wide:g} {tall:g}"' in sheet


def test_the_protractor_is_at_true_scale_and_fits_both_papers() -> None:
    sheet = text("protractor.svg")
    size = re.search(
        r'width="([\d.]+)mm" height="([\d.]+)mm" viewBox="0 0 ([\d.]+) ([\d.]+)"', sheet
    )
    assert size is not None
    width, height, *box = (float(one) for one in size.groups())
    assert [width, height] == box, "a unit is a millimetre"
    assert width <= min(w for w, _ in PAPERS_MM.values())
    assert height <= min(h for _, h in PAPERS_MM.values())
    lines = [
        tuple(float(one) for one in found)
        for found in re.findall(
            r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)"', sheet
        )
    ]
    assert any(x2 - x1 == pytest.approx(TEST_MM) and y1 == y2 for x1, y1, x2, y2 in lines)
    corner = (30.0, 50.0)
    rim = [(x2 - corner[0], y2 - corner[1]) for _, _, x2, y2 in lines]
    ticks = [(x, y) for x, y in rim if (x**2 + y**2) ** 0.5 == pytest.approx(RADIUS_MM, abs=0.02)]
    assert len(ticks) == 91
    # The tick of 30° lies half a radius below the line; that of 45° as far right as below.
    assert ticks[30][1] == pytest.approx(RADIUS_MM / 2, abs=0.02)
    assert ticks[45][0] == pytest.approx(ticks[45][1], abs=0.02)
