"""A bag on an incline, by hand and by the closed form."""

import math

import pytest

from rig.sliding import G_MM_S2, free_time_s, longest_pass_s, slide_time_s
from tests.analysis.even_ramp import moved_mm

LONGEST_S = 1.491
"""By hand: (6 · 156 mm / (g ω))^⅓ - (6 · 4 mm / (g ω))^⅓ with g = 9806.65 mm/s² and ω = π/180 /s
is 1.2425 s; one fifth more."""


def test_standard_gravity() -> None:
    # CGPM 1901: 9.80665 m/s².
    assert G_MM_S2 == 9806.65


def test_the_slowest_and_the_quickest_slide() -> None:
    # From rest with µk = µs at 24° and 1 °/s, by the closed form.
    slowest_s = slide_time_s(160.0, 1.0, 24.0)
    assert moved_mm(24.0 + slowest_s, 24.0, math.tan(math.radians(24.0)), 1.0) == pytest.approx(
        160.0, rel=0.02
    )
    # Without friction at 30°: ½·4.903325 m/s²·(0.5 s)² = 612.9156 mm.
    assert free_time_s(612.9156, 30.0) == pytest.approx(0.5, rel=1e-6)


def test_the_slowest_pass_is_that_of_the_formula() -> None:
    assert longest_pass_s(8.0, 152.0, 1.0) == pytest.approx(LONGEST_S, rel=4e-4)
    # By t ~ ω^(-1/3).
    assert longest_pass_s(8.0, 152.0, 0.125) == pytest.approx(2.0 * LONGEST_S, rel=4e-4)
