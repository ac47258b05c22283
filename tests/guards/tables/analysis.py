"""Guards of the analysis of one run: its ramp, its budget, its row, the checks that flag it."""

from tests.guards.entry import Guard, always, change, limit, never, without

_ANGLE = "rig.analysis.angle.ramp"
_RAMP = "tests/analysis/test_ramp.py::test_"
_IN_BLOCKS = _RAMP + "six_seconds_in_blocks_of_a_tenth"
_FIT = _RAMP + "the_line_is_a_weighted_fit_with_the_scatter_of_its_residuals"
_SETTLED = _RAMP + "half_a_second_must_be_left_after_the_filters_have_settled"
_SPEEDING = _RAMP + "what_is_left_out_at_the_start_lasts_as_long_as_the_board_speeds_up"
_STRAY = _RAMP + "a_stray_count_is_left_out"
_NO_SCREW = _RAMP + "a_count_that_no_screw_can_have_is_left_out"
_SILENT = _RAMP + "a_sensor_may_be_silent_for_half_a_second"
_SINCE = _RAMP + "sensor_and_steps_may_differ_by_a_degree_since_the_start"
_A_WHILE = _RAMP + "sensor_and_steps_may_differ_by_a_degree_for_a_while"
_MOVING = _RAMP + "a_board_that_moved_before_the_raise_has_lost_no_steps"
_NO_LOOK = _RAMP + "without_a_look_before_the_raise_nothing_is_compared_with_it"
_DELAY = _RAMP + "the_filters_delay_is_taken_off"
_FROZEN = _RAMP + "a_frozen_sensor"
_SATURATED = _RAMP + "a_saturated_sensor"
_NO_GRAVITY = _RAMP + "what_is_not_gravity"
_THREE_LINES = _RAMP + "three_lines_of_steps_are_the_least"
_FOUR_BLOCKS = _RAMP + "four_blocks_are_the_least"
_STEPS_ALONE = _RAMP + "steps_alone_give_an_angle_with_half_a_degree_of_doubt"
_NEITHER = _RAMP + "neither_sensor_nor_steps_give_no_ramp"
_NEAREST = _RAMP + "the_temperature_is_the_one_read_next_to_the_break"

_WRONG = "tests/analysis/test_wrong_inputs.py::test_"
_LAG = _WRONG + "a_filter_delay_that_is_not_the_sensors"
_CLOCK = _WRONG + "a_sample_clock_that_is_off_by_one_percent"
_ACROSS = _WRONG + "cross_slope_loses_no_steps"

ANGLE: list[Guard] = [
    limit(_ANGLE, "BLOCK_S", _IN_BLOCKS),
    limit(_ANGLE, "WINDOW_S", _IN_BLOCKS),
    limit(_ANGLE, "MEMORY_S", _FIT),
    limit(_ANGLE, "SETTLE_S", _SETTLED),
    limit(_ANGLE, "STRAY_DEG", _STRAY),
    limit(_ANGLE, "STRAY_DEG", _STRAY, times=0.5),
    limit(_ANGLE, "SILENCE_S", _SILENT),
    limit(_ANGLE, "SILENCE_S", _SILENT, times=0.5),
    limit(_ANGLE, "LATE_S", _LAG),
    limit(_ANGLE, "LATE_S", _LAG, times=0.5),
    limit(_ANGLE, "MISMATCH_DEG", _SINCE, _A_WHILE),
    limit(_ANGLE, "MISMATCH_DEG", _SINCE, _A_WHILE, times=0.5),
    change(
        _ANGLE,
        "Ramp.u_fit_deg",
        "time_s - self.pivot_s",
        "self.pivot_s - time_s",
        "tests/analysis/test_budget.py::test_ramp_fit_is_the_covariance_at_the_onset",
    ),
    change(
        _ANGLE,
        "Ramp.u_fit_deg",
        "max(float(...), 0.0)",
        "float(lever @ self.covariance @ lever)",
        _RAMP + "u_of_the_fit_is_never_the_root_of_less_than_nothing",
    ),
    change(
        _ANGLE,
        "Ramp.rate_deg_s",
        "[time_s - 1.0, time_s]",
        "[time_s - 2.0, time_s]",
        _RAMP + "angle_and_rate_are_steps_and_line_together",
    ),
    change(_ANGLE, "sound_steps", "np.isfinite(angle)", "np.isreal(angle)", _NO_SCREW),
    change(_ANGLE, "sound_steps", 'np.errstate(invalid="ignore")', "np.errstate()", _NO_SCREW),
    change(
        _ANGLE,
        "steps_angle",
        "len(angle) >= 5",
        "len(angle) >= 6",
        _RAMP + "five_lines_show_which_one_is_stray",
    ),
    change(_ANGLE, "steps_angle", "np.abs(angle[2:-2] - near)", "angle[2:-2] - near", _STRAY),
    always(_ANGLE, "build_ramp", "int(...) >= 3", _THREE_LINES),
    never(_ANGLE, "build_ramp", "break_s - first_s >= 0.5", _SETTLED),
    always(_ANGLE, "build_ramp", "break_s - first_s >= 0.5", _SETTLED),
    change(
        _ANGLE,
        "build_ramp",
        "calibration.filter_delay_ms / 1000.0",
        "calibration.filter_delay_ms / 1e6",
        _DELAY,
    ),
    change(
        _ANGLE,
        "build_ramp",
        "t_s - calibration.filter_delay_ms / 1000.0",
        "t_s + calibration.filter_delay_ms / 1000.0",
        _DELAY,
    ),
    change(_ANGLE, "build_ramp", "break_s - 1.0", "break_s - 2.0", _SETTLED),
    change(_ANGLE, "build_ramp", "4 * block", "3 * block", _FOUR_BLOCKS),
    never(_ANGLE, "build_ramp", "not has_steps", _NEITHER, nth=2),
    change(_ANGLE, "build_ramp", "np.diag([0.25, 0.0])", "np.zeros((2, 2))", _STEPS_ALONE),
    never(_ANGLE, "build_ramp", "break_s - t_s[high - 1] > SILENCE_S", _SILENT),
    without(_ANGLE, "build_ramp", 'flags.append("step_loss")', _SINCE, _A_WHILE),
    change(_ANGLE, "_steady_from", "0.97 * np.median(...)", "0.0", _SPEEDING),
    change(
        "rig.runfile.reader",
        "RunFile.chip_temperature_c",
        "abs(line.t_s - time_s)",
        "line.t_s - time_s",
        _NEAREST,
    ),
    never(_ANGLE, "_is_faulty", "np.any(frozen[1:] & frozen[:-1])", _FROZEN),
    change(_ANGLE, "_is_faulty", "frozen[1:] & frozen[:-1]", "frozen", _FROZEN),
    change(_ANGLE, "_is_faulty", "np.abs(counts)", "counts", _SATURATED),
    change(_ANGLE, "_is_faulty", "32767", "65534", _SATURATED),
    change(_ANGLE, "_is_faulty", "32767", "32766", _SATURATED),
    change(
        _ANGLE, "_is_faulty", "abs(np.median(size) - 1.0)", "np.median(size) - 1.0", _NO_GRAVITY
    ),
    change(_ANGLE, "_is_faulty", "0.1", "0.2", _NO_GRAVITY),
    change(_ANGLE, "_is_faulty", "0.1", "0.05", _NO_GRAVITY),
    never(_ANGLE, "_is_faulty", "np.max(np.diff(t_s)) > SILENCE_S", _SILENT),
    change(_ANGLE, "_weighted_line", "len(times) - 2", "len(times)", _FIT, nth=1),
    change(
        _ANGLE,
        "_drifted_apart",
        "abs(middle - float(...))",
        "middle - float(np.mean(along_deg[before] - start))",
        _SINCE,
    ),
    change(_ANGLE, "_drifted_apart", "np.abs(apart_deg - middle)", "apart_deg - middle", _A_WHILE),
    change(_ANGLE, "_drifted_apart", "along_deg[before] - start", "along_deg[before]", _MOVING),
    change(
        _ANGLE,
        "build_ramp",
        "along_slope_deg(calibration, gravity_g(...))",
        "inclination_deg(calibration, gravity_g(calibration, counts[before], temperature))",
        _ACROSS,
    ),
    change(_ANGLE, "_is_late", "abs(lag_s)", "lag_s", _LAG, _CLOCK),
    change(_ANGLE, "_is_late", "abs(lag_s)", "-lag_s", _LAG, _CLOCK),
    change(
        _ANGLE,
        "_is_late",
        "joined * variance",
        "variance",
        "tests/analysis/test_late_quick.py::test_noise_that_the_filter_joins_is_not_called_late",
    ),
    change(
        _ANGLE, "_is_late", "4.0 * u_lag_s", "0.0", _WRONG + "a_noisy_sensor_is_not_called_late"
    ),
    never(_ANGLE, "_drifted_apart", "int(...) < 3", _NO_LOOK),
]

_BUDGET = "rig.analysis.budget.run"
_BY_HAND = "tests/analysis/test_budget.py::test_"
_FILTER = _BY_HAND + "filter_delay_counts_with_the_rate"
_TIMES = _BY_HAND + "sample_times_are_half_a_period_either_way"
_UNSTEADY = _BY_HAND + "an_unsteady_ramp_counts_a_tenth_of_a_degree"
_SENSOR = _BY_HAND + "calibration_and_level_at_24_degrees"
_TEN_KELVIN = _BY_HAND + "ten_kelvin_from_the_calibration"
_KINETIC = _BY_HAND + "an_error_of_the_angle_goes_into_kinetic_friction"
_SOURCE = _BY_HAND + "each_source_counts_with_the_rate_in_its_layer"
_LAW = _BY_HAND + "the_friction_law_is_what_the_edges_leave_open_and_a_floor"
_CROWN = _BY_HAND + "the_crown_of_the_board_has_a_line"
_NO_RATE = _BY_HAND + "the_step_to_no_rate_is_common_and_not_for_comparing"
_LAYERS = _BY_HAND + "layers_and_what_is_left_out"
_SHOWN = _BY_HAND + "a_budget_is_shown_by_size_with_degrees_of_freedom_that_say_something"
_OF_LAW = "rig.analysis.budget.parts"

BUDGET: list[Guard] = [
    limit(_BUDGET, "UNSTEADY_DEG", _UNSTEADY),
    limit(_BUDGET, "CROWN_DEG", _CROWN),
    limit(_OF_LAW, "LAW_FLOOR_DEG", _LAW),
    limit(_OF_LAW, "RATE_FREE_DEG", _NO_RATE),
    limit("rig.analysis.table", "MOST_DOF", _SHOWN, times=0.5),
    change(_OF_LAW, "COMPARING", '("run", "series")', '("run", "series", "common")', _LAYERS),
    change(_OF_LAW, "Budget.by_size", "-part.u_theta_deg", "part.u_theta_deg", _LAYERS, _SHOWN),
    never(_BUDGET, "run_budget", "not ramp.steady", _UNSTEADY),
    always(_BUDGET, "run_budget", "not ramp.steady", _UNSTEADY),
    change(_BUDGET, "run_budget", "0.5e3", "0.5e6", _TIMES),
    change(
        _BUDGET, "run_budget", "half_period_ms / math.sqrt(3.0)", "half_period_ms / 3.0", _TIMES
    ),
    change(_BUDGET, "run_budget", "rate / 1000.0", "rate", _TIMES, nth=1),
    change(_BUDGET, "run_budget", "rate / 1000.0", "rate", _FILTER, nth=2),
    change(
        _BUDGET,
        "run_budget",
        "1.0 + found.mu_kinetic * mu",
        "1.0 - found.mu_kinetic * mu",
        _KINETIC,
    ),
    change(_BUDGET, "run_budget", "kinetic_per_deg * u_theta", "0.0", _KINETIC),
    change(_BUDGET, "run_budget", "rate * one.time_s", "one.time_s", _SOURCE),
    change(
        _BUDGET,
        "run_budget",
        '(geometry.u_slump_mm, "mm", "series")',
        '(geometry.u_slump_mm, "mm", "run")',
        _SOURCE,
    ),
    change(_BUDGET, "run_budget", "math.hypot(...)", "rate * found.law_s", _LAW),
    change(_BUDGET, "run_budget", "math.hypot(...)", "law_floor_deg(rate)", _LAW),
    change(_BUDGET, "run_budget", "u_inclination_deg(...)", "(0.0, 0.0)", _SENSOR),
    change(_BUDGET, "run_budget", "u_temperature_deg(...)", "0.0", _TEN_KELVIN),
]

_BY_PERSON = "rig.analysis.by_hand"
_ROW = "rig.analysis.row"
_ROWS = "tests/analysis/test_row.py::test_"
_FILLED = _ROWS + "a_row_is_filled_with_the_angle_at_the_onset"
_EMPTY = _ROWS + "an_empty_row_is_not_valid_and_has_each_flag_once"

ROWS: list[Guard] = [
    limit(
        _BY_PERSON,
        "U_READING_DEG",
        _ROWS + "a_reading_without_an_uncertainty_counts_half_a_degree",
    ),
    never(_BY_PERSON, "hand_result", "angle is None", _ROWS + "no_reading_is_no_slide"),
    change(
        _BY_PERSON,
        "hand_result",
        "not INVALIDATING.intersection(row.flags)",
        "True",
        _ROWS + "a_reading_with_a_flag_that_forbids_it_is_not_valid",
    ),
    change(
        _ROW,
        "number",
        "isinstance(value, int | float) and math.isfinite(value)",
        "isinstance(value, int | float)",
        _ROWS + "only_a_finite_number_is_one",
    ),
    change(
        _ROW,
        "number",
        "isinstance(value, int | float) and math.isfinite(value)",
        "value is not None and math.isfinite(value)",
        _ROWS + "only_a_finite_number_is_one",
    ),
    change(_ROW, "empty_row", "list(dict.fromkeys(flags))", "list(flags)", _EMPTY),
    change(_ROW, "_dwell", "measured is None", "True", _EMPTY),
    change(
        _ROW,
        "filled",
        "not INVALIDATING.intersection(row.flags)",
        "True",
        _ROWS + "some_flags_keep_a_run_out",
    ),
    change(_ROW, "with_uncertainty", "u_of_tangent(angle, u)", "u", _FILLED),
    change(
        _ROW, "with_uncertainty", "u_of_tangent(angle, whole)", "u_of_tangent(angle, u)", _FILLED
    ),
    change(
        _ROW,
        "with_uncertainty",
        "budget.u_onset_angle_deg(COMPARING)",
        "budget.u_onset_angle_deg()",
        _FILLED,
    ),
    change(
        _ROW,
        "filled",
        "found.found.to_break_mm + geometry.slump_mm",
        "found.found.to_break_mm",
        _ROWS + "a_gap_that_was_measured_is_that_before_the_slump",
    ),
]

_CHECKS = "rig.analysis.checks"
_FLAGS = "tests/analysis/test_flags.py::test_"
_SANK = _FLAGS + "a_floor_that_sank"
_OVERDUE = _FLAGS + "a_calibration_is_overdue_a_second_after_its_day"
_SKEWED = _FLAGS + "a_bag_is_askew_when_it_is_longer"
_EDGES = "tests/analysis/test_edges.py::test_"
_OF_BEAM = _EDGES + "flags_of_a_beam"
_AT_REST = _EDGES + "a_bag_that_moves_while_it_should_rest"

_ALONE = _WRONG + "a_home_reading_that_moved_along_the_slope_alone_may_be_the_sensor"
_SLIPS = _WRONG + "a_sensor_that_slips_between_homing_and_the_raise"
_RATE = _WRONG + "a_rate_that_is_not_the_stated_one"
_SWAPPED = _WRONG + "a_beam_whose_two_states_are_swapped"

CHECKS: list[Guard] = [
    limit(_CHECKS, "HOME_DEG", _SANK),
    limit(_CHECKS, "HOME_DEG", _SANK, times=0.5),
    limit(_CHECKS, "ALONE_DEG", _SANK),
    limit(_CHECKS, "ALONE_DEG", _SANK, times=0.5),
    limit(_CHECKS, "SLIPPED_DEG", _SLIPS),
    limit(_CHECKS, "SLIPPED_DEG", _SLIPS, times=0.5),
    limit(_CHECKS, "RATE_OFF", _RATE),
    limit(_CHECKS, "RATE_OFF", _RATE, times=0.5),
    change(_CHECKS, "check_rate", "abs(off)", "off", _RATE),
    change(_CHECKS, "check_rate", "abs(off)", "-off", _RATE),
    change(_CHECKS, "check_slip", "now - angle - raised", "now - raised", _ALONE),
    change(
        _CHECKS,
        "check_home",
        "max(abs(along_deg), abs(across_deg))",
        "max(along_deg, across_deg)",
        _SANK,
    ),
    change(
        _CHECKS,
        "check_home",
        "max(abs(along_deg), abs(across_deg))",
        "max(-along_deg, -across_deg)",
        _SANK,
    ),
    change(_CHECKS, "check_beams", "record.inverted", "False", _SWAPPED),
    always(
        "rig.analysis.onset.edges",
        "beam_record",
        "not broken_at_start",
        _EDGES + "a_beam_that_was_broken_before_is_not_inverted",
    ),
    change(_CHECKS, "check_home", "calibration.home_angle_deg", "0.0", _SANK),
    change(_CHECKS, "check_home", "calibration.home_cross_deg", "0.0", _SANK),
    never(_CHECKS, "check_home", "parse_utc(...) > parse_utc(...)", _OVERDUE),
    change(
        _CHECKS,
        "check_home",
        "parse_utc(run.header.started_at) > parse_utc(calibration.due_at)",
        "parse_utc(run.header.started_at) >= parse_utc(calibration.due_at)",
        _OVERDUE,
    ),
    change(
        _CHECKS,
        "check_home",
        "ValueError",
        "KeyError",
        _FLAGS + "a_time_stamp_that_cannot_be_read_is_told",
    ),
    without(
        _CHECKS,
        "check_home",
        "run.problems.append(...)",
        _FLAGS + "a_time_stamp_that_cannot_be_read_is_told",
    ),
    change(
        _CHECKS, "check_beams", "from_s <= event.t_s < raise_s", "event.t_s < raise_s", _AT_REST
    ),
    change(
        _CHECKS, "check_beams", "from_s <= event.t_s < raise_s", "from_s <= event.t_s", _AT_REST
    ),
    change(
        _CHECKS,
        "check_beams",
        '"moved_before_raise" if broken else "beam_fault"',
        '"beam_fault"',
        _AT_REST,
    ),
    change(
        _CHECKS,
        "check_beams",
        '"moved_before_raise" if broken else "beam_fault"',
        '"moved_before_raise"',
        _AT_REST,
    ),
    without(_CHECKS, "check_beams", 'flags.append("early_disturbance")', _OF_BEAM, _AT_REST),
    never(_CHECKS, "check_beams", "record.edges > MOST_EDGES", _OF_BEAM),
    change(_CHECKS, "check_beams", "record.after", "False", _OF_BEAM),
    change(_CHECKS, "check_beams", "record.disturbances", "False", _OF_BEAM),
    change(_CHECKS, "check_beams", "record.broken_at_start", "False", _OF_BEAM, _AT_REST),
    change(
        _CHECKS, "is_skewed", "2.0 * math.sqrt(...)", "4.0 * math.sqrt(max(seen, 0.0))", _SKEWED
    ),
    change(_CHECKS, "is_skewed", "2.0 * math.sqrt(...)", "math.sqrt(max(seen, 0.0))", _SKEWED),
    change(
        _CHECKS,
        "is_skewed",
        "off > 2.0 * math.sqrt(...) > 0.0",
        "abs(off) > 2.0 * math.sqrt(max(seen, 0.0)) > 0.0",
        _SKEWED,
    ),
    change(_CHECKS, "is_skewed", 'solved.method == "four_edge"', "True", _SKEWED),
]

ENTRIES: list[Guard] = [*ANGLE, *BUDGET, *ROWS, *CHECKS]
