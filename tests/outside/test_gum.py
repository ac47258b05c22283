"""Uncertainty against the GUM's example H.1, its table G.2, and an independent package."""

import math

import numpy as np
import pytest
from uncertainties import correlated_values, ufloat
from uncertainties.umath import atan2, degrees, sqrt, tan

from rig.analysis.budget.parts import root_sum_square, u_of_tangent
from rig.calibration.apply import jacobian, u_inclination_deg
from rig.statistics.satterthwaite import coverage_factor, welch_satterthwaite
from tests.calibration.example import calibration


def test_end_gauge() -> None:
    """JCGM 100:2008, H.1: an end gauge of 50 mm, in nanometres.

    Table H.1: u(ls) 25 with 18 degrees of freedom, u(d) 9.7 with 25.6, ls·θ·u(δα) 2.9 with 50,
    ls·αs·u(δθ) 16.6 with 2; H.1.6: 32 with 16.7, cut to 16, t99 2.92, so U99 93. The package GTC
    1.5.1, whose examples carry the same inputs, gives 31.66388 with 16.75186.
    """
    # Repeated observations, random and systematic effects of the comparator.
    d = [(5.8, 24), (3.9, 5), (6.7, 8)]
    u_d = root_sum_square(u for u, _ in d)
    assert u_d == pytest.approx(9.7, abs=0.05)
    # The GUM prints 25.6; its own rounded parts give 25.45.
    assert welch_satterthwaite(d) == pytest.approx(25.6, abs=0.2)
    # δα and δθ are even within ±1e-6/°C and ±0.05 °C, and θ is −0.1 °C.
    length_nm = 50.000623e6
    parts = [
        (25.0, 18),
        *d,
        (length_nm * 0.1 * 1e-6 / math.sqrt(3.0), 50),
        (length_nm * 11.5e-6 * 0.05 / math.sqrt(3.0), 2),
    ]
    assert [round(u, 1) for u, _ in parts[-2:]] == [2.9, 16.6]
    assert root_sum_square(u for u, _ in parts) == pytest.approx(31.66388, abs=1e-5)
    dof = welch_satterthwaite(parts)
    assert dof == pytest.approx(16.75186, abs=1e-5)
    assert coverage_factor(dof, 0.99) == pytest.approx(2.92, abs=0.005)
    assert round(coverage_factor(dof, 0.99) * 32.0) == 93


@pytest.mark.parametrize(
    ("dof", "p6827", "p95", "p9545", "p99"),
    [
        (1, 1.84, 12.71, 13.97, 63.66),
        (2, 1.32, 4.30, 4.53, 9.92),
        (3, 1.20, 3.18, 3.31, 5.84),
        (5, 1.11, 2.57, 2.65, 4.03),
        (8, 1.07, 2.31, 2.37, 3.36),
        (10, 1.05, 2.23, 2.28, 3.17),
        (16, 1.03, 2.12, 2.17, 2.92),
        (20, 1.03, 2.09, 2.13, 2.85),
        (50, 1.01, 2.01, 2.05, 2.68),
        (100, 1.005, 1.984, 2.025, 2.626),
        (math.inf, 1.000, 1.960, 2.000, 2.576),
    ],
)
def test_t_table(dof: float, p6827: float, p95: float, p9545: float, p99: float) -> None:
    """JCGM 100:2008, table G.2."""
    for probability, expected in ((0.6827, p6827), (0.95, p95), (0.9545, p9545), (0.99, p99)):
        assert coverage_factor(dof, probability) == pytest.approx(expected, abs=0.0051)


def test_tangent_propagates_as_the_package_says() -> None:
    for angle in (5.0, 10.0, 20.0, 35.0, 41.0):
        theta = ufloat(math.radians(angle), math.radians(0.1))
        assert u_of_tangent(angle, 0.1) == pytest.approx(tan(theta).std_dev, rel=1e-9)


@pytest.mark.parametrize("angle_deg", [8.0, 20.0, 40.0])
def test_a_calibrations_covariance_propagates_as_the_package_says(angle_deg: float) -> None:
    rng = np.random.default_rng(11)
    scale = np.diag([3e-3, 9e-3, 3e-3, 2e-3, 1e-2, 3e-3, 0.06, 0.5])
    mixed = rng.normal(size=(8, 8))
    covariance = scale @ (mixed @ mixed.T / 8.0) @ scale
    model = calibration(covariance=tuple(tuple(row) for row in covariance.tolist()))
    force = np.array([math.sin(math.radians(angle_deg)), 0.0, math.cos(math.radians(angle_deg))])
    values = correlated_values([0.0] * 3 + [1.0] * 3 + [0.0] * 2, covariance)
    x, y, z = (values[3 + i] * (force[i] - values[i]) for i in range(3))
    # Level tilted by small angles: along towards x (the hinge is y, level z), across towards y.
    lx, ly = values[6] * math.radians(1.0), values[7] * math.radians(1.0)
    lz = sqrt(1.0 - lx**2 - ly**2)
    cross = sqrt((ly * z - lz * y) ** 2 + (lz * x - lx * z) ** 2 + (lx * y - ly * x) ** 2)
    theta = degrees(atan2(cross, lx * x + ly * y + lz * z))
    assert np.hypot(*u_inclination_deg(model, force)) == pytest.approx(theta.std_dev, rel=1e-6)
    assert jacobian(model, force).shape == (8,)
