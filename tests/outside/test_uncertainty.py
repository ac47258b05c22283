"""Uncertainty arithmetic against formulas worked by hand; the GUM's example is in `test_gum`."""

import math

import pytest
from scipy.special import stdtrit

from rig.analysis.budget.parts import law_floor_deg, rate_free_component, u_of_tangent
from rig.statistics.satterthwaite import coverage_factor, welch_satterthwaite


def test_degrees_of_freedom_are_cut() -> None:
    assert coverage_factor(16.99) == pytest.approx(float(stdtrit(16, 0.975)))
    assert coverage_factor(0.5) == math.inf
    assert welch_satterthwaite([(1.0, math.inf), (2.0, math.inf)]) == math.inf
    assert welch_satterthwaite([(3.0, 7.0)]) == pytest.approx(7.0)


# u(µ) for 0.1° at these angles, by arithmetic.
@pytest.mark.parametrize(
    ("angle_deg", "u_mu"),
    [(10.0, 0.00180), (20.0, 0.00198), (25.0, 0.00212), (30.0, 0.00233), (35.0, 0.00260)],
)
def test_u_of_the_tangent(angle_deg: float, u_mu: float) -> None:
    assert u_of_tangent(angle_deg, 0.1) == pytest.approx(u_mu, abs=5e-6)


def test_the_friction_laws_parts_grow_with_the_rate() -> None:
    # While a bag starts from nearly balanced forces it moves as g·ω·t³/6: the time that this hides
    # is as ω^(−1/3), and the angle in it as ω^(2/3).
    assert law_floor_deg(8.0) == pytest.approx(4.0 * law_floor_deg(1.0))
    assert law_floor_deg(1.0) == 0.05
    # Elastic contact, simulated: 0.43° at 1 °/s, 0.30° at 0.3, 0.16° at 0.1 °/s (rms).
    for rate, rms_deg in ((1.0, 0.43), (0.3, 0.30), (0.1, 0.16)):
        assert rate_free_component(rate).u_theta_deg == pytest.approx(rms_deg, rel=0.25)
