"""The screw's triangle by hand: base 900 mm, arm 450 mm, 20° between them at level."""

from math import radians

import pytest

from rig.settings.checks import max_rate_deg_s
from rig.settings.kinematics import Kinematics
from rig.settings.model import Linkage as Pivots
from rig.settings.model import Screw, Settings

LINKAGE = Kinematics(Pivots(), Screw())


@pytest.mark.parametrize(
    ("angle_deg", "length_mm"),
    [
        # √(900² + 450² - 2·900·450·cos 20°)
        (0.0, 501.347),
        # 60° between the arms, one of them half the other: a right angle at the cradle's pivot.
        (40.0, 450.0 * 3**0.5),
        # 90° at the hinge: Pythagoras.
        (70.0, 450.0 * 5**0.5),
    ],
)
def test_lengths(angle_deg: float, length_mm: float) -> None:
    assert LINKAGE.length_mm(angle_deg) == pytest.approx(length_mm, abs=1e-3)
    assert LINKAGE.angle_from_length_deg(length_mm) == pytest.approx(angle_deg, abs=1e-3)
    # 200 steps × 2 for 4 mm.
    assert LINKAGE.count_at(angle_deg) == pytest.approx(100 * (length_mm - 501.347), abs=0.1)


def test_where_the_screw_stands_square_to_its_arm_the_lever_is_the_arm() -> None:
    assert LINKAGE.lever_arm_mm(40.0) == pytest.approx(450.0)
    # At 90° at the hinge: twice the triangle's area by its longest side.
    assert LINKAGE.lever_arm_mm(70.0) == pytest.approx(900.0 / 5**0.5)
    assert LINKAGE.mm_per_deg(40.0) == pytest.approx(450.0 * radians(1.0))
    per_deg = 450.0 * radians(1.0) * 100.0
    assert LINKAGE.deg_per_pulse(40.0) == pytest.approx(1.0 / per_deg)
    assert LINKAGE.pulse_rate_hz(40.0, 0.5) == pytest.approx(0.5 * per_deg)
    assert LINKAGE.steepest_deg(0.0, 46.0) == pytest.approx(40.0)
    # 2000 pulses a second at 785.4 pulses per degree.
    assert max_rate_deg_s(Settings()) == pytest.approx(2000.0 / per_deg)


@pytest.mark.parametrize(("low", "high", "steepest"), [(0.0, 30.0, 30.0), (45.0, 46.0, 45.0)])
def test_the_steepest_place_stays_in_the_range(low: float, high: float, steepest: float) -> None:
    assert LINKAGE.steepest_deg(low, high) == steepest
