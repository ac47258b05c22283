import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from rig.motion.ramp import Plan, brake_angle_deg, move_time_s, plan_move
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings

LINKAGE = Kinematics(Settings().linkage, Settings().screw)

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
    counts = plan.from_count + plan.direction * (np.arange(n, dtype=float) + 0.5)
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


@pytest.mark.parametrize("wrong", [0.0, -1.0])
@pytest.mark.parametrize("which", [0, 1, 2], ids=["rate", "acceleration", "jerk"])
def test_each_limit_must_be_positive(which: int, wrong: float) -> None:
    limits = [1.0, 4.0, 40.0]
    limits[which] = wrong
    with pytest.raises(ValueError, match="positive"):
        plan_move(LINKAGE, 0, *limits, to_count=3)


@pytest.mark.parametrize(("start", "end"), [(3.0, 45.0), (45.0, 3.0)])
def test_a_move_ends_at_the_count_nearest_to_the_wanted_angle(start: float, end: float) -> None:
    """A pulse is 0.00128° at 45° and 0.0019° at 3°."""
    plan = plan_move(LINKAGE, round(LINKAGE.count_at(start)), 1.0, 4.0, 40.0, to_angle_deg=end)
    half_pulse = LINKAGE.deg_per_pulse(end) / 2
    assert LINKAGE.angle_deg(float(plan.to_count)) == pytest.approx(end, abs=half_pulse * 1.01)
    assert plan.direction == (1 if end > start else -1)
    assert plan.times_s.size == abs(plan.to_count - plan.from_count)


@pytest.mark.parametrize(("start", "end"), [(10.0, 40.0), (40.0, 10.0)])
def test_a_long_move_meets_each_of_its_limits(start: float, end: float) -> None:
    """30° at 2 °/s, 4 °/s² and 40 °/s³: 30/2 + 2/4 + 4/40 s, the cruise from 0.6 s on."""
    plan = plan_move(LINKAGE, round(LINKAGE.count_at(start)), 2.0, 4.0, 40.0, to_angle_deg=end)
    assert plan.duration_s == pytest.approx(15.6, abs=0.001)
    assert plan.cruise_s == pytest.approx((0.6, 15.0), abs=0.001)
    # After the first knee of 0.1 s: j·t³/6, then v = 0.2 and a = 4 for 0.4 s, then the second knee.
    turned = [0, 40 * 0.1**3 / 6, 0.2 * 0.4 + 2 * 0.4**2 + 40 * 0.1**3 / 6, 0.6]
    sign = 1 if end > start else -1
    for time_s, angle in zip((0.0, 0.1, 0.5, 0.6), turned, strict=True):
        assert plan.angle_at_deg(time_s) == pytest.approx(start + sign * angle, abs=0.001)
    assert plan.angle_at_deg(7.8) == pytest.approx((start + end) / 2, abs=0.001)
    assert plan.angle_at_deg(-1.0) == pytest.approx(start, abs=0.001)
    assert plan.angle_at_deg(99.0) == pytest.approx(end, abs=0.001)


def test_a_move_has_failed_after_half_as_long_again_and_2_s() -> None:
    plan = plan_move(LINKAGE, 0, 2.0, 4.0, 40.0, to_angle_deg=30.0)
    assert plan.time_limit_s == pytest.approx(1.5 * 15.6 + 2, abs=0.002)


@pytest.mark.parametrize(("start", "end"), [(0, 20000), (20000, 0)])
def test_the_first_and_the_last_pulse_come_half_a_pulse_from_the_ends(start: int, end: int) -> None:
    """Jerk alone limits the begin and the end: x = j·t³/6."""
    plan = plan_move(LINKAGE, start, 2.0, 4.0, 40.0, to_count=end)
    first, last = plan.times_s[0], plan.duration_s - plan.times_s[-1]
    sign = 1 if end > start else -1
    for from_end_s, count, on in ((first, start, sign), (last, end, -sign)):
        half_deg = abs(LINKAGE.angle_deg(count + on / 2) - LINKAGE.angle_deg(float(count)))
        assert from_end_s == pytest.approx((6 * half_deg / 40) ** (1 / 3), rel=1e-5)


@pytest.mark.parametrize("index", [-1, 0, 30000])
def test_there_is_nothing_to_brake_before_the_first_pulse_and_after_the_last(index: int) -> None:
    plan = plan_move(LINKAGE, 0, 2.0, 4.0, 40.0, to_count=20000)
    assert plan.brake(index).size == 0
    assert plan.brake(20000).size == 0
    assert plan.brake(10000).size > 0


def test_a_brake_begins_with_the_pulse_that_was_made() -> None:
    """In the cruise the next pulse comes as planned, all but the little that jerk takes from it."""
    plan = plan_move(LINKAGE, 0, 1.0, 4.0, 40.0, to_angle_deg=30.0)
    tail = plan.brake(10000)
    late_s = 40 * (plan.times_s[10000] - plan.times_s[9999]) ** 3 / 6
    assert tail[0] - plan.times_s[10000] == pytest.approx(late_s, rel=0.01)


def test_a_move_that_never_cruises_names_its_middle() -> None:
    plan = plan_move(LINKAGE, 0, 2.0, 4.0, 40.0, to_angle_deg=0.2)
    assert plan.cruise_s == (plan.duration_s / 2, plan.duration_s / 2)
