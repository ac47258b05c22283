"""Pulse times of the blade's moves."""

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from rig.control.blade.plan import plan_blade
from rig.settings.checks import blade_pulses_per_mm, blade_stop_mm
from rig.settings.model import Blade, Settings

SETTINGS = Settings()
PER_MM = 20.0


def test_pulses_per_mm_follow_from_the_drive() -> None:
    # 200 steps × 4 microsteps over 20 teeth of 2 mm.
    assert blade_pulses_per_mm(SETTINGS) == PER_MM


def test_a_long_move_runs_at_its_speed_and_makes_every_pulse() -> None:
    plan = plan_blade(SETTINGS, 100, 6100)
    assert plan.direction == 1
    assert plan.times_s.size == 6000
    middle = np.diff(plan.times_s)[1000:5000]
    assert middle == pytest.approx(1 / (20.0 * PER_MM), rel=1e-6)
    # 300 mm at 20 mm/s, and v/a + a/j for getting up to speed and down again.
    assert plan.duration_s == pytest.approx(300 / 20 + 20 / 100 + 100 / 1000)


@given(st.integers(-3000, 3000), st.integers(-3000, 3000), st.floats(1.0, 40.0))
@hypothesis_settings(max_examples=40, deadline=None)
def test_any_move_has_increasing_times_and_keeps_its_speed(
    start: int, end: int, speed: float
) -> None:
    plan = plan_blade(SETTINGS, start, end, speed)
    assert plan.times_s.size == abs(end - start)
    gaps = np.diff(plan.times_s)
    assert (gaps > 0).all()
    assert (gaps >= 1 / (speed * PER_MM) * (1 - 1e-9)).all()


def test_a_brake_stops_within_what_the_settings_allow_for() -> None:
    plan = plan_blade(SETTINGS, 0, 6000)
    at = 3000
    tail = plan.brake(at)
    assert tail[0] > plan.times_s[at - 1]
    assert (np.diff(tail) > 0).all()
    # Slower and slower.
    assert (np.diff(np.diff(tail))[2:] > -1e-9).all()
    assert tail.size / PER_MM <= blade_stop_mm(SETTINGS)
    assert plan.brake(0).size == 0


def test_the_stop_of_the_settings_is_that_of_the_plan_also_when_it_is_short() -> None:
    for limits in ({}, {"ramp_jerk_mm_s3": 200.0}, {"acceleration_mm_s2": 400.0}):
        blade = msgspec.structs.replace(Blade(), **limits)
        settings = msgspec.structs.replace(SETTINGS, blade=blade)
        tail = plan_blade(settings, 0, 6000).brake(3000)
        notice = blade.speed_mm_s * 0.03
        assert blade_stop_mm(settings) - notice == pytest.approx(tail.size / PER_MM, abs=0.11)


def test_the_count_at_an_edge_a_little_ago() -> None:
    plan = plan_blade(SETTINGS, 6000, 0)
    start_s = 50.0
    latest = (start_s + float(plan.times_s[2999]), 3000)
    for back in (0, 1, 7):
        t_s = start_s + float(plan.times_s[2999 - back]) + 1e-6
        assert plan.count_at(latest, t_s) == 3000 + back
    assert plan.count_at((1.0, 6000), 0.5) == 6000


def test_a_move_has_half_as_long_again_and_two_seconds() -> None:
    # 300 mm take 15.3 s, as above.
    assert plan_blade(SETTINGS, 100, 6100).time_limit_s == pytest.approx(1.5 * 15.3 + 2.0)


@pytest.mark.parametrize(("end", "direction"), [(6000, 1), (-6000, -1)])
def test_the_count_at_an_edge_follows_the_direction(end: int, direction: int) -> None:
    plan = plan_blade(SETTINGS, 0, end)
    assert plan.direction == direction
    latest = (50.0 + float(plan.times_s[2999]), direction * 3000)
    assert plan.count_at(latest, 50.0 + float(plan.times_s[2989]) + 1e-6) == direction * 2990


def test_before_its_first_pulse_there_is_nothing_to_brake() -> None:
    plan = plan_blade(SETTINGS, 0, 600)
    assert plan.brake(0).size == 0
    assert 0 < plan.brake(1).size < plan.brake(300).size < 300
