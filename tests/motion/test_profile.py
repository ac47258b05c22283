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


@pytest.mark.parametrize(
    ("distance", "seconds", "speed", "knee_s"),
    [
        # Jerk alone: four parts of 0.05 s; x = 2·j·t³, v = j·t².
        (0.01, 0.2, 0.1, 0.05),
        # Just up to the acceleration.
        (0.08, 0.4, 0.4, 0.1),
        # With acceleration held for 0.1 s: knees of 0.1 s, v = 4·(0.1 + 0.1), x = v·(0.1·2 + 0.1).
        (0.24, 0.6, 0.8, 0.1),
        # Just up to the speed: v = 4·(0.1 + 0.4), x = v·(0.1·2 + 0.4).
        (1.2, 1.2, 2.0, 0.1),
        # With a second of cruise.
        (3.2, 2.2, 2.0, 0.1),
    ],
)
def test_each_kind_of_motion_by_hand(
    distance: float, seconds: float, speed: float, knee_s: float
) -> None:
    """Limits of 2 °/s, 4 °/s² and 40 °/s³."""
    profile = rest_to_rest(distance, 2.0, 4.0, 40.0)
    assert profile.duration_s == pytest.approx(seconds)
    assert profile.end == pytest.approx(distance)
    x, v, a = profile.at(seconds / 2)
    assert (float(x), float(v)) == pytest.approx((distance / 2, speed))
    assert float(a) == pytest.approx(0, abs=1e-9)
    assert float(profile.at(knee_s)[2]) == pytest.approx(40 * knee_s)


def test_no_distance_takes_no_time() -> None:
    profile = rest_to_rest(0.0, 2.0, 4.0, 40.0)
    assert (profile.duration_s, profile.end) == (0, 0)


@pytest.mark.parametrize(
    ("v", "a", "seconds", "distance"),
    [
        # From a cruise: knees of 0.1 s and a hold of 0.4 s.
        (2.0, 0.0, 0.6, 0.6),
        # From a slow one: two knees of √(0.1/40) = 0.05 s.
        (0.1, 0.0, 0.1, 0.005),
        # Still gaining at 4: 0.1 s to stop that, up to 1.8 + 0.2, over 1.8·0.1 + 4·0.1²/2 − j·t³/6.
        (1.8, 4.0, 0.7, 0.18 + 0.02 - 0.04 / 6 + 0.6),
        # Slowing down at 4 already: a hold of 0.4 s and a knee; v = 4·0.4 + 0.2.
        (1.8, -4.0, 0.5, 1.8 * 0.4 - 2 * 0.4**2 + 0.2 * 0.1 - 2 * 0.1**2 + 0.04 / 6),
        # In the last knee: it cannot end sooner.
        (0.05, -2.0, 0.05, 40 * 0.05**3 / 6),
    ],
)
def test_each_kind_of_stop_by_hand(v: float, a: float, seconds: float, distance: float) -> None:
    """Limits of 4 °/s² and 40 °/s³."""
    stop = braking(7.0, 1.0, v, a, 4.0, 40.0)
    assert stop.time_s[0] == 7.0
    assert stop.duration_s == pytest.approx(seconds)
    assert stop.end - 1.0 == pytest.approx(distance)
    assert stop.acceleration.min() >= -4.0 - 1e-9


def test_the_bound_of_a_stop_by_hand() -> None:
    """Half of v·(v/a + a/j), and v·a/j more while the speed is still growing."""
    assert braking_bound(2.0, 4.0, 40.0) == pytest.approx(2 * (0.5 + 0.1) / 2 + 2 * 0.1)
    assert braking_bound(0.1, 4.0, 40.0) == pytest.approx(0.1 * 0.1 / 2 + 0.1 * 0.05)
