"""Uncertainty arithmetic against formulas worked by hand; the GUM's example is in `test_gum`."""

import math

import pytest
from scipy.special import stdtrit

from rig.analysis.uncertainty import friction_law_component, u_of_tangent
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


def test_the_friction_laws_part_is_a_root_mean_square() -> None:
    # Drawn evenly over −0.09…0.45°: mean 0.18°, standard deviation 0.54/√12°.
    part = friction_law_component(1.0)
    assert part.u_theta_deg == pytest.approx(math.sqrt(0.18**2 + 0.54**2 / 12.0))
    assert friction_law_component(8.0).u_theta_deg == pytest.approx(4.0 * part.u_theta_deg)
