"""Guards of the analysis of one slide: edges, distances, solver's cases, air, hinge."""

from tests.guards.entry import Guard, always, change, limit, never, without

_EDGE = "rig.analysis.onset.edges"
_EDGES = "tests/analysis/test_edges.py::test_"
_MOMENT = _EDGES + "a_beam_that_is_free_for_a_moment_is_still_broken"
_OF_THIS = _EDGES + "only_the_edges_of_this_beam_and_of_the_raise_count"
_LAST = _EDGES + "the_last_edge_before_the_raise_says_how_the_beam_stood"
_OF_BEAM = _EDGES + "flags_of_a_beam"
_PASS = _EDGES + "how_long_a_pass_may_take"
_WORTH = _EDGES + "what_the_passes_are_worth"
_STAYS = _EDGES + "a_bag_that_stays_in_the_beam_for_too_long_does_not_slide"
_DELAYED = _EDGES + "edges_are_taken_back_by_the_receivers_delay"

EDGES: list[Guard] = [
    limit(_EDGE, "JOIN_S", _MOMENT),
    limit(_EDGE, "JOIN_S", _MOMENT, times=0.5),
    limit(_EDGE, "MOST_EDGES", _OF_BEAM),
    limit(_EDGE, "MOST_EDGES", _OF_BEAM, times=0.5),
    change(_EDGE, "beam_record", "t_s - response_s", "t_s", _DELAYED),
    change(_EDGE, "beam_record", "t_s - response_s", "t_s + response_s", _DELAYED),
    always(_EDGE, "beam_record", 'event.detail.get("beam", 1) == beam', _OF_THIS),
    always(_EDGE, "beam_record", "from_s <= t_s <= to_s", _OF_THIS),
    change(_EDGE, "beam_record", "from_s <= t_s <= to_s", "from_s < t_s < to_s", _OF_THIS),
    always(_EDGE, "beam_record", "to_s < t_s < lowered_s", _OF_THIS),
    never(_EDGE, "beam_record", "to_s < t_s < lowered_s", _OF_THIS),
    change(
        _EDGE,
        "beam_record",
        "broken and start is None",
        "broken or start is None",
        _EDGES + "edges_that_say_the_same_twice_change_nothing",
    ),
    change(
        _EDGE,
        "beam_record",
        "broken and start is None",
        "broken",
        _EDGES + "edges_that_say_the_same_twice_change_nothing",
    ),
    change(_EDGE, "beam_record", "before[-1]", "before[0]", _LAST),
]

_CASE = "rig.analysis.onset.estimate"
_DISTANCE = "tests/analysis/test_geometry.py::test_"
_REACH = _DISTANCE + "slump_may_reach_a_beam_within_three_u"
_OVER = _DISTANCE + "slumped_fill_hangs_about_the_beam"
_ENDS = _EDGES + "first_and_last_edge_of_each_case"
_FLAT = _EDGES + "a_break_before_the_board_has_tilted_is_no_mistake_of_arithmetic"
_OF_RUN = "tests/analysis/test_flags.py::test_"
_OF_ONSET = "tests/analysis/test_onset.py::test_"
_SLUMPED = _OF_RUN + "fill_that_slumped_into_the_first_of_two_beams"
_EARLY = _OF_RUN + "one_beam_notices_fill_that_came_a_little_early"
_ONLY = _OF_RUN + "fill_that_slumped_into_the_only_beam"
_NO_SLIDE = _OF_RUN + "a_pass_that_no_slide_makes"
_WIDER = _OF_RUN + "what_the_laws_do_not_explain_widens_the_budget_by_what_was_corrected"
_LIMIT = _OF_ONSET + "a_bag_that_would_rather_have_no_drop_of_friction"
_WHOLE = _OF_ONSET + "a_whole_run_file_gives_the_truth"
_ONE_EDGE = _OF_ONSET + "a_run_cut_off_after_the_break_uses_one_edge"

_SLUMP = "rig.analysis.onset.slump"
_OF_SLUMP = "tests/analysis/test_slump.py::test_"
_DOUBT = _OF_SLUMP + "fill_that_slumped_just_before_the_slide_is_seen_though_the_edges_fit[0.25]"
_GOOD = _OF_SLUMP + "a_good_slide_of_such_a_bag_is_not"
_DENSITIES = _OF_SLUMP + "the_odds_are_those_of_the_evidence_and_of_when_a_slump_comes"
_EVIDENCE = _OF_SLUMP + "the_evidence_of_edges_is_their_probability_density"
_TOWARDS = _OF_SLUMP + "fill_that_slumped_towards_the_beam_widens_u"
_NO_SLUMP = _OF_SLUMP + "an_edge_that_came_after_the_onset_is_no_slump"

CASES: list[Guard] = [
    change(_CASE, "FALSE_ALARM_MISFITS", "(8.0, 8.0, 8.0)", "(8e3, 8e3, 8e3)", _WIDER),
    change(_CASE, "FALSE_ALARM_MISFITS", "(2.3, 2.3, 1.9)", "(23.0, 23.0, 19.0)", _EARLY),
    change(_CASE, "", "2.0, 4.0", "4.0, 4.0", _OVER),
    change(_CASE, "", "2.0, 4.0", "2.0, 8.0", _OVER),
    change(_CASE, "Geometry.u_to_break_mm", "math.hypot(...)", "self.u_gap_mm", _REACH),
    change(_CASE, "Geometry.may_slump_through", "3.0", "6.0", _REACH),
    change(_CASE, "Geometry.may_slump_through", "3.0", "1.5", _REACH),
    change(_CASE, "USED", "((0, True), (0, False))", "((0, True),)", _ENDS),
    change(_CASE, "USED", "((1, True), (0, False), (1, False))", "((0, True), (1, False))", _ENDS),
    change(_CASE, "solve", 'solved.found.limit == "high"', "False", _NO_SLIDE),
    never(_CASE, "solve", "is_slump and ...", _SLUMPED, _ONLY),
    change(_CASE, "solve", "is_slump and ...", "is_slump", _WIDER),
    change(_SLUMP, "LIKELIER", "0.0", "19.0", _DOUBT),
    change(_SLUMP, "LIKELIER", "0.0", "-19.0", _GOOD),
    change(_CASE, "solve", "len(used) == 4", "False", _TOWARDS, nth=1),
    limit(_SLUMP, "LEAST_SLUMPED", _DOUBT, times=9.0),
    change(_SLUMP, "", "0.02, 2.5", "0.02, 25.0", _DENSITIES),
    change(_SLUMP, "", "0.02, 2.5", "0.002, 2.5", _DENSITIES),
    change(_SLUMP, "slump_log_odds", "whole.log_evidence", "9.0", _NO_SLUMP),
    change(_SLUMP, "slump_log_odds", "max(density_1_s, 1e-300)", "1.0", _NO_SLUMP),
    change(_SLUMP, "slump_log_odds", "max(density_1_s, 1e-300)", "density_1_s", _NO_SLUMP),
    change(_CASE, "solve", 'found.limit == "low"', "False", _LIMIT),
    change(_CASE, "solve", "len(used) == 4", "len(used) > 4", _WHOLE, nth=2),
    change(_CASE, "solve", "len(used) == 1", "False", _ONE_EDGE),
    change(_CASE, "choose", "max(angle_deg(from_s), 2.0)", "angle_deg(from_s)", _FLAT),
    change(_CASE, "choose", "0.8 * fastest", "0.4 * fastest", _PASS),
    change(_CASE, "choose", "0.8 * fastest", "fastest", _PASS),
    change(_CASE, "choose", "0.2 + longest_s", "0.4 + longest_s", _PASS, _STAYS),
    change(_CASE, "choose", "45.0", "25.0", _PASS, nth=1),
    never(_CASE, "choose", "others is not None and second is None", _WORTH),
    without(_CASE, "choose", 'flags += ("early_disturbance",)', _WORTH),
    without(_CASE, "choose", 'flags += ("edge_crept",)', _WORTH),
    change(_CASE, "choose", '("stalled_in_slide",)', "()", _WORTH),
    change(_CASE, "choose", '("edge_crept",)', "()", _WORTH, nth=2),
    change(_CASE, "choose", '("edge_crept", "gap_unknown")', "()", _WORTH, _PASS),
    always(_CASE, "choose", "can_be(near, clear, main.broken_s, max(...))", _STAYS),
    always(_CASE, "choose", "after[0].clear_s > main.clear_s", _WORTH),
    change(_CASE, "_following", "one.clear_s > main.clear_s", "True", _WORTH),
    change(
        _CASE,
        "_following",
        "main.broken_s < one.broken_s < main.clear_s",
        "one.broken_s < main.clear_s",
        _WORTH,
    ),
    change(
        _CASE,
        "_following",
        "main.broken_s < one.broken_s < main.clear_s",
        "main.broken_s < one.broken_s",
        _WORTH,
    ),
]

_GEOMETRY = "rig.analysis.onset.geometry"
_DISTANCES = "tests/analysis/test_geometry.py::test_"
_PLACED = _DISTANCES + "what_was_placed_counts_before_what_was_planned"
_LENGTH = _DISTANCES + "length_of_the_bag"

GEOMETRY: list[Guard] = [
    change(_GEOMETRY, "", "152.0", "150.0", _LENGTH),
    change(_GEOMETRY, "", "10.0", "5.0", _LENGTH),
    change(_GEOMETRY, "", "8.0", "6.0", _PLACED),
    change(_GEOMETRY, "", "8.0, 4.0", "8.0, 2.0", _PLACED),
    limit(_GEOMETRY, "ONE_SIDED", _LENGTH),
    always(_GEOMETRY, "run_geometry", 'header.placing == "hand"', _LENGTH),
    never(_GEOMETRY, "run_geometry", 'header.placing == "hand"', _LENGTH),
    without(_GEOMETRY, "run_geometry", 'flags.append("gap_unknown")', _PLACED),
    change(
        _GEOMETRY,
        "run_geometry",
        'number(detail.get("gap_mm"))',
        'detail.get("gap_mm")',
        _PLACED,
    ),
    change(_GEOMETRY, "run_geometry", "1.0 if u_gap is None else u_gap", "u_gap", _PLACED),
    change(_GEOMETRY, "run_geometry", "4.0 if u_length is None else u_length", "u_length", _LENGTH),
    change(
        _GEOMETRY,
        "run_geometry",
        "placed[-1]",
        "placed[0]",
        _DISTANCES + "the_last_placing_counts",
    ),
]

_CLIMATE = "rig.analysis.climate"
_AIR = "tests/analysis/test_climate.py::test_"
_DRIFTS = _AIR + "air_drifts_by_more_than_one_kelvin_or_four_percent"
_MEANS = _AIR + "means_with_the_sensors_uncertainty_and_the_scatter"
_SPAN = _AIR + "both_ends_of_the_span_count_and_without_a_reading_in_it_all_do"
_PSYCHRO = "tests/outside/test_psychrometrics.py::test_"
_STANDARD = _PSYCHRO + "standard_climates"

CLIMATE: list[Guard] = [
    limit(_CLIMATE, "DRIFT_K", _DRIFTS),
    limit(_CLIMATE, "DRIFT_K", _DRIFTS, times=0.5),
    limit(_CLIMATE, "DRIFT_PCT", _DRIFTS),
    limit(_CLIMATE, "DRIFT_PCT", _DRIFTS, times=0.5),
    limit(_CLIMATE, "U_TEMPERATURE_K", _MEANS),
    limit(_CLIMATE, "U_HUMIDITY_PCT", _MEANS),
    limit(_CLIMATE, "GAS_CONSTANT_VAPOUR", _AIR + "gas_constant_of_water_vapour", times=1.01),
    change(_CLIMATE, "_mean", "u_sensor**2 + scatter", "u_sensor**2", _MEANS),
    change(
        _CLIMATE,
        "_mean",
        "squares / (len(values) - 1) / len(values)",
        "squares / (len(values) - 1)",
        _MEANS,
    ),
    always(_CLIMATE, "run_climate", "from_s <= line.t_s <= to_s", _SPAN),
    change(
        _CLIMATE, "run_climate", "from_s <= line.t_s <= to_s", "from_s < line.t_s < to_s", _SPAN
    ),
    change(_CLIMATE, "run_climate", "list(lines)", "[]", _SPAN),
    never(
        _CLIMATE,
        "run_climate",
        "temperature is None or humidity is None",
        _AIR + "what_was_not_measured_stays_open",
    ),
    never(_CLIMATE, "dew_point_c", "target <= 0.0", _PSYCHRO + "dry_air_has_no_dew_point"),
    change(_CLIMATE, "saturation_pressure_pa", "273.15", "273.0", _STANDARD),
    change(_CLIMATE, "absolute_humidity_g_m3", "1000.0", "1.0", _STANDARD),
    change(_CLIMATE, "absolute_humidity_g_m3", "273.15", "270.0", _STANDARD),
    change(
        _CLIMATE,
        "surface_humidity_pct",
        "board_temperature_c",
        "temperature_c",
        _PSYCHRO + "air_over_a_warm_board",
        nth=1,
    ),
]

_HINGE = "rig.analysis.angle.hinge"
_FLAGS = "tests/analysis/test_flags.py::test_"
_SLIPPED = _FLAGS + "a_sensor_that_slipped"
_SCATTER = _FLAGS + "scatter_widens_the_limit_of_a_slip"
_SHORT = _FLAGS + "a_raise_that_is_too_short_shows_no_hinge"
_SWEEP = _FLAGS + "the_hinge_is_seen_in_blocks_after_the_first_second"

HINGE: list[Guard] = [
    limit(_HINGE, "LIMIT_DEG", _SLIPPED),
    limit(_HINGE, "LIMIT_DEG", _SLIPPED, times=0.5),
    limit(_HINGE, "SETTLE_S", _SWEEP),
    limit(_HINGE, "BLOCK_S", _SWEEP),
    change(_HINGE, "check_hinge", "abs(moved)", "moved", _SLIPPED, _SCATTER),
    change(_HINGE, "check_hinge", "abs(moved)", "-moved", _SLIPPED, _SCATTER),
    change(_HINGE, "check_hinge", "4.0 * u", "8.0 * u", _SCATTER),
    change(_HINGE, "check_hinge", "4.0 * u", "2.0 * u", _SCATTER),
    never(_HINGE, "check_hinge", "not gravity.size", _SHORT),
    change(_HINGE, "check_hinge", "BadInputError", "KeyError", _SHORT),
]

_LAWS = "rig.analysis.onset.laws"
_FIT = "rig.analysis.onset.fit"
_POSTERIOR = "rig.analysis.onset.posterior"
_TIMES = _OF_ONSET + "times_of_each_law_against_another_integrator"
_MIXTURE = _OF_ONSET + "the_mixture_is_even_in_the_logarithm_of_distance_and_speed"
_CLOSED = _OF_ONSET + "with_coulombs_law_alone_exact_edges_give_the_closed_solution"
_FAMILY = _OF_ONSET + "slides_of_the_whole_family"
_APART = _OF_ONSET + "uncertainty_comes_apart_by_source"
_STEPS = _OF_ONSET + "more_steps_and_hopeless_laws_change_nothing"
_LEANS = _OF_ONSET + "one_edge_leans_on_what_is_known_of_kinetic_friction"

ONSET: list[Guard] = [
    change(_LAWS, "WEIGHTS", "(0.2, 0.4, 0.4)", "(0.0, 0.5, 0.5)", _FAMILY),
    change(_LAWS, "Table.prior", "STRIBECK_MM_S[0] * unit_s", "STRIBECK_MM_S[0]", _MIXTURE),
    change(
        _LAWS,
        "Table.prior",
        "weight / np.bincount(self.family, share)[self.family]",
        "weight",
        _MIXTURE,
    ),
    change(_LAWS, "Table.times", "off * (slope + off / 2.0 * bend)", "off * slope", _TIMES),
    change(_LAWS, "Table.times", "part * (far - near)", "0.0", _TIMES, nth=1),
    change(_LAWS, "Table.times", "time * by_drop / DROP_STEP", "time * by_drop", _TIMES),
    change(_LAWS, "_integrate", "t1 + 2.0 * (t2 + t3) + t4", "6.0 * t1", _TIMES),
    change(_LAWS, "_integrate", "time + drops * grown", "time + drops", _TIMES),
    change(_POSTERIOR, "posterior", "G_MM_S2 * turn / math.cos(angle)", "G_MM_S2 * turn", _CLOSED),
    change(_POSTERIOR, "posterior", "G_MM_S2 * math.cos(angle)", "G_MM_S2", _CLOSED),
    change(
        _POSTERIOR,
        "posterior",
        "math.sqrt(float(weight @ (onsets - onset_of[fit.set]) ** 2))",
        "0.0",
        _FAMILY,
    ),
    change(_POSTERIOR, "posterior", "math.copysign(math.sqrt(a), -sign)", "math.sqrt(a)", _APART),
    change(_FIT, "_placed", "1e-3 * u_response_ms", "1e-6 * u_response_ms", _APART),
    limit(_FIT, "LEAST_MM", _DISTANCE + "slump_leaves_a_gap_of_its_own"),
    limit(_FIT, "LEAST_MM", _DISTANCE + "slump_leaves_a_gap_of_its_own", times=0.5),
    limit(_FIT, "U_EDGE_MM", _FAMILY, times=0.25),
    limit(_POSTERIOR, "SLUMPS", _TOWARDS, times=0.01),
    change(_POSTERIOR, "posterior", "0.5 * len(edges) * math.log(2.0 * math.pi)", "0.0", _EVIDENCE),
    change(_POSTERIOR, "posterior", "math.log(whole)", "0.0", _EVIDENCE),
    without(
        _POSTERIOR, "posterior", 'sources["slump"][0] += of_set @ (onset_of - best) ** 2', _TOWARDS
    ),
    limit(_FIT, "HOPELESS", _STEPS, times=0.0),
    limit(_FIT, "LARGEST_STEP", _STEPS, times=0.01),
    change(_FIT, "", "16, 0.03", "3, 0.03", _STEPS),
    change(_FIT, "", "16, 0.03", "16, 0.5", _STEPS),
    change(_FIT, "Fit.solve", "moved[:, 1] * before < 0.0", "before == 7.0", _STEPS),
    change(_FIT, "", "0.15, 1.2, 0.8", "0.15, 0.1, 0.8", _LEANS),
]

_RUN = "rig.analysis.friction"
_QUICK = "tests/analysis/test_early_quick.py::test_a_slide_is_told_as_early_or_its_angle_is_right"
_ACROSS = _FLAGS + "cross_slope"
_WINDOW = _FLAGS + "the_climate_is_read_from_five_seconds_before_the_raise_to_its_end"
_WRONG = "tests/analysis/test_wrong_inputs.py::test_"
_NO_PASS = _FLAGS + "a_pass_that_no_slide_makes"
_REACHES = _FLAGS + "slumped_fill_counts_as_such_where_it_can_reach"
_ENDED = _FLAGS + "how_a_run_ended"
_REFUSED = "tests/analysis/test_load.py::test_a_run_of_the_rig_needs_a_calibration_of_its_sensor"

RUN: list[Guard] = [
    limit(_RUN, "UNSURE_S", _QUICK, times=0.1),
    limit(_RUN, "UNSURE_S", _QUICK, times=4.0),
    limit(_RUN, "CROSS_SLOPE_DEG", _ACROSS),
    limit(_RUN, "CROSS_SLOPE_DEG", _ACROSS, times=0.5),
    change(_RUN, "_slide", "abs(ramp.cross_slope_deg)", "ramp.cross_slope_deg", _ACROSS),
    change(_RUN, "analyse_run", "(raise_s or 0.0) - 5.0", "(raise_s or 0.0) - 15.0", _WINDOW),
    change(_RUN, "analyse_run", "(raise_s or 0.0) - 5.0", "(raise_s or 0.0)", _WINDOW),
    change(
        _RUN,
        "analyse_run",
        "run_climate(run.climate, (raise_s or 0.0) - 5.0, end_s)",
        "run_climate(run.climate, (raise_s or 0.0) - 5.0, end_s + 10.0)",
        _WINDOW,
    ),
    never(_RUN, "analyse_run", "climate.drifted", _FLAGS + "air_that_changes_is_flagged"),
    never(_RUN, "analyse_run", 'outcome == "no_slide"', _ENDED),
    change(_RUN, "analyse_run", 'flags.append("halted")', "pass", _ENDED),
    always(_RUN, "analyse_run", "not INVALIDATING.intersection(flags)", _ENDED),
    never(_RUN, "analyse_run", "raise_s is None", _FLAGS + "a_run_that_was_never_raised_is_halted"),
    never(_RUN, "analyse_run", "calibration.sensor != own.sensor", _REFUSED),
    never(_RUN, "analyse_run", "calibration is None", _REFUSED, nth=1),
    without(_RUN, "_slide", 'flags.append("beam_fault")', _NO_PASS, _REACHES),
    change(_RUN, "_slide", "not geometry.may_slump_through", "False", _REACHES),
    change(_RUN, "_slide", "not geometry.may_slump_through", "True", _REACHES),
    change(_RUN, "_slide", '[*flags, "beam_fault"]', "flags", _NO_PASS),
    change(_RUN, "_doubt", "math.sqrt(3.0)", "3.0", _WIDER),
    never(_RUN, "_slide", 'found.flag == "creep"', _WIDER),
    without(_RUN, "_slide", "flags.append(found.flag)", _SLUMPED, _ONLY, _WIDER),
    never(
        _RUN,
        "_slide",
        "doubt_deg > 0.0",
        _WRONG + "a_sensor_that_slips_between_homing_and_the_raise",
    ),
]

ENTRIES: list[Guard] = [*EDGES, *CASES, *GEOMETRY, *CLIMATE, *HINGE, *ONSET, *RUN]

NO_LIMITS = {
    "rig.analysis.onset.laws.LOG_STEP": "half as many laws move an onset by less than 0.01 u",
    "rig.analysis.onset.laws.START_MM": "where the integration begins: far below any edge",
    "rig.analysis.onset.slump.LIKELIER": "0, which no factor changes; two changes above weaken it",
    "rig.analysis.onset.fit.U_TIME_MS": "small beside 0.2 mm of place at any speed",
}
