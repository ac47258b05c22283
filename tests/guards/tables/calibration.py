"""Guards of what a calibration is made of: captures, references, files, home readings."""

from tests.guards.entry import Guard, change, limit, never, without

_TESTS = "tests/calibration/"
_CAPTURES = _TESTS + "test_captures.py::test_"
_FILE = _TESTS + "test_file.py::test_"
_FIT = _TESTS + "test_fit.py::test_"
_HISTORY = _TESTS + "test_history.py::test_"
_HOME = _TESTS + "test_home.py::test_"
_PLAN = _TESTS + "test_plan.py::test_"
_REFERENCE = _TESTS + "test_reference.py::test_"
_SHOW = _TESTS + "test_show.py::test_"


def _captures() -> list[Guard]:
    m = "rig.calibration.captures"
    span = _CAPTURES + "span_points_that_will_do_and_that_will_not"
    side = _CAPTURES + "one_side_alone_hides_the_screws_play"
    rest = _CAPTURES + "a_capture_of_a_board_at_rest"
    zero = _CAPTURES + "zero_is_looked_at_as_well"
    mean = _CAPTURES + "a_mean_is_known_no_better_than_its_samples_are_independent"
    samples = _CAPTURES + "a_rest_has_mean_scatter_and_peak_of_its_samples"
    refused = _FIT + "captures_that_will_not_do"
    return [
        *(
            limit(m, name, span, times=times)
            for name in ("MIN_POINTS", "MIN_RANGE_DEG", "MIN_DIFFERENT", "APART_DEG")
            for times in (2.0, 0.5)
        ),
        change(m, "SPAN_DEG", "9.0", "8.0", span),
        change(m, "SPAN_DEG", "9.0", "9.5", span),
        change(m, "SPAN_DEG", "36.0", "37.0", span),
        change(m, "SPAN_DEG", "36.0", "35.5", span),
        never(m, "check_angles", "len(set(directions)) < 2", side),
        limit(m, "SATURATED_COUNTS", rest),
        limit(m, "SATURATED_COUNTS", rest, times=0.5),
        limit(m, "SHAKEN_G", rest),
        limit(m, "SHAKEN_G", rest, times=0.5),
        change(m, "check_rest", "max(rest.scatter_counts)", "rest.scatter_counts[0]", rest, nth=1),
        change(m, "check_rest", "abs(size - 1.0)", "(size - 1.0)", rest),
        change(m, "check_rest", "0.15", "0.3", rest),
        change(m, "check_rest", "0.15", "0.075", rest),
        change(m, "check_captures", "[('zero', zero.rest)]", "[]", zero),
        without(m, "check_captures", "check_angles(...)", refused),
        limit(m, "U_COUNTS", mean),
        change(m, "u_mean_counts", "rest.n / 10.0", "rest.n / 1.0", mean),
        change(m, "u_mean_counts", "max(1.0, ...)", "rest.n / 10.0", mean),
        change(m, "u_mean_counts", "max(rest.scatter_counts)", "rest.scatter_counts[0]", mean),
        change(m, "rest_of", "np.abs(samples).max()", "samples.max()", samples),
        change(m, "rest_of", "samples.std(axis=0, ddof=1)", "samples.std(axis=0)", samples),
    ]


def _file() -> list[Guard]:
    m, place = "rig.calibration.file", "calibration_fault"
    bounds = _FILE + "each_value_has_limits_on_either_side"
    nonsense = _FILE + "nonsense_is_refused"
    date = _FILE + "a_calibration_is_in_date_to_the_second_in_any_time_zone"
    overdue = _FILE + "an_overdue_calibration_is_refused_or_flagged"
    other = _FILE + "another_sensors_calibration_is_refused"
    newest = _FILE + "the_newest_calibration_is_the_last_by_name"
    across = "np.dot(calibration.level, calibration.axis)"
    matrix = "_fault_of_covariance"
    scale = "np.outer(scale, scale)"
    return [
        never(m, "validate_calibration", "calibration.format != 'tilt-calibration'", nonsense),
        never(m, "validate_calibration", "calibration.version != 1", nonsense),
        never(m, place, "not np.all(np.isfinite(vectors))", bounds),
        change(m, place, "abs(length - 1.0)", "(length - 1.0)", bounds),
        change(m, place, "1e-3", "2e-3", bounds),
        change(m, place, "1e-3", "5e-4", bounds),
        change(m, place, f"abs({across})", across, bounds),
        change(m, place, "0.2", "0.4", bounds),
        change(m, place, "0.2", "0.1", bounds),
        change(m, place, "abs(bias)", "bias", bounds),
        change(m, place, "... > 0.5", "max(map(abs, calibration.bias_g)) > 1.0", bounds),
        change(m, place, "... > 0.5", "max(map(abs, calibration.bias_g)) > 0.25", bounds),
        change(m, place, "0.5 <= gain <= 2.0", "0.25 <= gain <= 2.0", bounds),
        change(m, place, "0.5 <= gain <= 2.0", "0.5 <= gain <= 4.0", bounds),
        change(m, place, "0.5 <= gain <= 2.0", "0.5 < gain < 2.0", bounds),
        never(m, place, "(fault := _fault_of_covariance(calibration))", bounds),
        change(m, place, "low <= value <= high", "value <= high", bounds),
        change(m, place, "low <= value <= high", "low < value < high", bounds),
        change(m, "RANGES", "200.0", "400.0", bounds),
        change(m, "RANGES", "(0.0, 100.0, 'ms')", "(0.0, 200.0, 'ms')", bounds),
        never(m, "validate_calibration", "(fault := calibration_fault(calibration))", nonsense),
        limit(m, "MOST_VARIANCE", bounds),
        never(m, place, "calibration.angles_deg and ...", nonsense),
        change(m, "validate_calibration", "due <= made", "due < made", bounds),
        never(m, matrix, "len(rows) != size or ...", bounds),
        never(m, matrix, "any(len(row) != size for row in rows)", bounds),
        never(m, matrix, "not np.all(np.isfinite(matrix))", bounds),
        # Without `abs` the other half of the matrix still shows it.
        never(m, matrix, "np.any(np.abs(matrix - matrix.T) > limit)", bounds),
        change(m, matrix, f"1e-6 * {scale}", f"1e-4 * {scale}", bounds),
        change(m, matrix, f"1e-6 * {scale}", f"1e-8 * {scale}", bounds),
        never(m, matrix, "np.any(np.diag(matrix) < 0)", bounds),
        never(m, matrix, "np.linalg.eigvalsh(unit).min() < -1e-6", bounds),
        change(m, matrix, "-1e-6", "-1e-4", bounds),
        change(m, matrix, "-1e-6", "-1e-8", bounds),
        without(m, "load_calibration", "validate_calibration(...)", nonsense),
        without(m, "save_calibration", "validate_calibration(...)", nonsense),
        change(m, "newest_calibration", "found[-1]", "found[0]", newest),
        never(m, "check_fit", "calibration.sensor != identity", other),
        change(m, "check_fit", "now <= ...", "now < parse_utc(calibration.due_at)", date),
        never(m, "check_fit", "not allow_overdue", overdue),
    ]


def _values() -> list[Guard]:
    """What the types of a calibration and of a plan refuse."""
    model, plan = "rig.calibration.model", "rig.calibration.plan"
    sign = _FILE + "the_type_itself_refuses_a_number_of_the_wrong_sign"
    ranges, misspelt = _PLAN + "each_value_has_a_range", _PLAN + "a_misspelt_key_is_named"
    block = _PLAN + "a_block_is_the_angles_own_unless_it_is_named"
    peak = _PLAN + "counts_of_a_file_know_their_peak_on_either_side"
    points = _PLAN + "usual_points_go_up_and_come_down_with_the_level_turned"
    angle = "description='target angle, by steps'"
    level, digital = "description='of the level at zero'", "description='of a digital level'"
    return [
        change(model, "Calibration", "Meta(gt=0)", "Meta(ge=0)", sign),
        change(model, "Calibration", "Meta(ge=0)", "Meta(ge=-1)", sign, nth=1),
        change(model, "Calibration", "Meta(ge=0)", "Meta(ge=-1)", sign, nth=2),
        *(
            change(plan, place, f"Meta({old})", f"Meta({new})", ranges, nth=nth)
            for place, old, new, nth in (
                ("SpanPoint", f"ge=5, le=40, {angle}", "ge=2.5, le=40", None),
                ("SpanPoint", f"ge=5, le=40, {angle}", "ge=5, le=80", None),
                ("CountsReading", "ge=-40, le=85", "ge=-80, le=85", None),
                ("CountsReading", "ge=-40, le=85", "ge=-40, le=170", None),
                ("LevelPlan", "gt=10, le=2000", "gt=5, le=2000", None),
                ("LevelPlan", "gt=10, le=2000", "gt=10, le=4000", None),
                ("LevelPlan", "ge=0, le=5", "ge=-1, le=5", 1),
                ("LevelPlan", "ge=0, le=5", "ge=0, le=10", 1),
                ("LevelPlan", "ge=0, le=5", "ge=-1, le=5", 2),
                ("LevelPlan", "ge=0, le=5", "ge=0, le=10", 2),
                ("LevelPlan", "gt=0, le=1", "ge=0, le=1", None),
                ("LevelPlan", "gt=0, le=1", "gt=0, le=2", None),
                ("LevelPlan", f"gt=0, le=1, {level}", "ge=0, le=1", None),
                ("LevelPlan", f"gt=0, le=1, {level}", "gt=0, le=2", None),
                ("LevelPlan", f"gt=0, le=2, {digital}", "ge=0, le=2", None),
                ("LevelPlan", f"gt=0, le=2, {digital}", "gt=0, le=4", None),
                ("LevelPlan", "ge=1, le=3650", "ge=0, le=3650", None),
                ("LevelPlan", "ge=1, le=3650", "ge=1, le=7300", None),
            )
        ),
        # The second `True` of each class is its `forbid_unknown_fields`.
        *(
            change(plan, name, "True", "False", misspelt, nth=2)
            for name in ("SpanPoint", "ZeroReadings", "CountsReading", "Position", "LevelPlan")
        ),
        change(plan, "CountsReading.rest", "abs(value)", "value", peak),
        change(plan, "LevelPlan.points", "reversed(angles)", "angles", points),
        change(plan, "LevelPlan.points", "True", "False", points),
        change(plan, "LevelPlan.bar", "math.radians(point.angle_deg)", "point.angle_deg", block),
        never(plan, "LevelPlan.bar", "height is None", block),
    ]


def _reference() -> list[Guard]:
    m, check, bar = "rig.calibration.reference", "check_against_steps", "SineBar"
    level = _REFERENCE + "readings_of_a_level_board_have_limits"
    number = _REFERENCE + "both_readings_must_be_numbers"
    near = _REFERENCE + "near_means_within_two_degrees_of_the_steps"
    wrong = _REFERENCE + "a_wrong_unit_or_direction_is_recognised"
    null = _REFERENCE + "a_null_reading_corrects_the_levels_own_error"
    digital = _REFERENCE + "a_digital_levels_error_is_shared_in_part"
    turned = _REFERENCE + "turning_the_level_separates_slope_and_own_error"
    stand = _REFERENCE + "a_bar_that_cannot_stand_is_refused"
    units = _REFERENCE + "units"
    middle = _PLAN + "a_bubble_is_brought_to_its_middle_within_002_degrees"
    back = "-error if turned else error"
    own = "own_error.u_own_error_deg if own_error else 0.0"
    between = "0.0 < self.height_mm < self.length_mm"
    return [
        limit(m, "LEVEL_LIMIT_DEG", level),
        limit(m, "LEVEL_LIMIT_DEG", level, times=0.5),
        limit(m, "OWN_ERROR_LIMIT_DEG", level),
        limit(m, "OWN_ERROR_LIMIT_DEG", level, times=0.5),
        limit(m, "NEAR_DEG", near),
        limit(m, "NEAR_DEG", near, times=0.5),
        limit(m, "U_NULL_DEG", middle),
        *(
            change(m, name, value, f"10 * ({value})", units)
            for name, values in (
                ("_TANGENTS", ("1e-3", "1e-2", "1 / 12")),
                ("_ANGLES", ("1 / 60", "1 / 3600", "1e-3")),
            )
            for value in values
        ),
        change(m, "to_deg", "math.degrees(...)", "math.atan(value * _TANGENTS[unit])", units),
        never(m, "turned_level", "not math.isfinite(reading)", number),
        change(m, "turned_level", "abs(first_deg)", "first_deg", level),
        change(m, "turned_level", "abs(turned_deg)", "turned_deg", level),
        change(m, "turned_level", "max(first_deg, turned_deg, key=abs)", "first_deg", level),
        change(m, "turned_level", "abs(error) > ...", "error > OWN_ERROR_LIMIT_DEG", level),
        change(m, "turned_level", "resolution_deg / 2.0", "resolution_deg", turned),
        change(m, "turned_level", "u_one / math.sqrt(2.0)", "u_one", turned, nth=1),
        change(m, "rectangular", "math.sqrt(3.0)", "math.sqrt(6.0)", null),
        change(m, bar, between, "True", stand),
        change(m, bar, between, "self.height_mm > 0.0", stand),
        change(m, bar, between, "self.height_mm < self.length_mm", stand),
        change(m, "SineBar.u_parts_deg", "math.cos(angle)", "1.0", null),
        change(m, "SineBar.u_parts_deg", "math.tan(angle)", "1.0", null),
        change(m, "SineBar.null", back, "error", null),
        change(m, "SineBar.null", back, "-error", null),
        change(m, "SineBar.null", "rectangular(0.1)", "0.0", null),
        change(m, "SineBar.null", "math.hypot(of_length, u_error)", "of_length", null),
        change(m, "SineBar.null", "math.hypot(of_length, u_error)", "u_error", null),
        change(m, "digital_reading", back, "error", digital),
        change(m, "digital_reading", back, "-error", digital),
        change(m, "digital_reading", "2.0 * shown_deg", "shown_deg", digital),
        change(m, "digital_reading", "math.sqrt(2.0)", "2.0", digital),
        change(m, "digital_reading", "stated**2 - common**2", "stated**2", digital),
        change(m, "digital_reading", "resolution_deg / 2.0", "resolution_deg", digital),
        change(m, "digital_reading", own, "0.0", digital),
        never(m, check, "not math.isfinite(shown)", wrong),
        *(
            change(m, check, f"abs({off}) <= NEAR_DEG", f"({off}) <= NEAR_DEG", near)
            for off in (
                "shown - steps_deg",
                "shown + steps_deg",
                "90.0 - shown - steps_deg",
                "to_deg(shown, unit) - steps_deg",
            )
        ),
    ]


def _home() -> list[Guard]:
    m, covered, parts = "rig.calibration.home", "HomeCheck.covers", "axis_shift_parts_deg"
    agree = _HOME + "level_and_sensor_agree_within_a_tenth_and_three_times_their_uncertainty"
    covers = _HOME + "a_check_covers_readings_near_its_own_on_either_side"
    later = _HOME + "a_level_that_agrees_lets_the_floor_have_moved"
    twist = _HOME + "the_boards_twist_on_its_hinge_does_not_count_as_a_slope"
    longer = _HOME + "a_hinge_of_a_length_that_rounding_left_has_not_moved"
    signs = _HOME + "a_turn_about_the_boards_normal_and_a_tip_are_told_apart_with_their_signs"
    kept = _HOME + "checks_are_kept_and_the_last_one_counts"
    along, across = "along - self.sensor_along_deg", "across - self.sensor_across_deg"
    same = "self.calibration_made_at == calibration.made_at"
    u = "float(np.hypot(u_sensor_deg, level.u_slope_deg))"
    square = "cross(np.array(found.axis), chord)"
    return [
        limit(m, "AGREE_DEG", agree),
        limit(m, "AGREE_DEG", agree, times=0.5),
        change(m, "check_home", f"3.0 * {u}", f"2.9 * {u}", agree),
        change(m, "check_home", f"3.0 * {u}", f"3.1 * {u}", agree),
        change(m, "check_home", u, "(u_sensor_deg + level.u_slope_deg)", agree),
        change(m, "check_home", "abs(said - level.slope_deg)", "(said - level.slope_deg)", agree),
        change(m, "check_home", "sensor[1]", "across.slope_deg", agree, nth=1),
        change(m, "slopes_deg", "cross_deg - float(twist)", "cross_deg", twist),
        change(m, "slopes_deg", "cross_deg - float(twist)", "cross_deg + float(twist)", twist),
        change(m, covered, f"abs({along})", along, covers),
        change(m, covered, f"abs({across})", across, covers),
        change(m, covered, "limit_deg", "2.0 * limit_deg", covers),
        change(m, covered, "limit_deg", "0.5 * limit_deg", covers),
        change(m, covered, same, "True", later),
        change(m, "axis_shift_deg", "np.clip(cosine, -1.0, 1.0)", "cosine", longer),
        change(m, parts, square, f"-{square}", signs),
        change(m, parts, "np.degrees(turned)", "turned", signs),
        change(m, parts, "np.degrees(tipped)", "tipped", signs),
        change(m, "load_home_check", "reversed(lines)", "lines", kept),
    ]


def _history() -> list[Guard]:
    m = "rig.calibration.history"
    shift = _HISTORY + "a_shift_is_worth_a_word_beyond_a_twentieth_of_a_degree"
    bend = _HISTORY + "a_bend_counts_from_015_degrees_per_20"
    hinge = _HISTORY + "a_hinge_that_moved_counts_from_03_degrees_and_explains_the_rest"
    last = _HISTORY + "the_last_three_readings_say_where_it_stands_now"
    trend = _HISTORY + "a_trend_must_exceed_three_times_its_uncertainty"
    few = _HISTORY + "two_readings_or_one_day_show_no_trend"
    return [
        *(
            limit(m, name, test, times=times)
            for name, test in (("SLIP_AXIS_DEG", hinge), ("BENT_DEG", bend), ("TREND_DEG", shift))
            for times in (2.0, 0.5)
        ),
        change(m, "_words", "abs(bend)", "bend", bend),
        change(m, "_words", "max(abs(shift), abs(cross))", "max(shift, abs(cross))", shift),
        change(m, "_words", "max(abs(shift), abs(cross))", "max(abs(shift), cross)", shift),
        change(m, "_words", "min(abs(shift), abs(cross))", "min(abs(shift), cross)", shift),
        change(m, "_words", "min(abs(shift), abs(cross))", "min(shift, abs(cross))", shift),
        change(m, "_words", "TREND_DEG / 2", "TREND_DEG", shift),
        change(m, "_words", "abs(month)", "month", trend),
        change(m, "_words", "3.0 * u_month", "2.9 * u_month", trend),
        change(m, "_words", "3.0 * u_month", "3.1 * u_month", trend),
        change(m, "_words", "max(3.0 * u_month, TREND_DEG)", "3.0 * u_month", trend),
        change(m, "home_trend", "min(3, len(records))", "len(records)", last),
        change(m, "_slope", "len(day) < 3", "len(day) < 2", few),
        change(m, "_slope", "np.ptp(day) < 1.0", "np.ptp(day) < 0.5", few),
        change(m, "_slope", "len(day) - 2", "len(day) - 1", trend),
    ]


def _show() -> list[Guard]:
    m = "rig.calibration.show"
    edge = _SHOW + "residuals_beyond_the_chart_stay_at_its_edge"
    together = _SHOW + "uncertainty_over_the_range_takes_sensor_and_level_together"
    u = "np.hypot(*u_inclination_deg(calibration, gravity))"
    return [
        change(m, "_mark", "max(-1.0, min(1.0, value / span))", "min(1.0, value / span)", edge),
        change(m, "_mark", "min(1.0, value / span)", "value / span", edge),
        change(m, "u_over_range", u, "u_inclination_deg(calibration, gravity)[0]", together),
        change(m, "u_over_range", u, "u_inclination_deg(calibration, gravity)[1]", together),
    ]


ENTRIES: list[Guard] = [
    *_captures(),
    *_file(),
    *_values(),
    *_reference(),
    *_home(),
    *_history(),
    *_show(),
]

NO_LIMITS = {"rig.calibration.show.BAR": "width of a chart in characters"}
