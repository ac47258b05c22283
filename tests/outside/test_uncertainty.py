"""Uncertainty arithmetic against JCGM 100:2008 (GUM) and the package uncertainties."""

import math

import pytest
from scipy.special import stdtrit

from rig.analysis.uncertainty import (
    coverage_factor,
    friction_law_component,
    root_sum_square,
    u_of_tangent,
    welch_satterthwaite,
)

# JCGM 100:2008, H.1 (end gauge): contributions in nm with their degrees of freedom.
END_GAUGE = [(25.0, 18.0), (9.7, 25.6), (2.9, math.inf), (16.6, 2.0)]


def test_the_end_gauge_of_h1() -> None:
    assert root_sum_square(u for u, _ in END_GAUGE) == pytest.approx(32.0, abs=0.5)
    dof = welch_satterthwaite(END_GAUGE)
    assert dof == pytest.approx(16.7, abs=0.1)
    k = coverage_factor(dof, 0.99)
    assert k == pytest.approx(2.92, abs=0.005)
    assert k * 32.0 == pytest.approx(93.0, abs=1.0)


# JCGM 100:2008, table G.2.
@pytest.mark.parametrize(
    ("dof", "p6827", "p95", "p9545", "p99"),
    [
        (1, 1.84, 12.71, 13.97, 63.66),
        (2, 1.32, 4.30, 4.53, 9.92),
        (5, 1.11, 2.57, 2.65, 4.03),
        (10, 1.05, 2.23, 2.28, 3.17),
        (20, 1.03, 2.09, 2.13, 2.85),
        (50, 1.01, 2.01, 2.05, 2.68),
        (math.inf, 1.00, 1.960, 2.000, 2.576),
    ],
)
def test_coverage_factors(dof: float, p6827: float, p95: float, p9545: float, p99: float) -> None:
    for probability, expected in ((0.6827, p6827), (0.95, p95), (0.9545, p9545), (0.99, p99)):
        assert coverage_factor(dof, probability) == pytest.approx(expected, abs=0.0051)


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


def test_u_of_the_tangent_against_the_package_uncertainties() -> None:
    uncertainties = pytest.importorskip("uncertainties")
    umath = pytest.importorskip("uncertainties.umath")
    for angle in (5.0, 22.0, 41.0):
        tangent = umath.tan(uncertainties.ufloat(math.radians(angle), math.radians(0.07)))
        assert u_of_tangent(angle, 0.07) == pytest.approx(tangent.std_dev, rel=1e-9)


def test_the_friction_laws_part_is_a_root_mean_square() -> None:
    # Drawn evenly over −0.09…0.45°: mean 0.18°, standard deviation 0.54/√12°.
    part = friction_law_component(1.0)
    assert part.u_theta_deg == pytest.approx(math.sqrt(0.18**2 + 0.54**2 / 12.0))
    assert friction_law_component(8.0).u_theta_deg == pytest.approx(4.0 * part.u_theta_deg)
