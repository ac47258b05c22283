"""Guards of motion: ramps and profiles."""

from tests.guards.entry import Guard, always, change, inverted, never

_TESTS = "tests/motion/test_"

_RAMP = "rig.motion.ramp"
_IN_RAMP = _TESTS + "ramp.py::"
_POSITIVE = _IN_RAMP + "test_each_limit_must_be_positive"
_TARGET = _IN_RAMP + "test_a_plan_needs_one_target_and_positive_limits"
_NEAREST = _IN_RAMP + "test_a_move_ends_at_the_count_nearest_to_the_wanted_angle"
_LIMITS = _IN_RAMP + "test_a_long_move_meets_each_of_its_limits"
_HALF = _IN_RAMP + "test_the_first_and_the_last_pulse_come_half_a_pulse_from_the_ends"
_FAILED = _IN_RAMP + "test_a_move_has_failed_after_half_as_long_again_and_2_s"
_NOTHING = _IN_RAMP + "test_there_is_nothing_to_brake_before_the_first_pulse_and_after_the_last"
_STOPS = _IN_RAMP + "test_a_brake_in_the_cruise_takes_the_textbook_angle"
_TIMED = _IN_RAMP + "test_the_time_of_a_move_without_its_pulses"

RAMP: list[Guard] = [
    never(_RAMP, "plan_move", "(to_angle_deg is None) == (to_count is None)", _TARGET),
    never(_RAMP, "plan_move", "min(rate_deg_s, acceleration_deg_s2, jerk_deg_s3) <= 0", _POSITIVE),
    *(
        change(
            _RAMP,
            "plan_move",
            "min(rate_deg_s, acceleration_deg_s2, jerk_deg_s3)",
            f"min({kept})",
            f"{_POSITIVE}[{left_out}-0.0]",
        )
        for left_out, kept in (
            ("rate", "acceleration_deg_s2, jerk_deg_s3"),
            ("acceleration", "rate_deg_s, jerk_deg_s3"),
            ("jerk", "rate_deg_s, acceleration_deg_s2"),
        )
    ),
    change(
        _RAMP,
        "plan_move",
        "min(rate_deg_s, acceleration_deg_s2, jerk_deg_s3) <= 0",
        "min(rate_deg_s, acceleration_deg_s2, jerk_deg_s3) < 0",
        _POSITIVE,
    ),
    change(
        _RAMP,
        "plan_move",
        "round(linkage.count_at(to_angle_deg))",
        "round(linkage.count_at(to_angle_deg)) + 1",
        _NEAREST,
    ),
    change(_RAMP, "plan_move", "1 if to_count >= from_count else -1", "1", _NEAREST),
    inverted(_RAMP, "plan_move", "to_count >= from_count", _NEAREST),
    change(
        _RAMP,
        "plan_move",
        "abs(to_count - from_count)",
        "max(to_count - from_count, 0)",
        _NEAREST,
    ),
    change(_RAMP, "plan_move", "pulses + 0.5", "pulses", _HALF),
    change(
        _RAMP,
        "plan_move",
        "direction * (pulses + 0.5)",
        "pulses + 0.5",
        f"{_HALF}[20000-0]",
    ),
    change(
        _RAMP,
        "plan_move",
        "np.abs(linkage.angle_deg(halfway) - start_deg)",
        "linkage.angle_deg(halfway) - start_deg",
        f"{_HALF}[20000-0]",
    ),
    change(
        _RAMP,
        "plan_move",
        "(rate_deg_s, acceleration_deg_s2, jerk_deg_s3)",
        "(rate_deg_s, 2 * acceleration_deg_s2, jerk_deg_s3)",
        _LIMITS,
    ),
    change(
        _RAMP,
        "plan_move",
        "(rate_deg_s, acceleration_deg_s2, jerk_deg_s3)",
        "(2 * rate_deg_s, acceleration_deg_s2, jerk_deg_s3)",
        _LIMITS,
    ),
    change(
        _RAMP,
        "plan_move",
        "(rate_deg_s, acceleration_deg_s2, jerk_deg_s3)",
        "(rate_deg_s, acceleration_deg_s2, 2 * jerk_deg_s3)",
        _LIMITS,
    ),
    change(_RAMP, "Plan.time_limit_s", "1.5", "3.0", _FAILED),
    change(_RAMP, "Plan.time_limit_s", "2.0", "0.0", _FAILED),
    change(_RAMP, "Plan.angle_at_deg", "np.clip(time_s, 0.0, self.duration_s)", "time_s", _LIMITS),
    change(
        _RAMP,
        "Plan.angle_at_deg",
        "self.direction * self.profile.at(time_s)[0]",
        "self.profile.at(time_s)[0]",
        f"{_LIMITS}[40.0-10.0]",
    ),
    never(_RAMP, "Plan.brake", "not 0 < index < self.times_s.size", _NOTHING),
    change(
        _RAMP,
        "Plan.brake",
        "self.times_s[index - 1]",
        "self.times_s[index - 10]",
        _IN_RAMP + "test_a_brake_begins_with_the_pulse_that_was_made",
    ),
    change(_RAMP, "Plan.brake", "self.acceleration_deg_s2", "self.acceleration_deg_s2 / 2", _STOPS),
    change(_RAMP, "Plan.brake", "self.jerk_deg_s3", "self.jerk_deg_s3 / 2", _STOPS),
    change(_RAMP, "Plan.brake", "ahead[: np.searchsorted(ahead, stop.end)]", "ahead[:50]", _STOPS),
    change(
        _RAMP,
        "Plan.cruise_s",
        "(self.profile.acceleration[:-1] == 0) & (self.profile.jerk[:-1] == 0)",
        "self.profile.jerk[:-1] == 0",
        _LIMITS,
    ),
    never(
        _RAMP,
        "Plan.cruise_s",
        "cruise.size == 0",
        _IN_RAMP + "test_a_move_that_never_cruises_names_its_middle",
    ),
    change(_RAMP, "move_time_s", "abs(distance_deg)", "distance_deg", _TIMED),
]

_PROFILE = "rig.motion.profile"
_IN_PROFILE = _TESTS + "profile.py::"
_KINDS = _IN_PROFILE + "test_each_kind_of_motion_by_hand"
_STOPPED = _IN_PROFILE + "test_each_kind_of_stop_by_hand"
_BOUND = _IN_PROFILE + "test_the_bound_of_a_stop_by_hand"

PROFILE: list[Guard] = [
    never(
        _PROFILE, "rest_to_rest", "distance == 0", _IN_PROFILE + "test_no_distance_takes_no_time"
    ),
    change(
        _PROFILE,
        "rest_to_rest",
        "min(speed, _peak_speed(distance, acceleration, jerk))",
        "speed",
        _KINDS,
    ),
    change(
        _PROFILE,
        "rest_to_rest",
        "min(speed, _peak_speed(distance, acceleration, jerk))",
        "_peak_speed(distance, acceleration, jerk)",
        _KINDS,
    ),
    change(_PROFILE, "rest_to_rest", "2 * knee_s + hold_s", "knee_s + hold_s", _KINDS),
    change(_PROFILE, "rest_to_rest", "(knee_s, -jerk)", "(knee_s, jerk)", _KINDS, nth=1),
    always(_PROFILE, "_speed_change", "speed * jerk <= acceleration**2", _KINDS),
    never(_PROFILE, "_speed_change", "speed * jerk <= acceleration**2", _KINDS),
    always(_PROFILE, "_peak_speed", "without_hold * jerk <= acceleration**2", _KINDS),
    never(_PROFILE, "_peak_speed", "without_hold * jerk <= acceleration**2", _KINDS),
    change(_PROFILE, "braking", "min(a, 0.0)", "0.0", _STOPPED),
    change(_PROFILE, "braking", "v + max(a, 0.0) * coast_s / 2", "v", _STOPPED),
    change(
        _PROFILE,
        "braking",
        "min(sqrt(jerk * peak + left**2 / 2), acceleration)",
        "sqrt(jerk * peak + left**2 / 2)",
        _STOPPED,
    ),
    never(
        _PROFILE,
        "braking",
        "deepest == 0",
        _IN_PROFILE + "test_braking_from_a_cruise_takes_the_textbook_distance",
    ),
    change(_PROFILE, "braking", "(deepest / jerk, jerk)", "(deepest / jerk, -jerk)", _STOPPED),
    change(_PROFILE, "braking_bound", "speed * knee_s", "0.0", _BOUND),
    change(_PROFILE, "braking_bound", "2 * knee_s + hold_s", "hold_s", _BOUND),
    change(_PROFILE, "Profile.at", "t * j / 6", "0.0", _KINDS),
    change(_PROFILE, "Profile.at", "t * j / 2", "0.0", _KINDS),
]

ENTRIES: list[Guard] = [*RAMP, *PROFILE]
