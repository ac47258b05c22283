"""Guards of the analysis of many runs: groups, differences, ways of placing, tables, loading."""

from tests.guards.entry import Guard, always, change, limit, never, without

_UNCERTAINTY = "rig.analysis.budget.parts"
_BUDGET = "tests/analysis/test_budget.py::test_"
_LAYERS = _BUDGET + "layers_and_what_is_left_out"
_GUM = "tests/outside/test_uncertainty.py::test_"

UNCERTAINTY: list[Guard] = [
    always(_UNCERTAINTY, "Budget.u_onset_angle_deg", "part.layer in chosen", _LAYERS),
    always(_UNCERTAINTY, "Budget.u_onset_angle_deg", "part.name not in left_out", _LAYERS),
    change(
        _UNCERTAINTY,
        "Budget.share",
        "(part.u_theta_deg / whole) ** 2",
        "part.u_theta_deg / whole",
        _LAYERS,
    ),
    always(
        _UNCERTAINTY,
        "Budget.share",
        "whole > 0.0",
        _BUDGET + "a_budget_without_uncertainty_has_no_shares",
    ),
    change(
        _UNCERTAINTY,
        "u_of_tangent",
        "math.cos(math.radians(angle_deg)) ** 2",
        "math.cos(math.radians(angle_deg))",
        _GUM + "u_of_the_tangent",
    ),
]

_GROUPS = "rig.analysis.groups"
_OF_GROUPS = "tests/analysis/test_groups.py::test_"
_LIKE_AIR = _OF_GROUPS + "sessions_in_like_air_are_one_group"
_DIFFERS = _OF_GROUPS + "what_differs_is_another_group"
_COUNTS = _OF_GROUPS + "which_runs_count"
_ONE_SERIES = _OF_GROUPS + "one_series_scatters_by_its_runs"
_TWO_SERIES = _OF_GROUPS + "series_of_one_session_scatter_by_their_means"
_AGREE = _OF_GROUPS + "series_that_agree_better_than_their_runs_add_nothing"
_SINGLE = _OF_GROUPS + "single_runs_have_the_scatter_of_their_budgets"
_SESSIONS = _OF_GROUPS + "sessions_count_alike_whatever_they_hold"
_KEY = "(row.bag, row.face, row.set, row.board, row.treatment_stage, row.rate_deg_s)"

GROUPS: list[Guard] = [
    limit(_GROUPS, "SAME_CLIMATE_K", _LIKE_AIR),
    limit(_GROUPS, "SAME_CLIMATE_K", _LIKE_AIR, times=0.5),
    limit(_GROUPS, "SAME_CLIMATE_PCT", _LIKE_AIR),
    limit(_GROUPS, "SAME_CLIMATE_PCT", _LIKE_AIR, times=0.5),
    change(_GROUPS, "_same_climate", "abs(a - b)", "a - b", _LIKE_AIR),
    change(_GROUPS, "_same_climate", "abs(a - b)", "b - a", _LIKE_AIR),
    never(_GROUPS, "_same_climate", "(a is None) != (b is None)", _LIKE_AIR),
    change(_GROUPS, "make_groups", _KEY, _KEY.replace(", row.rate_deg_s", ""), _DIFFERS),
    change(_GROUPS, "make_groups", _KEY, _KEY.replace("row.board, ", ""), _DIFFERS),
    change(_GROUPS, "make_groups", _KEY, _KEY.replace("row.treatment_stage, ", ""), _DIFFERS),
    change(_GROUPS, "_by_way", "header.approach_deg is None", "True", _DIFFERS),
    change(_GROUPS, "_by_way", "header.placing", "header.rig", _DIFFERS),
    never(_GROUPS, "_usable", "not row.valid", _COUNTS),
    never(
        _GROUPS,
        "_usable",
        '"gap_unknown" in row.flags and row.onset_method == "one_edge"',
        _COUNTS,
    ),
    never(
        _GROUPS, "_usable", "budget is None", _OF_GROUPS + "a_run_without_a_budget_does_not_count"
    ),
    change(_GROUPS, "_usable", '("series", "common")', '("common",)', _ONE_SERIES),
    change(_GROUPS, "_summary", "len(runs) - len(series)", "len(runs)", _TWO_SERIES),
    change(_GROUPS, "_summary", "run.u_run * weight", "0.0", _SINGLE),
    change(_GROUPS, "_summary", "max(u_units**2 - u_repeat**2, 0.0)", "u_units**2", _TWO_SERIES),
    change(
        _GROUPS,
        "_summary",
        "max(u_units**2 - u_repeat**2, 0.0)",
        "u_units**2 - u_repeat**2",
        _AGREE,
    ),
    change(_GROUPS, "_summary", "max(u_units, u_repeat)", "u_units", _AGREE),
    change(_GROUPS, "_summary", "max(u_units, u_repeat)", "u_repeat", _TWO_SERIES),
    change(_GROUPS, "_summary", "float(len(units) - 1)", "float(len(runs) - 1)", _TWO_SERIES),
    change(_GROUPS, "_summary", "math.sqrt(len(units))", "1.0", _TWO_SERIES),
    change(
        _GROUPS,
        "_summary",
        "1.0 / (len(units) * len(unit))",
        "1.0 / len(runs)",
        _SESSIONS,
    ),
    change(_GROUPS, "_summary", "math.hypot(u_mean, u_common)", "u_mean", _ONE_SERIES, _TWO_SERIES),
]

_DIFFERENCE = "rig.analysis.budget.difference"
_LINES = "tests/analysis/test_difference_by_hand.py::test_"
_LAW = _LINES + "the_friction_law_moves_both_means_on_any_rig"
_LARGER = _LINES + "another_rate_leaves_more_of_the_law_and_the_larger_input_counts"
_OF_RIG = _LINES + "what_belongs_to_one_rig_is_shared_on_it_only"
_OWN_SLUMP = _LINES + "a_series_has_its_own_slump"
_ONE_SENSOR = _LINES + "one_calibration_moves_both_means_by_its_own_rates"
_EITHER_SIDE = _LINES + "temperatures_either_side_of_the_calibration_add_up"
_OTHERS = _LINES + "other_calibrations_are_each_groups_own"
_SUM = _LINES + "the_sum_its_degrees_of_freedom_and_its_interval"
_IN_DEGREES = _LINES + "a_groups_scatter_counts_in_degrees"

DIFFERENCE: list[Guard] = [
    never(_DIFFERENCE, "difference", "name in OF_NATURE", _LAW),
    never(_DIFFERENCE, "difference", "name in OF_CALIBRATION", _OTHERS),
    change(_DIFFERENCE, "difference", "shared = same_rig", "shared = True", _OF_RIG),
    without(_DIFFERENCE, "difference", "is_own = False", _ONE_SENSOR),
    change(_DIFFERENCE, "difference", "shared and not is_own", "shared", _OWN_SLUMP),
    change(
        _DIFFERENCE,
        "difference",
        "_one_calibration((a, b)) if same_rig else None",
        "_one_calibration((a, b))",
        _OTHERS,
    ),
    always(_DIFFERENCE, "_one_calibration", "all(one == first for one in found)", _OTHERS),
    never(_DIFFERENCE, "difference", "calibration is not None", _ONE_SENSOR, nth=2),
    change(_DIFFERENCE, "difference", "[*scatter, (u_rest, math.inf)]", "scatter", _SUM),
    change(_DIFFERENCE, "difference", "k * u", "u", _SUM),
    change(_DIFFERENCE, "difference", "(part.u_mu_static / u) ** 2", "part.u_mu_static / u", _SUM),
    change(_DIFFERENCE, "_part", "abs(rates[0] - rates[1])", "rates[0] - rates[1]", _LAW),
    change(_DIFFERENCE, "_part", "abs(rates[0] - rates[1])", "rates[0]", _LAW, _OF_RIG),
    change(_DIFFERENCE, "_part", "max(...)", "known[0].u_value", _LARGER),
    change(_DIFFERENCE, "_of_vectors", "rates[0] - rates[1]", "rates[0]", _ONE_SENSOR, nth=1),
    change(_DIFFERENCE, "_of_vectors", "rates[0] - rates[1]", "rates[0]", _EITHER_SIDE, nth=2),
    change(_DIFFERENCE, "_of_vectors", 'part.name == "level"', "0", _ONE_SENSOR),
    always(_DIFFERENCE, "_shared", 'part.layer != "run"', _OWN_SLUMP),
    always(_DIFFERENCE, "_dof_of_scatter", "group.result.u_series is None", _IN_DEGREES),
]

_PLACING = "rig.analysis.placing"
_WAYS = "tests/analysis/test_placing.py::test_"
_EQUIVALENT = _WAYS + "equivalent_within_half_a_degree_at_five_percent"
_ENOUGH = _WAYS + "ten_of_each_are_enough"
_APART = _WAYS + "nothing_is_said_of_one_kind_alone_or_of_runs_that_do_not_belong_together"
_WAY_KEY = "(row.bag, row.face, row.board, row.treatment_stage, session, row.rate_deg_s)"

PLACING: list[Guard] = [
    limit(_PLACING, "MARGIN_DEG", _EQUIVALENT),
    limit(_PLACING, "MARGIN_DEG", _EQUIVALENT, times=0.5),
    limit(_PLACING, "ENOUGH_RUNS", _ENOUGH),
    limit(_PLACING, "ENOUGH_RUNS", _ENOUGH, times=0.9),
    limit(_PLACING, "LEVEL", _EQUIVALENT),
    limit(_PLACING, "LEVEL", _EQUIVALENT, times=0.5),
    change(_PLACING, "_comparison", "fmean(other) - fmean(usual)", "fmean(usual)", _EQUIVALENT),
    change(_PLACING, "_comparison", "min(len(usual), len(other))", "len(usual)", _ENOUGH),
    change(_PLACING, "_comparison", "min(len(usual), len(other))", "len(other)", _ENOUGH),
    change(
        _PLACING,
        "Equivalence.sentence",
        "min(self.n_other, self.n_usual)",
        "self.n_usual",
        _ENOUGH,
    ),
    never(_PLACING, "Equivalence.sentence", "self.upper_deg < 0", _EQUIVALENT),
    never(_PLACING, "Equivalence.sentence", "self.lower_deg > 0", _EQUIVALENT),
    never(_PLACING, "_counts", "not row.valid", _APART),
    never(
        _PLACING,
        "_counts",
        'analysis.run.header.source == "hand"',
        _WAYS + "readings_by_hand_are_not_compared",
    ),
    change(
        _PLACING,
        "_counts",
        '"gap_unknown" in row.flags and row.onset_method == "one_edge"',
        "False",
        _WAYS + "a_clear_edge_alone_is_not_compared",
    ),
    change(_PLACING, "_compare", _WAY_KEY, _WAY_KEY.replace(", row.rate_deg_s", ""), _APART),
    change(_PLACING, "_compare", "must_agree(analysis)", "0", _APART),
]

_LOAD = "rig.analysis.load"
_LOADED = "tests/analysis/test_load.py::test_"
_TOLD = _LOADED + "damaged_files_are_told_and_the_others_counted"
_ALONE = _LOADED + "damaged_files_alone_are_refused_by_the_first_reason"
_PAIRS = _LOADED + "pairs_of_more_than_six_groups_are_not_listed"
_CARRIED = _LOADED + "budgets_are_carried_only_when_asked_for"
_TABLE = "rig.analysis.table"
_SHARES = _LOADED + "shares_of_a_budget_and_its_layers"

LOAD: list[Guard] = [
    limit(_LOAD, "MOST_GROUPS", _PAIRS),
    limit(_LOAD, "MOST_GROUPS", _PAIRS, times=0.5),
    never(_LOAD, "analyse", "not files", _LOADED + "a_folder_without_run_files_is_refused"),
    never(_LOAD, "analysis_of", "not runs", _ALONE),
    change(_LOAD, "analysis_of", "problems[0]", "problems[-1]", _ALONE),
    without(_LOAD, "analyse", "problems.append(...)", _TOLD),
    without(_LOAD, "analyse", "problems.extend(...)", _TOLD),
    change(_LOAD, "analyses", "BadInputError", "KeyError", _TOLD, nth=1),
    always(_LOAD, "Analysis.document", "with_budget", _CARRIED, nth=2),
    change(
        _TABLE,
        "write_csv",
        "replace_file(...)",
        "path.write_text(csv_text(results))",
        _LOADED + "a_table_is_written_whole_or_not_at_all",
    ),
    change(
        _TABLE,
        "write_csv",
        "OSError",
        "KeyError",
        _LOADED + "a_table_is_written_whole_or_not_at_all",
    ),
    always(
        _TABLE,
        "run_rows",
        "row.valid",
        _LOADED + "a_row_says_that_it_is_not_valid_and_what_is_unknown",
    ),
    change(_TABLE, "budget_rows", "(u / whole) ** 2", "u / whole", _SHARES),
    always(_TABLE, "budget_rows", "whole", _LOADED + "a_budget_of_nothing_has_no_shares", nth=2),
    always(_TABLE, "_dof", "dof < MOST_DOF", _SHARES),
    never(
        _TABLE,
        "difference_rows",
        "part.cancels",
        _LOADED + "groups_show_their_interval_and_differences_what_cancels",
    ),
]

_VIBRATION = "rig.analysis.angle.vibration"
_LINES_OF = "tests/analysis/test_vibration.py::test_"
_ADVICE = _LINES_OF + "limits_of_the_advice"
_WORST = _LINES_OF + "the_worst_bias"
_STAYS = _LINES_OF + "what_of_a_line_stays"
_WEIGHTS = _LINES_OF + "the_weights_are_those_of_the_fit_at_the_break"

VIBRATION: list[Guard] = [
    limit(_VIBRATION, "ALLOWED_DEG", _ADVICE),
    limit(_VIBRATION, "ALLOWED_DEG", _ADVICE, times=0.5),
    limit(_VIBRATION, "LEAST_CORNER_HZ", _ADVICE),
    limit(_VIBRATION, "LEAST_CORNER_HZ", _ADVICE, times=0.5),
    change(_VIBRATION, "advice", "math.sqrt(ALLOWED_DEG / now.bias_deg)", "0.5", _ADVICE),
    change(_VIBRATION, "advice", "biases[hz]", "-biases[hz]", _ADVICE),
    never(_VIBRATION, "advice", "now.bias_deg == 0.0", _ADVICE),
    never(_VIBRATION, "worst_bias", "seen_g is None", _WORST),
    change(_VIBRATION, "worst_bias", "harmonic * pulse_hz", "pulse_hz", _WORST),
    change(_VIBRATION, "worst_bias", "math.degrees(seen_g * grown * share)", "share", _WORST),
    change(_VIBRATION, "worst_bias", "bias > found.bias_deg", "True", _WORST),
    change(_VIBRATION, "leak", "angle > 0.0", "angle > -99.0", _STAYS),
    change(_VIBRATION, "fit_weights", "middle / MEMORY_S", "middle", _WEIGHTS),
]

_MATERIAL = "rig.analysis.material"
_OF_MATERIAL = "tests/analysis/test_material.py::test_"
_ROOT = _OF_MATERIAL + "an_error_that_grows_as_the_cube_root_of_the_rate_is_as_likely_none_as_all"
_CHANCE = _OF_MATERIAL + "a_difference_within_its_own_uncertainty_changes_nothing"
_WIDER = _OF_MATERIAL + "a_check_widens_the_angles_and_never_moves_them"
_WELCH = _OF_MATERIAL + "the_difference_is_welchs_with_what_the_edges_leave_open"
_ONE_RATE = _OF_MATERIAL + "without_two_slides_at_each_of_two_rates_in_a_session_there_is_no_check"
_NO_MEAN = _OF_MATERIAL + "runs_that_check_enter_no_mean_and_no_comparison_of_ways"
_WHOSE = _OF_MATERIAL + "only_runs_of_a_rig_that_count_are_measured"

MATERIAL: list[Guard] = [
    limit(_MATERIAL, "EXPONENT", _ROOT),
    change(_MATERIAL, "_widens", "math.sqrt(3.0)", "1.0", _ROOT),
    change(_MATERIAL, "_widens", "abs(at_check - error)", "(at_check - error)", _ROOT),
    change(_MATERIAL, "_widens", "difference**2 - u**2", "difference**2", _CHANCE),
    change(_MATERIAL, "_compared", "[means.u, *left_open]", "[means.u]", _WELCH),
    never(_MATERIAL, "_compared", "means is None or rate == check_rate", _ONE_RATE + "[slides5]"),
    change(
        _MATERIAL,
        "_together",
        "median_low(...)",
        "1.0 / math.sqrt(math.fsum(weights))",
        _OF_MATERIAL + "sessions_are_averaged_and_their_systematic_part_is_not",
    ),
    change(_MATERIAL, "rated_slides", "row.valid", "True", _WHOSE),
    change(_MATERIAL, "rated_slides", "row.onset_method != 'by_hand'", "True", _WHOSE),
    change(_MATERIAL, "_widened", "[*analysis.budget.components, part]", "[part]", _WIDER),
    never(_MATERIAL, "_widened", "check.widens_deg == 0.0", _OF_MATERIAL + "nothing_is_no_line"),
    never("rig.analysis.groups", "_usable", "row.purpose == 'check'", _NO_MEAN),
    change("rig.analysis.placing", "_counts", "row.purpose == 'check'", "False", _NO_MEAN),
]

ENTRIES: list[Guard] = [
    *UNCERTAINTY,
    *MATERIAL,
    *GROUPS,
    *DIFFERENCE,
    *PLACING,
    *LOAD,
    *VIBRATION,
]
