import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from rig.motion.linkage import Linkage
from rig.motion.ramp import Plan, brake_angle_deg, move_time_s, plan_move
from rig.settings.model import Settings

LINKAGE = Linkage(Settings().linkage, Settings().screw)

plans = st.builds(
    lambda start, end, rate, acceleration, jerk: plan_move(
        LINKAGE, round(LINKAGE.count_at(start)), rate, acceleration, jerk, to_angle_deg=end
    ),
    st.floats(0, 46),
    st.floats(0, 46),
    st.floats(0.1, 4),
    st.floats(0.5, 20),
    st.floats(5, 500),
)


def crossings_deg(plan: Plan, n: int) -> NDArray[np.float64]:
    """Inclination half-way to each of the first n counts, straight from the linkage."""
    counts = plan.from_count + plan.direction * (np.arange(n) + 0.5)
    return LINKAGE.angle_deg(counts)


def assert_within_limits(plan: Plan, times: NDArray[np.float64]) -> None:
    """Divided differences of the pulse train; each equals a derivative somewhere between."""
    angle = crossings_deg(plan, times.size) * plan.direction
    rate = np.diff(angle) / np.diff(times)
    acceleration = 2 * np.diff(rate) / (times[2:] - times[:-2])
    jerk = 3 * np.diff(acceleration) / (times[3:] - times[:-3])
    assert rate.max(initial=0) <= plan.rate_deg_s * (1 + 1e-6)
    assert np.abs(acceleration).max(initial=0) <= plan.acceleration_deg_s2 * (1 + 1e-3)
    assert np.abs(jerk).max(initial=0) <= plan.jerk_deg_s3 * 1.02 + 0.1


@given(plans)
def test_a_plan_ends_on_its_count_with_increasing_times(plan: Plan) -> None:
    assert plan.from_count + plan.direction * plan.times_s.size == plan.to_count
    assert np.all(np.diff(plan.times_s) > 0)
    assert np.all((plan.times_s > 0) & (plan.times_s < plan.duration_s))


@given(plans)
@settings(max_examples=50)
def test_the_pulse_train_keeps_the_limits(plan: Plan) -> None:
    assert_within_limits(plan, plan.times_s)


@pytest.mark.parametrize("rate", [0.1, 1.0, 2.5])
@pytest.mark.parametrize(("start", "end"), [(0.0, 45.0), (40.0, 3.0)])
def test_the_board_turns_at_a_constant_rate_in_the_cruise(
    rate: float, start: float, end: float
) -> None:
    plan = plan_move(LINKAGE, round(LINKAGE.count_at(start)), rate, 4, 40, to_angle_deg=end)
    begin, stop = plan.cruise_s
    inside = (plan.times_s > begin) & (plan.times_s < stop)
    assert inside.mean() > 0.9
    angles = crossings_deg(plan, plan.times_s.size)[inside]
    rates = np.diff(angles) / np.diff(plan.times_s[inside])
    np.testing.assert_allclose(rates, plan.direction * rate, rtol=1e-6)
    pulses_hz = 1 / np.diff(plan.times_s[inside])
    assert pulses_hz.max() / pulses_hz.min() > 1.2  # the linkage asks for a changing pulse rate


@given(plans)
@settings(max_examples=50)
def test_the_count_is_the_nearest_to_the_wanted_angle(plan: Plan) -> None:
    made = np.arange(plan.times_s.size)
    just_before = plan.angle_at_deg(np.maximum(plan.times_s - 1e-9, 0))
    counts = LINKAGE.count_at(just_before)
    off = np.abs(counts - (plan.from_count + plan.direction * made))
    assert off.max(initial=0) < 0.5 + 1e-3


@given(plans, st.floats(0, 1))
def test_a_brake_is_smooth_and_short_and_never_passes_the_target(plan: Plan, part: float) -> None:
    index = round(part * plan.times_s.size)
    tail = plan.brake(index)
    if index == 0:
        assert tail.size == 0
        return
    times = np.concatenate((plan.times_s[:index], tail))
    assert np.all(np.diff(times) > 0)
    assert times.size <= plan.times_s.size
    assert_within_limits(plan, times)
    angles = crossings_deg(plan, times.size)
    turned = abs(angles[-1] - angles[index - 1])
    assert turned <= plan.brake_angle_deg


def test_a_brake_in_the_cruise_takes_the_textbook_angle() -> None:
    """By hand: v²/2a + v·a/2j, here 0.125 + 0.05."""
    plan = plan_move(LINKAGE, 0, 1.0, 4.0, 40.0, to_angle_deg=30.0)
    tail = plan.brake(10000)
    angles = crossings_deg(plan, 10000 + tail.size)
    assert angles[-1] - angles[9999] == pytest.approx(0.175, abs=0.0015)  # to one pulse
    assert plan.brake_angle_deg == brake_angle_deg(1.0, 4.0, 40.0) < 0.3


def test_a_move_to_where_the_board_is_has_no_pulses() -> None:
    plan = plan_move(LINKAGE, 500, 1.0, 4.0, 40.0, to_count=500)
    assert plan.times_s.size == 0
    assert plan.duration_s == 0
    assert plan.time_limit_s > 0


def test_a_move_of_one_pulse() -> None:
    plan = plan_move(LINKAGE, 500, 1.0, 4.0, 40.0, to_count=499)
    assert (plan.direction, plan.times_s.size) == (-1, 1)


def test_the_time_of_a_move_without_its_pulses() -> None:
    plan = plan_move(LINKAGE, 0, 1.5, 4.0, 40.0, to_angle_deg=20.0)
    assert move_time_s(20.0, 1.5, 4.0, 40.0) == pytest.approx(plan.duration_s, abs=1e-2)
    assert move_time_s(-20.0, 1.5, 4.0, 40.0) == move_time_s(20.0, 1.5, 4.0, 40.0)
    assert move_time_s(0.0, 1.5, 4.0, 40.0) == 0
    assert plan.time_limit_s > plan.duration_s + 1


def test_a_plan_needs_one_target_and_positive_limits() -> None:
    with pytest.raises(ValueError, match="either"):
        plan_move(LINKAGE, 0, 1.0, 4.0, 40.0)
    with pytest.raises(ValueError, match="either"):
        plan_move(LINKAGE, 0, 1.0, 4.0, 40.0, to_count=3, to_angle_deg=1.0)
    with pytest.raises(ValueError, match="positive"):
        plan_move(LINKAGE, 0, 0.0, 4.0, 40.0, to_count=3)
