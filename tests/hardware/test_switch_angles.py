"""The limit switches open where the settings say, from the cams' outlines and the rollers."""

from dataclasses import replace
from math import cos, hypot, radians, sin

import pytest

from hardware.model.assembly import Rig
from hardware.model.cams import acts_deg, cams, outline, pushed, ramp_deg, switch_height
from hardware.model.numbers import NUMBERS
from hardware.model.shapes import Group, plate, rod
from rig.settings.model import Settings
from tests.motion.changed import changed

HOME, TOP = Settings().linkage.home_angle_deg, Settings().linkage.travel_deg
REPEATS_MM = 0.1
"""What the parts list asks of a switch."""


def angles(opens: float, numbers=NUMBERS, settings=None) -> tuple[float, float]:
    found = cams(settings or Settings(), NUMBERS)
    return (
        acts_deg(found["lower"], numbers, opens, rising=False),
        acts_deg(found["upper"], numbers, opens, rising=True),
    )


@pytest.mark.parametrize("slack_mm", [-REPEATS_MM, 0.0, REPEATS_MM])
def test_lower_and_upper_switch_open_within_03_deg(slack_mm: float) -> None:
    lower, upper = angles(NUMBERS.switch_opens + slack_mm)
    assert lower == pytest.approx(HOME, abs=0.3)
    assert upper == pytest.approx(TOP, abs=0.3)


def test_a_roller_and_a_lobe_as_an_earlier_cam_had_act_degrees_away() -> None:
    """Lobe and roller subtended 11.2° on either side; the cam was set by the lobe's middle."""
    middle = [*outline(NUMBERS, -90.0 - 11.2, 1, long_deg=22.4)]
    found = acts_deg(middle, NUMBERS, NUMBERS.switch_opens, rising=False)
    assert abs(found - HOME) > 0.3


def test_slots_and_cams_adjust_by_more_than_a_switch_differs() -> None:
    """Slots of 8 mm in the plates; the sold switches differ by a millimetre in their travel."""
    for other in (1.0, 3.0):
        shifted = replace(NUMBERS, cam_low=NUMBERS.cam_low - (other - NUMBERS.switch_opens))
        lower, upper = angles(other, shifted)
        assert lower == pytest.approx(HOME, abs=0.3)
        assert upper == pytest.approx(TOP, abs=0.3)


def test_other_settings_move_the_cams() -> None:
    other = changed(linkage={"home_angle_deg": 2.0, "travel_deg": 40.0})
    assert angles(NUMBERS.switch_opens, settings=other) == pytest.approx((2.0, 40.0), abs=0.05)


def test_the_switches_stay_as_they_are_beyond_their_angles() -> None:
    """Held open by 30° past home and past the top, and closed between."""
    found = cams(Settings(), NUMBERS)
    wanted = switch_height(NUMBERS) + NUMBERS.switch_opens

    def is_open(which: str, angle_deg: float) -> bool:
        return pushed(found[which], NUMBERS.roller, -90.0 - angle_deg) >= wanted

    assert all(is_open("lower", -1.0 - i) for i in range(30))
    assert all(is_open("upper", TOP + 1.0 + i) for i in range(30))
    assert not any(is_open(which, 1.0 + i) for which in found for i in range(44))


def test_the_roller_touches_the_cam_where_its_middle_is_reckoned() -> None:
    points = cams(Settings(), NUMBERS)["lower"]
    for angle in (-2.0, 0.0, 0.5, 3.0, 20.0):
        away = pushed(points, NUMBERS.roller, -90.0 - angle)
        x, z = away * cos(radians(-90.0 - angle)), away * sin(radians(-90.0 - angle))
        nearest = min(hypot(px - x, pz - z) for px, pz in points)
        assert nearest == pytest.approx(NUMBERS.roller / 2, abs=2e-3)
    assert ramp_deg(NUMBERS) < 10


@pytest.mark.long
def test_the_printed_cams_turned_onto_the_bar_have_these_outlines() -> None:
    """A mirrored cam would act on the wrong side of its ramp."""
    parts = {p.name: p.solid for p in Rig(Settings()).of(Group.CRADLE)}
    for which, points in cams(Settings(), NUMBERS).items():
        y = NUMBERS.cam_y if which == "lower" else -NUMBERS.cam_y
        disc = plate(points, y - NUMBERS.cam_wide / 2, y + NUMBERS.cam_wide / 2)
        disc -= rod("y", -200, 200, 42)
        printed = parts[f"cam {which}"]
        assert (disc - printed).volume() < 0.01 * disc.volume()
        hub = (printed - plate(points, -200, 200)).volume()
        assert hub == pytest.approx(0, abs=1)
        assert abs(printed.bounding_box()[1]) < 92 + 1e-6
        assert abs(printed.bounding_box()[4]) < 92 + 1e-6
