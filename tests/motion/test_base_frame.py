"""The base of the drawings as bars, its loads and what tips it, against numbers worked out here."""

from math import cos, pi, radians, sin

import pytest

from rig.motion.base_frame import (
    Loads,
    figures_of,
    loads,
    reference_frame,
    tipping_n,
    yields_deg,
)
from rig.motion.space_frame import displacements
from rig.settings.model import Settings
from tests.motion.changed import changed

SETTINGS = Settings()
FRAME = reference_frame(SETTINGS)


def test_places_of_the_base() -> None:
    """Feet 25 mm high below timber of 89, panels 18 thick and 202 mm apart, hinge at 545 mm."""
    assert set(FRAME.held) == {(x, y, 69.5) for x in (-180.0, 1260.0) for y in (-520.0, 520.0)}
    assert FRAME.hinges == [(0.0, -180.0, 545.0), (0.0, 180.0, 545.0)]
    base = (900 * cos(radians(20)), 545 - 900 * sin(radians(20)))
    for place, y in zip(FRAME.pivots, (-47.0, 47.0), strict=True):
        assert place == pytest.approx((base[0], y, base[1]))
    joints = {place for bar in FRAME.bars for place in bar[:2]}
    assert {(x, 110.0, 158.5) for x in (-180.0, 0.0, 816.0, 1260.0)} < joints
    assert len(joints) == 28


def test_sections_of_the_base() -> None:
    """E·A of timber 38 x 89, of a strip 18 x 100 of plywood and of a round bar of 20 mm."""
    stiffness = sorted({round(bar.section.stretch_n) for bar in FRAME.bars})
    assert stiffness == [5000 * 18 * 100, 9500 * 38 * 89, round(205e3 * pi / 4 * 400)]
    bend = {round(bar.section.bend_tall_n_mm2) for bar in FRAME.bars}
    assert round(205e3 * pi / 64 * 20**4) in bend


def test_the_held_joints_let_it_neither_slide_nor_turn() -> None:
    assert sorted(FRAME.held.values()) == ["xyz", "xz", "z", "z"]


def test_screw_and_weight_on_hinge_and_base_pivot() -> None:
    """At level the screw rises by 307.8 over 395.7 mm towards the hinge; 500 N, 200 N of weight."""
    found = loads(SETTINGS, 0.0, 500.0, 200.0)
    assert found.on_hinge == pytest.approx((-500 * 0.789290, 500 * 0.614021 - 200), abs=0.05)
    assert found.on_base_pivot == pytest.approx((500 * 0.789290, -500 * 0.614021), abs=0.05)


def test_most_along_the_floor_and_most_uplift_come_from_different_angles() -> None:
    push = {0.0: 100.0, 45.0: 400.0}
    along, uplift, yields = figures_of(SETTINGS, push.__getitem__, 50.0, [0.0, 45.0])
    low, high = (loads(SETTINGS, a, push[a], 50.0) for a in (0.0, 45.0))
    assert along == max(-low.on_hinge[0], -high.on_hinge[0])
    assert uplift == max(low.on_hinge[1], high.on_hinge[1])
    assert len(yields) == 2


def test_a_hinge_that_gives_way_downhill_lowers_the_board() -> None:
    """Nothing on the base pivot; 300 N downhill on the hinge."""
    (lost,) = yields_deg(SETTINGS, FRAME, [(0.0, Loads((-300.0, 0.0), (0.0, 0.0)))])
    (other,) = yields_deg(SETTINGS, FRAME, [(0.0, Loads((300.0, 0.0), (0.0, 0.0)))])
    assert lost > 0.0003
    assert other == pytest.approx(-lost, rel=0.1)


def test_what_tips_the_rig_when_raised() -> None:
    """10 kg at 600·cos 45° mm, 30 kg at 500 mm; edge at 545 + 1219·sin 45° mm."""
    settings = changed(
        mechanics={
            "moving_mass_kg": 10.0,
            "centre_of_mass_mm": 600.0,
            "base_mass_kg": 30.0,
            "base_centre_mm": 500.0,
        }
    )
    sideways, downhill = tipping_n(settings, 10.0)
    assert sideways == pytest.approx(400 * 520 / 1406.963, rel=1e-5)
    assert downhill == pytest.approx((100 * (424.264 + 180) + 300 * 680) / 1406.963, rel=1e-5)


def test_a_base_pivot_that_sinks_lowers_the_board_by_its_way_over_the_arm() -> None:
    """By geometry: a triangle with one corner moved down by δ; here δ is the frame's own."""
    load = dict.fromkeys(FRAME.pivots, (0.0, 0.0, -400.0))
    (moved,) = displacements(FRAME.bars, FRAME.held, [load])
    down = moved[FRAME.pivots[0]][2] - moved[FRAME.hinges[0]][2]
    along = moved[FRAME.pivots[0]][0] - moved[FRAME.hinges[0]][0]
    (lost,) = yields_deg(SETTINGS, FRAME, [(0.0, Loads((0.0, 0.0), (0.0, -800.0)))])
    lever = 900 * 450 * sin(radians(20)) / 501.347
    way = 0.789290 * along - 0.614021 * down  # of the base pivot, away from the cradle pivot
    assert lost == pytest.approx(way / lever * 180 / pi, rel=0.02)
    assert abs(down) > abs(along)
