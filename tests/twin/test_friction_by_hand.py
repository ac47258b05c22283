"""Friction laws at single points, worked by hand from the formulas of the papers."""

from math import e, exp, log

import pytest

from rig.twin.friction import COARSE_STEP_S, Coulomb, LuGre, SlipWeakening, Stribeck

BRISTLE = LuGre(
    0.5,
    0.4,
    stiffness_1_m=4000.0,
    damping_s_m=3.0,
    viscous_s_m=0.2,
    stribeck_speed_m_s=0.03,
    damping_speed_m_s=0.01,
)


def test_stribeck_at_its_speed() -> None:
    law = Stribeck(0.5, 0.4, stribeck_speed_m_s=0.05, viscous_s_m=0.1)
    assert law.mu(0.0, 0.05, 0.0) == pytest.approx(0.4 + 0.1 / e + 0.005)
    assert law.mu(0.0, 0.1, 0.0) == pytest.approx(0.4 + 0.1 / e**4 + 0.01)


def test_slip_before_the_start_counts_as_none() -> None:
    assert SlipWeakening(0.5, 0.4).mu(-1e-3, 0.1, 0.0) == 0.5


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_bristle_and_its_damping_in_both_directions(sign: float) -> None:
    level = 0.4 + 0.1 * exp(-1.0 / 9.0)
    rate = sign * 0.01 - 4000.0 * 0.01 / level * 5e-5
    assert BRISTLE.steady_level(0.01) == pytest.approx(level)
    assert BRISTLE.bristle_rate_m_s(sign * 0.01, 5e-5) == pytest.approx(rate)
    expected = 4000.0 * 5e-5 + 3.0 / e * rate + 0.2 * sign * 0.01
    assert BRISTLE.mu(0.0, sign * 0.01, 5e-5) == pytest.approx(expected)


def test_creep_before_the_slide_is_that_of_a_slow_raise() -> None:
    # ds = dz/(1 - σ0·z/µs) from z = 0, in small steps.
    n, end = 100_000, 0.25 / 4000.0
    dz = end / n
    creep = sum(dz / (1.0 - 4000.0 * (i + 0.5) * dz / 0.5) for i in range(n))
    assert BRISTLE.at_rest(0.25) == pytest.approx((creep, end), rel=1e-8)
    # Beyond µs it stays finite: 0.999 of it is the most.
    assert BRISTLE.at_rest(0.6)[0] == pytest.approx(0.5 / 4000.0 * log(1000.0))


def test_steps_are_small_where_the_law_changes_quickly() -> None:
    assert Coulomb(0.5, 0.4).max_step_s(0.0, 1.0) == COARSE_STEP_S
    weak = SlipWeakening(0.5, 0.4, weakening_distance_m=1e-3)
    # A tenth of the distance at 1 m/s; 2 ms from rest; coarse when nothing is left to weaken.
    assert weak.max_step_s(0.0, 1.0) == pytest.approx(1e-4)
    assert weak.max_step_s(0.0, 0.0) == pytest.approx(2e-3)
    assert weak.max_step_s(0.0199, 1.0) == pytest.approx(1e-4)
    assert weak.max_step_s(0.0201, 1.0) == COARSE_STEP_S
    curve = Stribeck(0.5, 0.4, stribeck_speed_m_s=0.02)
    assert curve.max_step_s(0.0, 0.099) == pytest.approx(2e-3)
    assert curve.max_step_s(0.0, 0.101) == COARSE_STEP_S
    # The classical Runge-Kutta method is stable up to 2.78 times the time of relaxation.
    assert BRISTLE.max_step_s(0.0, 2.0) * 4000.0 * 2.0 / 0.4 == pytest.approx(2.0)
    assert BRISTLE.max_step_s(0.0, 0.0) == pytest.approx(2e-3)
