"""Guards of the guided calibration and of the home readings."""

from tests.guards.entry import Guard, always, change, limit, never, without

_TESTS = "tests/procedures/"
_LIMITS, _CHECK = _TESTS + "level/test_limits.py::test_", _TESTS + "level/test_check.py::test_"
_FINISH, _OPTIONS = _TESTS + "level/test_finish.py::test_", _TESTS + "level/test_options.py::test_"
_PERSON, _SWEEP = _TESTS + "level/test_person.py::test_", _TESTS + "level/test_sweep.py::test_"
_STILL = _TESTS + "level/test_steadiness.py::test_"


def _level() -> list[Guard]:
    m = "rig.procedures.level.level"
    run, begin, captures = (f"LevelProcedure.{name}" for name in ("run", "_begin", "_captures"))
    go, zero, span = (f"LevelProcedure.{name}" for name in ("_go", "_zero", "_span"))
    centre, turn = "LevelProcedure._centre", "LevelProcedure._check_turn"
    finish, save = "LevelProcedure._finish", "LevelProcedure._save"
    side = _LIMITS + "each_point_is_reached_slowly_from_its_own_side"
    level = _LIMITS + "level_is_where_zero_is_read_unless_home_is_higher"
    highest = _LIMITS + "no_point_is_reached_from_above_the_highest_angle"
    known = _LIMITS + "nothing_may_move_before_the_points_are_known_to_do"
    rides = _LIMITS + "the_sensor_must_turn_with_the_steps"
    above = _LIMITS + "a_home_above_level_is_where_the_turn_counts_from"
    nudge = _LIMITS + "a_nudge_is_followed_up_to_three_degrees"
    looks = _LIMITS + "a_bubble_is_followed_for_fifteen_looks"
    pulse = _LIMITS + "a_bubble_that_is_off_by_less_than_a_pulse_is_centred"
    far = _LIMITS + "a_reading_far_from_the_steps_is_not_taken"
    digital = _LIMITS + "a_digital_level_far_from_the_steps_is_not_taken"
    other = _LIMITS + "what_another_sensor_began_is_not_resumed"
    kept = _LIMITS + "each_capture_is_kept_at_once_and_each_step_can_be_done_again"
    old = _LIMITS + "an_old_calibration_does_not_judge_the_new_one"
    off = "machine.stepper.disable()"
    take_up = "-TAKE_UP_DEG if point.direction == 'up' else TAKE_UP_DEG"
    home = "machine.settings.linkage.home_angle_deg"
    between = "low - 0.01 <= to_angle_deg <= linkage.soft_limit_deg"
    return [
        limit(m, "RATE_DEG_S", side),
        limit(m, "TAKE_UP_DEG", side),
        limit(m, "MAX_NUDGES", looks),
        change(m, "MAX_NUDGES", "15", "14", looks),
        limit(m, "MAX_NUDGE_DEG", nudge),
        limit(m, "MAX_NUDGE_DEG", nudge, times=0.5),
        limit(m, "SENSOR_TO_STEPS_DEG", rides),
        limit(m, "SENSOR_TO_STEPS_DEG", rides, times=0.5),
        without(m, run, "machine.calibration, machine.live.angle_deg = None, None", old),
        without(m, run, off, rides),
        without(m, run, "watcher.cancel()", side),
        without(m, begin, "check_angles(...)", known),
        never(m, begin, "progress is not None and ...", other),
        never(m, begin, "self._fresh", other),
        without(m, begin, "progress.zero = None", kept),
        change(m, "LevelProcedure._forgets", "progress.span.pop(step, None)", "progress", kept),
        without(m, captures, "save_progress(...)", kept, nth=1),
        without(m, captures, "save_progress(...)", kept, nth=2),
        never(m, "LevelProcedure._keep", "answer == 'stop'", kept),
        always(m, "LevelProcedure._keep", "answer == 'on'", kept),
        without(m, "LevelProcedure._home", "self._machine.stepper.disable()", side),
        change(m, go, between, "low - 0.01 <= to_angle_deg", highest),
        change(
            m, go, between, "low - 0.01 <= to_angle_deg < linkage.soft_limit_deg - 0.1", highest
        ),
        change(m, zero, f"max(0.0, self._{home})", f"self._{home}", level),
        change(m, zero, f"max(0.0, self._{home})", "0.0", level),
        change(m, span, take_up, "-TAKE_UP_DEG", side),
        change(m, span, take_up, "TAKE_UP_DEG", side),
        without(m, span, "yield from self._go(point.angle_deg + side)", side),
        without(m, span, "self._check_turn(...)", rides),
        without(m, span, "check_against_steps(...)", far),
        change(
            m,
            centre,
            "abs(off) < ...",
            "off < float(machine.linkage.deg_per_pulse(steps_deg))",
            pulse,
        ),
        change(m, centre, "abs(float(machine.linkage.deg_per_pulse(steps_deg)))", "0.0", pulse),
        change(m, centre, "abs(off) > MAX_NUDGE_DEG", "off > MAX_NUDGE_DEG", nudge),
        change(m, turn, "abs(turned - by_steps)", "(turned - by_steps)", rides),
        change(m, turn, "abs(turned - by_steps)", "(by_steps - turned)", rides),
        change(m, turn, f"max(0.0, self._{home})", "0.0", above),
        without(m, finish, "yield from self._home()", side, nth=1),
        change(m, finish, f"max(0.3, {home} + 0.3)", "0.3", level),
        change(m, finish, f"max(0.3, {home} + 0.3)", f"{home} + 0.3", level),
        without(m, finish, "machine.enter('parked')", side),
        without(m, save, "self._machine.calibration = calibration", side),
        without(m, save, "self._path.replace(...)", side),
        without(m, "LevelProcedure._shown", "check_against_steps(...)", digital),
    ]


def _check() -> list[Guard]:
    m, check = "rig.procedures.level.check", "level_check"
    keeps = _CHECK + "a_check_keeps_what_sensor_and_level_said"
    nothing = _CHECK + "without_a_calibration_nothing_moves"
    whatever = _CHECK + "the_motor_is_off_whatever_happens"
    return [
        never(m, check, "calibration is None", nothing),
        without(m, check, "machine.stepper.disable()", keeps, nth=1),
        without(m, check, "machine.stepper.disable()", whatever, nth=2),
        without(m, check, "watcher.cancel()", whatever),
        change(m, check, "person.level_deg(where, True)", "person.level_deg(where, False)", keeps),
        without(m, check, "save_home_check(...)", keeps),
        without(m, check, "machine.home_check = check", keeps),
    ]


def _finish() -> list[Guard]:
    m, finish, notes = "rig.procedures.level.finish", "finish", "_notes"
    missing = _FINISH + "without_zero_or_home_there_is_no_calibration"
    due = _FINISH + "it_is_due_after_the_days_of_its_plan"
    home = _FINISH + "home_is_what_the_sensor_shows_there"
    delay = _FINISH + "the_delay_is_the_sweeps_and_without_one_the_settings"
    noise = _FINISH + "noise_is_that_of_one_sample_in_g"
    play = _FINISH + "play_of_the_screw_is_noted_from_a_tenth_of_a_degree"
    hinge = _FINISH + "a_hinge_that_differs_by_a_degree_is_noted_if_it_is_known_so_well"
    six = _FINISH + "six_positions_count_only_where_they_are_planned_and_less_at_another_warmth"
    drift = _FINISH + "a_drift_counts_only_where_a_second_temperature_is_planned"
    u_drift = "sensor.u_drift_g_per_k if drift is None else drift.u_drift_g_per_k"
    late = "imu.filter_delay_ms if sweep is None else sweep.delay_ms"
    u_late = "imu.u_filter_delay_ms if sweep is None else sweep.u_delay_ms"
    most = "max(AXIS_LIMIT_DEG, 4.0 * fit.u_axis_deg)"
    return [
        limit(m, "AXIS_LIMIT_DEG", hinge),
        limit(m, "AXIS_LIMIT_DEG", hinge, times=0.5),
        limit(m, "BACKLASH_LIMIT_DEG", play),
        limit(m, "BACKLASH_LIMIT_DEG", play, times=0.5),
        change(m, notes, most, "AXIS_LIMIT_DEG", hinge),
        change(m, notes, "4.0 * fit.u_axis_deg", "3.8 * fit.u_axis_deg", hinge),
        change(m, notes, "4.0 * fit.u_axis_deg", "4.2 * fit.u_axis_deg", hinge),
        change(m, notes, "abs(sweep.backlash_deg)", "sweep.backlash_deg", play),
        never(m, finish, "progress.zero is None", missing),
        never(m, finish, "progress.home is None", missing),
        change(m, finish, "progress.plan.due_days", "180", due),
        change(m, finish, u_drift, "sensor.u_drift_g_per_k", drift),
        change(m, finish, late, "imu.filter_delay_ms", delay),
        change(m, finish, u_late, "imu.u_filter_delay_ms", delay),
        change(m, finish, "cross_slope_deg(...)", "along_slope_deg(calibration, gravity)", home),
        never(m, "_six", "not progress.plan.six", six),
        change(m, "_six", "found.covariance + widened", "found.covariance", six),
        never(m, "_drift", "not progress.plan.second_temperature", drift),
        change(m, "_noise_g", "... / counts_per_g", "8.0", noise),
    ]


def _options() -> list[Guard]:
    m, six = "rig.procedures.level.options", "OptionalSteps._position"
    way, warmth = "OptionalSteps._check_way", "OptionalSteps._wait_for_warmth"
    second, forget = "OptionalSteps.second_temperature", "forget_from"
    held = _OPTIONS + "each_axis_is_held_up_and_down_and_kept_at_once"
    along = _OPTIONS + "gravity_must_lie_along_the_axis_that_is_asked_for"
    down = _OPTIONS + "an_axis_that_points_down_is_not_up"
    settled = _OPTIONS + "the_second_temperature_is_5_k_away_and_has_settled"
    hours = _OPTIONS + "nobody_waits_for_warmth_for_more_than_four_hours"
    loses = _OPTIONS + "a_sensor_that_comes_off_again_loses_its_zero_and_all_that_rests_on_it"
    first = _OPTIONS + "the_second_temperature_is_forgotten_with_the_first"
    planned = _OPTIONS + "a_step_that_is_not_planned_or_not_captured_is_not_forgotten"
    off, moved = "abs(now_c - first_c) >= MIN_WARMTH_K", "abs(now_c - before) <= SETTLED_K"
    in_hand = "self._machine.sensor_in_hand()"
    return [
        limit(m, "LOOK_S", settled),
        limit(m, "SETTLED_K", settled),
        limit(m, "SETTLED_K", settled, times=0.5),
        limit(m, "PATIENCE_S", hours),
        limit(m, "PATIENCE_S", hours, times=0.5),
        change(m, "OptionalSteps.six", in_hand, "__import__('contextlib').nullcontext()", held),
        without(m, "OptionalSteps.six", "self._person.screw_on()", held),
        without(m, "OptionalSteps.six", "yield from steady_rest(...)", held),
        without(m, six, "self._save()", held),
        always(m, six, "self._keep(...)", held),
        never(m, way, "along < NEAR_AXIS", along),
        change(m, way, "along < NEAR_AXIS", "along < 1.03 * NEAR_AXIS", along),
        change(m, way, "along < NEAR_AXIS", "abs(along) < NEAR_AXIS", down),
        change(m, way, "1.0 if way[0] == '+' else -1.0", "1.0", held),
        without(m, second, "self._save()", settled, nth=1),
        without(m, second, "self._save()", settled, nth=2),
        change(m, warmth, off, "(now_c - first_c) >= MIN_WARMTH_K", settled),
        change(m, warmth, off, "(first_c - now_c) >= MIN_WARMTH_K", settled),
        change(m, warmth, off, "abs(now_c - first_c) >= 0.9 * MIN_WARMTH_K", settled),
        change(m, warmth, moved, "(now_c - before) <= SETTLED_K", settled),
        change(m, warmth, moved, "(before - now_c) <= SETTLED_K", settled),
        always(m, forget, "plan.second_temperature", planned),
        always(m, forget, "plan.six", planned),
        always(m, forget, "progress.positions.pop(step, None) is not None", planned),
        change(m, forget, "progress.cold = progress.warm = None", "progress.warm = None", first),
        without(m, forget, "progress.zero, progress.cold, progress.warm = None, None, None", loses),
        without(m, forget, "progress.span.clear()", loses),
    ]


def _person() -> list[Guard]:
    m, person = "rig.procedures.level.person", "FilePerson"
    init = f"{person}.__init__"
    missing = _PERSON + "what_is_missing_is_named_before_anything_moves"
    units = _PERSON + "readings_are_read_in_their_units"
    bubble = _PERSON + "the_bubble_is_centred_where_the_file_says"
    bar = _PERSON + "a_sine_bar_needs_no_shown_readings"
    unreadable = _LIMITS + "a_progress_file_that_cannot_be_read_is_refused"
    shown = "to_deg(point.shown, point.unit)"
    return [
        never(m, init, "plan.zero is None", missing),
        never(m, init, "not plan.span", missing),
        never(m, init, "blank", missing, nth=2),
        always(m, init, "plan.reference == 'digital'", bar),
        without(m, init, "check_against_steps(...)", missing),
        never(m, init, "plan.six and missing", missing),
        never(m, init, "plan.second_temperature and ...", missing),
        change(m, f"{person}.level_deg", "int(turned)", "0", units),
        change(m, f"{person}.level_deg", "zero.unit", "'deg'", units),
        change(m, f"{person}.shown_deg", shown, "point.shown", units),
        change(m, f"{person}.bubble_deg", "... - steps_deg", "steps_deg - point.angle_deg", bubble),
        never("rig.procedures.level.progress", "load_progress", "not path.exists()", unreadable),
        change(
            "rig.procedures.level.progress",
            "load_progress",
            "raise BadInputError(...) from error",
            "return None",
            unreadable,
        ),
    ]


def _sweep() -> list[Guard]:
    m, sweep = "rig.procedures.level.sweep", "sweep_findings"
    found = _SWEEP + "delay_and_backlash_are_found_with_their_signs"
    within = _SWEEP + "the_board_sweeps_slowly_and_fast_within_its_limits"
    lowered = _SWEEP + "no_sweep_is_faster_than_the_board_may_be_lowered"
    top = _SWEEP + "the_top_is_38_degrees_or_the_highest_that_is_allowed"
    hinge = _SWEEP + "a_hinge_that_moved_since_the_span_points_is_seen"
    high, slower = "min(HIGH_DEG, linkage.soft_limit_deg)", "min(rate, machine.lowering_rate_deg_s)"
    return [
        limit(m, "EDGE_S", found, times=0.5),
        change(m, "", "3.0, 38.0", "6.0, 38.0", within),
        change(m, "", "3.0, 38.0", "3.0, 44.0", top),
        change(m, "RATES_DEG_S", "2.0", "4.0", within),
        change(m, "_Record.__init__", "-0.5 if up else 0.5", "0.0", found),
        change(m, sweep, high, "HIGH_DEG", top),
        change(m, sweep, high, "linkage.soft_limit_deg", top),
        change(m, sweep, slower, "rate", lowered),
        change(m, sweep, "fastest if up else -fastest", "fastest", found),
        change(m, "_findings", "np.degrees(...)", "np.arccos(min(1.0, cosine))", hinge),
        change(m, "_findings", "min(1.0, cosine)", "cosine", hinge),
        change(m, "_vibration", "2.0 * pulse_hz", "pulse_hz", found),
    ]


def _steadiness() -> list[Guard]:
    m, rest, why = "rig.procedures.level.steadiness", "steady_rest", "_why_not_quiet"
    twice = _STILL + "a_still_board_is_looked_at_twice_and_then_captured_for_three_seconds"
    shakes = _STILL + "a_board_that_shakes_is_not_still"
    moves = _STILL + "a_board_that_moves_between_two_looks_is_not_still"
    silent = _STILL + "a_silent_sensor_gives_no_rest"
    range_ = _STILL + "a_still_sensor_at_the_end_of_its_range_is_refused"
    warmth = _STILL + "a_rest_has_its_temperature"
    return [
        limit(m, "LOOK_S", twice),
        limit(m, "CAPTURE_S", twice),
        limit(m, "QUIET_DEG", moves),
        limit(m, "QUIET_DEG", moves, times=0.5),
        limit(m, "SHAKE_G", shakes),
        limit(m, "SHAKE_G", shakes, times=0.5),
        limit(m, "PATIENCE_S", shakes),
        limit(m, "PATIENCE_S", shakes, times=0.5),
        without(m, rest, "check_rest(...)", range_),
        change(m, "_look", "len(counts) < 10", "len(counts) < 5", silent),
        change(m, "_look", "len(counts) < 10", "len(counts) < 20", silent),
        change(m, "_look", "machine.live.imu_temperature_c or 25.0", "25.0", warmth),
        change(m, why, "max(rest.scatter_counts)", "rest.scatter_counts[0]", shakes),
        never(m, why, "moved_deg > QUIET_DEG", moves),
        change(m, why, "counts_per_g**2", "counts_per_g", moves),
    ]


ENTRIES: list[Guard] = [
    *_level(),
    *_check(),
    *_finish(),
    *_options(),
    *_person(),
    *_sweep(),
    *_steadiness(),
]

NO_LIMITS: dict[str, str] = {
    "rig.procedures.level.sweep.BLOCK_S": "means over a few samples more give the same delay",
    "rig.procedures.runs.LAST_LOOK_S": "a longer wait for tasks that end at once anyway",
}
