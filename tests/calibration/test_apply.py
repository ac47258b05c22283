import math

import numpy as np
import pytest

from rig.calibration.apply import (
    along_slope_deg,
    cross_slope_deg,
    gravity_g,
    inclination_deg,
    jacobian,
    slopes_deg,
    u_inclination_deg,
    u_of_rates,
    u_temperature_deg,
)
from rig.calibration.model import PARAMETERS, Calibration
from tests.calibration.example import calibration, diagonal


def _turned(vector: np.ndarray, axis: np.ndarray, angle_deg: float) -> np.ndarray:
    """Rodrigues' rotation."""
    angle = math.radians(angle_deg)
    return (
        vector * math.cos(angle)
        + np.cross(axis, vector) * math.sin(angle)
        + axis * (axis @ vector) * (1 - math.cos(angle))
    )


@pytest.mark.parametrize("angle_deg", [-0.5, 0.0, 1e-4, 5.0, 20.0, 44.9])
@pytest.mark.parametrize("mounting", [(0.0, 1.0, 0.0), (0.6, 0.0, -0.8), (-1.0, 0.0, 0.0)])
def test_any_mounting_of_the_sensor_gives_the_angle(
    angle_deg: float, mounting: tuple[float, float, float]
) -> None:
    axis = np.array(mounting)
    level = np.cross(axis, [0.36, 0.48, 0.8])
    level /= np.linalg.norm(level)
    model = calibration(axis=tuple(axis), level=tuple(level))
    f = 1.003 * _turned(level, axis, angle_deg)
    assert inclination_deg(model, f[None, :])[0] == pytest.approx(angle_deg, abs=1e-9)
    assert cross_slope_deg(model, f[None, :])[0] == pytest.approx(0.0, abs=1e-9)


def test_counts_become_gravity_by_the_documented_formula() -> None:
    model = calibration(
        bias_g=(0.02, -0.01, 0.005), gain=(1.01, 0.99, 1.002), drift_g_per_k=(1e-4, 0.0, -2e-4)
    )
    counts = np.array([[5737, -200, 15000], [0, 0, 16393]])
    expected = [
        [
            1.01 * (5737 / 16393 - 0.02 - 1e-3),
            0.99 * (-200 / 16393 + 0.01),
            1.002 * (15000 / 16393 - 0.005 + 2e-3),
        ],
        [1.01 * -0.021, 0.99 * 0.01, 1.002 * (1 - 0.003)],
    ]
    np.testing.assert_allclose(gravity_g(model, counts, 32.0), expected, rtol=1e-12)
    np.testing.assert_allclose(gravity_g(model, counts[1], None)[0], 1.01 * -0.02)


@pytest.mark.parametrize("temperature_c", [None, 14.0])
def test_a_single_reading_in_plain_numbers_is_the_one_in_arrays(
    temperature_c: float | None,
) -> None:
    model = calibration(
        bias_g=(0.02, -0.01, 0.005),
        gain=(1.01, 0.99, 1.002),
        drift_g_per_k=(1e-4, 3e-4, -2e-4),
        axis=(0.6, 0.0, -0.8),
        level=(0.64, 0.6, 0.48),
    )
    for counts in ((9000, 10000, 8000), (16000, 100, -300), (-3000, 900, 14000)):
        gravity = gravity_g(model, counts, temperature_c)[None, :]
        along, cross = slopes_deg(model, counts, temperature_c)
        assert along == pytest.approx(along_slope_deg(model, gravity)[0], abs=1e-10)
        assert cross == pytest.approx(cross_slope_deg(model, gravity)[0], abs=1e-10)


def test_gravity_along_the_hinge_is_a_right_angle_also_where_rounding_exceeds_one() -> None:
    model = calibration(axis=(0.6, 0.0, -0.8), level=(0.64, 0.6, 0.48))
    counts = (3012, 0, -4016)
    assert slopes_deg(model, counts)[1] == pytest.approx(90.0, abs=1e-5)
    assert cross_slope_deg(model, gravity_g(model, counts)) == pytest.approx(90.0, abs=1e-5)


def test_an_offset_near_level_is_worth_its_angle() -> None:
    # 20 mg of offset along the board at level are 1.146 degrees (asin 0.02).
    f = np.array([[math.sin(math.radians(1.146)), 0.0, 1.0]])
    assert inclination_deg(calibration(), f)[0] == pytest.approx(1.146, abs=1e-3)


def test_cross_slope_adds_to_the_total_inclination() -> None:
    # Own arithmetic: 3 degrees of cross slope are worth about 0.2 degrees at 20 degrees.
    model = calibration()
    along, across = math.sin(math.radians(20.0)), math.sin(math.radians(3.0))
    along *= math.cos(math.radians(3.0))
    tilted = np.array([along, across, math.sqrt(1.0 - along**2 - across**2)])
    assert cross_slope_deg(model, tilted[None, :])[0] == pytest.approx(3.0, abs=1e-9)
    total = inclination_deg(model, tilted[None, :])[0]
    assert total - 20.0 == pytest.approx(0.2, abs=0.05)


def _changed(model: Calibration, parameter: str, delta: float) -> Calibration:
    """The calibration with one of its parameters moved."""
    name, part = parameter.split("_", 1)
    if name == "level":
        level, axis = np.array(model.level), np.array(model.axis)
        towards = np.cross(axis, level) if part == "along_deg" else axis
        moved = level + math.radians(delta) * towards
        return calibration_like(model, level=tuple(moved / np.linalg.norm(moved)))
    index = "xyz".index(part[0])
    values = list(model.bias_g if name == "bias" else model.gain)
    values[index] += delta
    return calibration_like(model, **{"bias_g" if name == "bias" else "gain": tuple(values)})


def calibration_like(model: Calibration, **changes: object) -> Calibration:
    kept = {"bias_g": model.bias_g, "gain": model.gain, "level": model.level, "axis": model.axis}
    return calibration(**(kept | changes))


@pytest.mark.parametrize("parameter", PARAMETERS)
@pytest.mark.parametrize("angle_deg", [-20.0, 1.0, 18.0, 40.0])
def test_the_jacobian_is_that_of_the_formula(parameter: str, angle_deg: float) -> None:
    model = calibration(bias_g=(0.01, 0.02, -0.01), gain=(1.01, 0.98, 1.0))
    true = np.array([math.sin(math.radians(angle_deg)), 0.02, math.cos(math.radians(angle_deg))])
    counts = 16393.0 * (true / np.array(model.gain) + np.array(model.bias_g))
    step = 1e-5

    def angle(changed: Calibration) -> float:
        return float(inclination_deg(changed, gravity_g(changed, counts[None, :]))[0])

    numeric = angle(_changed(model, parameter, step)) - angle(_changed(model, parameter, -step))
    analytic = jacobian(model, gravity_g(model, counts))[PARAMETERS.index(parameter)]
    assert analytic == pytest.approx(numeric / (2 * step), abs=2e-5)


def test_at_level_the_jacobian_is_that_of_the_turn_about_the_hinge() -> None:
    """There the total inclination has a corner; 1 g across the level vector turns it by 57.3°."""
    rates = jacobian(calibration(), [0.0, 0.0, 1.0])
    assert rates.tolist() == pytest.approx([-57.29578, 0, 0, 0, 0, 0, -1, 0], abs=1e-5)


def test_a_level_known_through_the_sensor_leaves_no_more_than_the_whole() -> None:
    """Bias and level err against each other: 1 + 1 − 2·0.9 = 0.2, less than the level's own 1."""
    covariance = [list(row) for row in diagonal(1, 0, 0, 0, 0, 0, 1, 0)]
    covariance[0][6] = covariance[6][0] = -0.9
    rates = [1, 0, 0, 0, 0, 0, 1, 0]
    model = calibration(covariance=tuple(map(tuple, covariance)))
    assert u_of_rates(model, rates) == pytest.approx((0.0, math.sqrt(0.2)))
    # As far below 0 as a file's rounding may bring it.
    covariance[0][6] = covariance[6][0] = -1.0 - 1e-9
    model = calibration(covariance=tuple(map(tuple, covariance)))
    assert u_of_rates(model, rates) == (0.0, 0.0)


def test_uncertainty_agrees_with_drawn_calibrations() -> None:
    model = calibration()
    f = np.array([math.sin(math.radians(25.0)), 0.0, math.cos(math.radians(25.0))])
    parameters, level = u_inclination_deg(model, f)
    assert level == pytest.approx(0.02, rel=1e-6)
    rng = np.random.default_rng(5)
    bias = rng.normal(0.0, 3e-4, (20000, 3))
    gain = 1.0 + rng.normal(0.0, 5e-4, (20000, 3))
    drawn = inclination_deg(model, gain * (f - bias))
    assert parameters == pytest.approx(float(drawn.std()), rel=0.03)


def test_temperature_uncertainty_grows_with_the_distance() -> None:
    model = calibration(u_drift_g_per_k=1e-4)
    f = np.array([0.0, 0.0, 1.0])
    assert u_temperature_deg(model, f, 22.0) == 0.0
    # 0.1 mg/K over 10 K is 1 mg, and 1 mg is 0.0573 degrees.
    assert u_temperature_deg(model, f, 32.0) == pytest.approx(0.0573, abs=1e-4)
    assert u_temperature_deg(model, f, None) == u_temperature_deg(model, f, 12.0)


def test_drifts_of_the_axes_are_independent() -> None:
    # At 30° 1 mg along x turns by cos 30° of 0.0573° and along z by sin 30° of it.
    f = np.array([0.5, 0.0, math.sqrt(0.75)])
    for temperature_c in (12.0, 32.0):
        found = u_temperature_deg(calibration(u_drift_g_per_k=1e-4), f, temperature_c)
        assert found == pytest.approx(0.0573, abs=1e-4)
