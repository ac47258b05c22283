"""The face's friction step by step, against published tables and figures worked by hand."""

from math import exp, log

import pytest

from rig.twin.fabric import (
    REFERENCE_PRESSURE_PA,
    Face,
    coefficients,
    drying_moisture,
    humidity_factor,
    moisture_after,
    plain_face,
    vapour_pressure_hpa,
    wetting_moisture,
)

FACE = Face(
    mu_static_dry=0.40,
    mu_kinetic_dry=0.35,
    humidity_gain=0.25,
    moisture_mid=0.075,
    moisture_width=0.018,
    sorption_hours=2.0,
    hysteresis=0.018,
    ageing_per_e_fold=0.004,
    ageing_time_s=2.0,
    load_exponent=0.95,
    settle_gain=0.06,
    settle_slides=2.5,
)
# GAB with m₀ = 0.038, C = 9, K = 0.78; K·a is 0.39 at 50 % and 0.78 at 100 %.
HALF = 0.038 * 9 * 0.39 / (0.61 * (0.61 + 3.51))
FULL = 0.038 * 9 * 0.78 / (0.22 * (0.22 + 7.02))


@pytest.mark.parametrize(("celsius", "hpa"), [(0.0, 6.11), (20.0, 23.39), (40.0, 73.85)])
def test_saturation_is_that_of_the_steam_tables(celsius: float, hpa: float) -> None:
    # The authors state an error of up to 0.4 % (from memory).
    assert vapour_pressure_hpa(celsius) == pytest.approx(hpa, rel=4e-3)


@pytest.mark.parametrize(
    ("humidity_pct", "wet", "apart"),
    [
        (-5.0, 0.0, 0.0),
        (0.0, 0.0, 0.0),
        # 4·a·(1 - a) of the widest distance.
        (50.0, HALF, 0.02),
        (25.0, 0.038 * 9 * 0.195 / (0.805 * (0.805 + 1.755)), 0.015),
        (100.0, FULL, 0.0),
        (120.0, FULL, 0.0),
    ],
)
def test_both_branches_of_the_isotherm(humidity_pct: float, wet: float, apart: float) -> None:
    assert wetting_moisture(humidity_pct) == pytest.approx(wet)
    assert drying_moisture(humidity_pct, 0.02) == pytest.approx(wet + apart)


@pytest.mark.parametrize(
    ("start", "goal"), [(0.01, HALF), (0.15, HALF + 0.018), (HALF + 0.01, HALF + 0.01)]
)
def test_it_takes_up_gives_off_or_keeps_water(start: float, goal: float) -> None:
    after = moisture_after(FACE, start, 50.0, 3.0)
    assert after == pytest.approx(goal + (start - goal) * exp(-1.5))


def test_friction_rises_by_its_gain_along_a_sigmoid() -> None:
    dry = 1.0 / (1.0 + exp(0.075 / 0.018))
    assert humidity_factor(FACE, 0.0) == pytest.approx(1.0)
    assert humidity_factor(FACE, 0.075) == pytest.approx(1.0 + 0.25 * (0.5 - dry) / (1.0 - dry))
    assert humidity_factor(FACE, 1.0) == pytest.approx(1.25)


def test_all_factors_together() -> None:
    static, kinetic = coefficients(
        FACE, moisture=1.0, dwell_s=10.0, slides_before=5, scatter=0.1, pressure_pa=370.0
    )
    # Moisture 1.25, twice the load, 5 slides of 2.5, scatter.
    common = 1.25 * 2.0**-0.05 * (1.0 + 0.06 * exp(-2.0)) * 1.1
    assert kinetic == pytest.approx(common * 0.35)
    assert static == pytest.approx(common * (0.40 + 0.004 * log(6.0)))
    before_it_lies = coefficients(FACE, moisture=1.0, dwell_s=-1.0, slides_before=5, scatter=0.1)
    assert before_it_lies[0] / before_it_lies[1] == pytest.approx(0.40 / 0.35)


def test_a_bag_of_440_g_on_six_inches_square_presses_as_much_as_the_reference() -> None:
    assert pytest.approx(0.44 * 9.80665 / 0.1524**2, rel=0.01) == REFERENCE_PRESSURE_PA


def test_a_plain_face_does_not_mind_the_load() -> None:
    got = coefficients(
        plain_face(0.4, 0.35), moisture=0, dwell_s=9, slides_before=0, scatter=0, pressure_pa=900.0
    )
    assert got == pytest.approx((0.4, 0.35))
