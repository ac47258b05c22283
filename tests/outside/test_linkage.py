"""The screw's triangle against plane coordinates, a root finder and exact triangles."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from rig.settings.kinematics import Kinematics
from rig.settings.model import Linkage as Pivots
from rig.settings.model import Screw

REFERENCE = Kinematics(Pivots(), Screw())


def length_by_coordinates_mm(
    angle_deg: float, a: float = 900.0, b: float = 450.0, level_deg: float = 20.0
) -> float:
    """Hinge at the origin; the base pivot stays, the cradle pivot turns with the board."""
    base = np.array([a, 0.0])
    turned = math.radians(level_deg + angle_deg)
    cradle = b * np.array([math.cos(turned), math.sin(turned)])
    return float(np.linalg.norm(cradle - base))


@pytest.mark.parametrize(
    ("a", "b", "angle_deg", "c"),
    [(5, 8, 60, 7), (7, 15, 60, 13), (3, 5, 120, 7), (7, 8, 120, 13), (3, 4, 90, 5)],
)
def test_triangles_with_whole_sides(a: float, b: float, angle_deg: float, c: float) -> None:
    """Euclid, Elements II.12 and II.13; sides and angle are whole numbers, exact by arithmetic."""
    linkage = Kinematics(
        Pivots(base_pivot_mm=a, cradle_pivot_mm=b, level_angle_deg=30.0), Screw(lead_mm=1.0)
    )
    assert linkage.length_mm(angle_deg - 30.0) == pytest.approx(c, rel=1e-12)
    assert linkage.angle_from_length_deg(float(c)) == pytest.approx(angle_deg - 30.0, rel=1e-12)


@pytest.mark.parametrize("angle_deg", np.linspace(-5, 60, 14).tolist())
def test_length_and_lever_arm_against_coordinates(angle_deg: float) -> None:
    assert REFERENCE.length_mm(angle_deg) == pytest.approx(
        length_by_coordinates_mm(angle_deg), rel=1e-12
    )
    # the lever arm is the distance of the screw's line from the hinge
    turned = math.radians(20.0 + angle_deg)
    base, cradle = np.array([900.0, 0.0]), 450 * np.array([math.cos(turned), math.sin(turned)])
    along = (cradle - base) / np.linalg.norm(cradle - base)
    arm = abs(base[0] * along[1] - base[1] * along[0])
    assert REFERENCE.lever_arm_mm(angle_deg) == pytest.approx(arm, rel=1e-12)


@pytest.mark.parametrize("count", [-500, 0, 1, 10_000, 25_000, 31_730])
def test_count_to_angle_against_a_root_finder(count: int) -> None:
    wanted_mm = length_by_coordinates_mm(0.0) + count * 4.0 / 400
    found = brentq(lambda angle: length_by_coordinates_mm(angle) - wanted_mm, -10, 80, xtol=1e-12)
    assert REFERENCE.angle_deg(float(count)) == pytest.approx(found, abs=1e-9)


def test_stroke_and_pulse_rate_of_the_reference_rig() -> None:
    """Worked by hand: √(900² + 450² − 2·900·450·cos 65°) − the same at 20° = 818.6 − 501.3 mm."""
    stroke = REFERENCE.length_mm(45.0) - REFERENCE.length_mm(0.0)
    assert stroke == pytest.approx(317, abs=0.5)
    # the screw stands square to the cradle at 40°: 450 mm/rad = 7.854 mm/°, 100 pulses/mm
    assert REFERENCE.steepest_deg(0.0, 46.0) == pytest.approx(40.0)
    assert REFERENCE.pulse_rate_hz(40.0, 1.0) == pytest.approx(785.4, abs=0.05)
