"""Uncertainty against the GUM's example H.1, its table G.2, and an independent package."""

import math

import numpy as np
import pytest
from uncertainties import correlated_values, ufloat
from uncertainties.umath import atan2, degrees, sqrt, tan

from rig.analysis.uncertainty import (
    coverage_factor,
    root_sum_square,
    u_of_tangent,
    welch_satterthwaite,
)
from rig.calibration.apply import jacobian, u_inclination_deg
from tests.calibration.example import calibration


def test_end_gauge() -> None:
    """JCGM 100:2008, H.1: an end gauge of 50 mm, in nanometres.

    Contributions u(ls) 25 (18 degrees of freedom), u(d) 9.7 (25.6), ls·θ·u(δα) with θ = −0.1 °C
    2.9 (50), ls·αs·u(δθ) 16.6 (2).
    """
    d = [(5.8, 24), (3.9, 5), (6.7, 8)]
    u_d = root_sum_square(u for u, _ in d)
    assert u_d == pytest.approx(9.7, abs=0.05)
    # The GUM prints 25.6; its own rounded parts give 25.45.
    assert welch_satterthwaite(d) == pytest.approx(25.6, abs=0.2)
    length_nm = 50.000623e6
    parts = [
        (25.0, 18),
        (u_d, welch_satterthwaite(d)),
        (length_nm * 0.1 * 0.58e-6, 50),
        (length_nm * 11.5e-6 * 0.029, 2),
    ]
    assert [round(u, 1) for u, _ in parts[2:]] == [2.9, 16.7]
    u_c = root_sum_square(u for u, _ in parts)
    assert u_c == pytest.approx(32.0, abs=0.5)
    dof = welch_satterthwaite(parts)
    assert math.floor(dof) == 16
    assert coverage_factor(dof, 0.99) == pytest.approx(2.92, abs=0.005)
    assert round(coverage_factor(dof, 0.99) * 32.0) == 93


@pytest.mark.parametrize(
    ("dof", "p95", "p99"),
    [
        (1, 12.71, 63.66),
        (2, 4.30, 9.92),
        (3, 3.18, 5.84),
        (5, 2.57, 4.03),
        (8, 2.31, 3.36),
        (10, 2.23, 3.17),
        (16, 2.12, 2.92),
        (20, 2.09, 2.85),
        (50, 2.01, 2.68),
        (100, 1.984, 2.626),
        (math.inf, 1.96, 2.576),
    ],
)
def test_t_table(dof: float, p95: float, p99: float) -> None:
    """JCGM 100:2008, table G.2."""
    assert coverage_factor(dof) == pytest.approx(p95, abs=0.005)
    assert coverage_factor(dof, 0.99) == pytest.approx(p99, abs=0.005)


def test_tangent_propagates_as_the_package_says() -> None:
    for angle in (10.0, 20.0, 35.0):
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
