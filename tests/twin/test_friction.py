import pytest

from rig.twin.friction import LAW_NAMES, LawName, LuGre, SlipWeakening, Stribeck, make_law


@pytest.mark.parametrize("name", LAW_NAMES)
def test_coefficients_at_the_two_ends(name: LawName) -> None:
    law = make_law(name, 0.5, 0.4)
    assert (law.mu_static, law.mu_kinetic) == (0.5, 0.4)
    # Far into a fast slide only µk is left; a bristle stands at its steady deflection there.
    _, bristle_m = law.at_rest(0.4)
    assert law.mu(1.0, 2.0, bristle_m) == pytest.approx(0.4, abs=1e-9)
    assert law.bristle_rate_m_s(2.0, bristle_m) == pytest.approx(0.0, abs=1e-9)


def test_slip_weakening_falls_by_e_in_its_distance() -> None:
    law = SlipWeakening(0.5, 0.4, weakening_distance_m=2e-3)
    assert law.mu(0.0, 0.1, 0.0) == 0.5
    assert law.mu(2e-3, 0.1, 0.0) == pytest.approx(0.4 + 0.1 / 2.718281828, abs=1e-9)


def test_stribeck_falls_with_speed_and_rises_when_viscous() -> None:
    law = Stribeck(0.5, 0.4, stribeck_speed_m_s=0.05, viscous_s_m=0.1)
    speeds = [0.0, 0.02, 0.05, 0.1]
    values = [law.mu(0.0, v, 0.0) for v in speeds]
    assert values[0] == 0.5
    assert values[:3] == sorted(values[:3], reverse=True)
    assert law.mu(0.0, 1.0, 0.0) == pytest.approx(0.5)


def test_bristle_deflects_towards_its_steady_value_from_both_sides() -> None:
    law = LuGre(0.5, 0.4)
    steady = law.steady_level(0.2) / law.stiffness_1_m
    assert law.bristle_rate_m_s(0.2, 0.5 * steady) > 0.0
    assert law.bristle_rate_m_s(0.2, 1.5 * steady) < 0.0


@pytest.mark.parametrize(("static", "kinetic"), [(0.3, 0.31), (0.3, 0.0), (0.0, 0.0)])
def test_impossible_coefficients_are_refused(static: float, kinetic: float) -> None:
    with pytest.raises(ValueError, match="0 < µk ≤ µs"):
        make_law("coulomb", static, kinetic)


def test_parameters_reach_the_law() -> None:
    law = make_law("slip_weakening", 0.5, 0.4, {"weakening_distance_m": 5e-3})
    assert isinstance(law, SlipWeakening)
    assert law.weakening_distance_m == 5e-3
