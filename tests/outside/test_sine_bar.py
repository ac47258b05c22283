"""Sine bars and levels against published examples."""

import math

import pytest

from rig.calibration.reference import SineBar, rectangular, to_deg, vial_u_deg


@pytest.mark.parametrize(
    ("height", "length", "angle"),
    [
        # Worked examples for a 5 in bar; the unit cancels. calcady.com, "Sine Bar Angle & Gage
        # Block"; higherprecision.com, question on the height of blocks; shopdawg.com, "sinebar".
        (2.5000, 5.0, 30.0),
        (2.270, 5.0, 27.0),
        (1.545, 5.0, 18.0),
        # Own arithmetic: L·sin θ.
        (1.1248, 5.0, 13.0),
        (34.2020, 100.0, 20.0),
        (42.2618, 100.0, 25.0),
        (51.7638, 200.0, 15.0),
    ],
)
def test_angle_of_a_sine_bar(height: float, length: float, angle: float) -> None:
    assert SineBar(height, length).angle_deg == pytest.approx(angle, abs=0.002)


@pytest.mark.parametrize(("angle", "expected"), [(30.0, 0.00132), (60.0, 0.00229)])
def test_a_wrong_block_turns_the_bar(angle: float, expected: float) -> None:
    """0.0001 in of block on a 5 in bar: dθ = dh/(L·cos θ), 0.00132° at 30° and 0.00229° at 60°.

    Both figures stand in "Sine Bar Question" (4 February 2012), a thread of home machinists.
    """
    height = 5.0 * math.sin(math.radians(angle))
    bar = SineBar(height, 5.0, limit_height_mm=0.0001 * math.sqrt(3.0), limit_length_mm=0.0)
    assert bar.u_parts_deg()[0] == pytest.approx(expected, abs=1e-5)
    moved = SineBar(height + 0.0001, 5.0).angle_deg - SineBar(height, 5.0).angle_deg
    assert moved == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    ("mm_per_m", "arc_seconds"),
    [(0.02, 4.125), (0.05, 10.31), (0.1, 20.63), (0.3, 61.9), (0.5, 103.1), (1.0, 206.3)],
)
def test_sensitivity_of_a_level(mm_per_m: float, arc_seconds: float) -> None:
    """Vials are quoted in mm/m and in seconds of arc per 2 mm of the bubble; own arithmetic."""
    assert to_deg(mm_per_m, "mm/m") * 3600.0 == pytest.approx(arc_seconds, rel=1e-3)
    assert to_deg(arc_seconds, "arcsec") == pytest.approx(to_deg(mm_per_m, "mm/m"), rel=1e-3)


def test_five_degrees_are_87_mm_per_m() -> None:
    # leveldevelopments.com prints 87 mm/m; 87.49 is 1000·tan 5°.
    assert to_deg(87.49, "mm/m") == pytest.approx(5.0, abs=1e-3)


def test_a_fifth_of_a_division() -> None:
    # 0.5 mm/m is 0.0286°; a fifth of that, rectangular.
    assert vial_u_deg(0.5) == pytest.approx(rectangular(0.0286 / 5.0), rel=2e-3)
