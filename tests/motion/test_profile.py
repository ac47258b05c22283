import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.motion.profile import Profile, braking, braking_bound, rest_to_rest

distances = st.floats(1e-3, 60)
speeds = st.floats(0.05, 5)
accelerations = st.floats(0.2, 50)
jerks = st.floats(1, 1000)


def assert_sound(profile: Profile, acceleration: float, jerk: float) -> None:
    """Continuous where the pieces meet, within the limits, never going back."""
    pieces = np.diff(profile.time_s)
    v, a, j = profile.speed[:-1], profile.acceleration[:-1], profile.jerk[:-1]
    x = profile.distance[:-1]
    scale = profile.end + 1
    np.testing.assert_allclose(
        x + pieces * (v + pieces * (a / 2 + pieces * j / 6)),
        profile.distance[1:],
        atol=1e-9 * scale,
    )
    np.testing.assert_allclose(v + pieces * (a + pieces * j / 2), profile.speed[1:], atol=1e-7)
    np.testing.assert_allclose(a + pieces * j, profile.acceleration[1:], atol=1e-5)
    assert np.all(pieces > 0)
    assert np.all(np.abs(profile.acceleration) <= acceleration * (1 + 1e-9))
    assert np.all(np.abs(profile.jerk) <= jerk)
    assert np.all(profile.speed >= -1e-9)


@given(distances, speeds, accelerations, jerks)
def test_rest_to_rest_covers_the_distance_within_the_limits(
    distance: float, speed: float, acceleration: float, jerk: float
) -> None:
    profile = rest_to_rest(distance, speed, acceleration, jerk)
    assert_sound(profile, acceleration, jerk)
    assert profile.end == pytest.approx(distance, rel=1e-9)
    assert profile.speed.max() <= speed * (1 + 1e-9)
    assert (profile.speed[0], profile.speed[-1]) == (0, 0)


@given(distances, speeds, accelerations, jerks, st.floats(0, 1))
def test_time_at_is_the_inverse_of_the_distance(
    distance: float, speed: float, acceleration: float, jerk: float, first: float
) -> None:
    profile = rest_to_rest(distance, speed, acceleration, jerk)
    wanted = np.linspace(first * 1e-3, 1 - 1e-3, 100) * distance
    times = profile.time_at(wanted)
    assert np.all(np.diff(times) > 0)
    np.testing.assert_allclose(profile.at(times)[0], wanted, rtol=1e-9, atol=1e-12)


def test_a_short_move_takes_the_textbook_time() -> None:
    """By hand: jerk alone limits it, in four equal parts, T = (32·D/j)^(1/3)."""
    profile = rest_to_rest(0.002, 5.0, 50.0, 40.0)
    assert profile.duration_s == pytest.approx((32 * 0.002 / 40) ** (1 / 3))
    assert profile.time_s.size == 5


def test_a_long_move_takes_the_textbook_time() -> None:
    """By hand: T = D/v + v/a + a/j."""
    profile = rest_to_rest(30.0, 2.0, 4.0, 40.0)
    assert profile.duration_s == pytest.approx(30 / 2 + 2 / 4 + 4 / 40)


@given(distances, speeds, accelerations, jerks, st.floats(0, 1))
def test_braking_from_anywhere_keeps_the_limits_and_its_bound(
    distance: float, speed: float, acceleration: float, jerk: float, part: float
) -> None:
    profile = rest_to_rest(distance, speed, acceleration, jerk)
    t = part * profile.duration_s
    x, v, a = (float(value) for value in profile.at(t))
    stop = braking(t, x, max(v, 0.0), a, acceleration, jerk)
    assert_sound(stop, acceleration, jerk)
    assert stop.end <= distance * (1 + 1e-6) + 1e-9
    assert stop.end - x <= braking_bound(speed, acceleration, jerk)
    assert stop.time_s[-1] <= profile.time_s[-1] + 1e-4


def test_braking_from_a_cruise_takes_the_textbook_distance() -> None:
    """By hand: v²/2a without limit of jerk; each knee adds half of v·a/j."""
    stop = braking(0.0, 0.0, 2.0, 0.0, 4.0, 40.0)
    assert stop.end == pytest.approx(2**2 / (2 * 4) + 2 * 4 / 40 / 2)
    assert braking(0.0, 7.0, 0.0, 0.0, 4.0, 40.0).end == 7.0
