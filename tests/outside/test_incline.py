"""The inclined plane against the standards' definition and textbook motion."""

import math

import numpy as np
import pytest

from rig.analysis.friction import analyse_run
from tests.analysis.closed_form import distance_mm
from tests.analysis.closed_form import Plane
from tests.analysis.slides import one_beam, run_file, slide


# The inclined-plane methods take the tangent of the slide angle as the static coefficient
# (ASTM D4918, ASTM G219, TAPPI T 815). Class limits of the shod ramp test (EN 16165, annex B, and
# DIN 51130): 6, 10, 19, 27 and 35 degrees.
@pytest.mark.parametrize(
    ("angle_deg", "mu"),
    [(10.0, 0.1763), (19.0, 0.3443), (27.0, 0.5095), (35.0, 0.7002)],
)
def test_the_coefficient_is_the_tangent(angle_deg: float, mu: float) -> None:
    tangent = math.tan(math.radians(angle_deg))
    true = slide(tangent, 0.85 * tangent, 1.0, [8.0, 160.0])
    row = analyse_run(run_file(1.0, one_beam(true.edges_s))).result
    assert row.onset_angle_deg == pytest.approx(angle_deg, abs=0.02)
    assert row.mu_static == pytest.approx(mu, abs=5e-4)


def _still(angle_deg: float) -> Plane:
    return Plane(0.0, 1e-3, np.full(3001, angle_deg))


# Slides on a still plane, a = g(sin θ − µk cos θ): 10 kg, 30°, µ 0.2 gives 3.2 m/s² (mytutor.co.uk,
# A-level mathematics, no. 51568); 31°, µk 0.34 gives 2.19 m/s² (homework exercise on bartleby.com,
# 2019, worked out here).
@pytest.mark.parametrize(
    ("angle_deg", "mu_kinetic", "a_m_s2"), [(30.0, 0.2, 3.2), (31.0, 0.34, 2.19)]
)
def test_motion_on_a_still_plane(angle_deg: float, mu_kinetic: float, a_m_s2: float) -> None:
    moved = distance_mm(_still(angle_deg), 1.5, 0.5, mu_kinetic)
    assert moved == pytest.approx(500.0 * a_m_s2, rel=2e-3)


def test_a_block_that_goes_two_metres_in_one_and_a_half_seconds() -> None:
    # Serway, Physics for Scientists and Engineers, chapter 5: from memory, checked by arithmetic.
    # 30°, 2.00 m in 1.50 s from rest gives 1.78 m/s² and µk 0.368.
    drive, drag = _still(30.0).travel_mm(2.0, np.array([0.5]))
    assert float((drive[0] - 2000.0) / drag[0]) == pytest.approx(0.368, abs=5e-4)


def test_the_break_angle_is_late_by_the_cube_root_law() -> None:
    # Own derivation: with µk = µs and θ₀ = 20°, 1 mm of travel at 1.5 °/s takes 0.420°.
    true = slide(math.tan(math.radians(20.0)), math.tan(math.radians(20.0)), 1.5, [1.0, 160.0])
    assert 1.5 * (true.edges_s[0] - true.onset_s) == pytest.approx(0.420, abs=0.003)
