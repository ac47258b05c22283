"""Guards of what a calibration computes: angle, hinge, delay, and the fit."""

from tests.guards.entry import Guard, change, limit, never, without

_TESTS = "tests/calibration/"
_APPLY = _TESTS + "test_apply.py::test_"
_AXIS = _TESTS + "test_axis.py::test_"
_FIT = _TESTS + "test_fit.py::test_"
_SENSORS = _TESTS + "test_sensors.py::test_"
_SIX = _TESTS + "test_six_position.py::test_"


def _apply() -> list[Guard]:
    m = "rig.calibration.apply"
    plain = _APPLY + "a_single_reading_in_plain_numbers_is_the_one_in_arrays"
    formula = _APPLY + "counts_become_gravity_by_the_documented_formula"
    mounting = _APPLY + "any_mounting_of_the_sensor_gives_the_angle"
    right = _APPLY + "gravity_along_the_hinge_is_a_right_angle_also_where_rounding_exceeds_one"
    corner = _APPLY + "at_level_the_jacobian_is_that_of_the_turn_about_the_hinge"
    rates = _APPLY + "the_jacobian_is_that_of_the_formula"
    whole = _APPLY + "a_level_known_through_the_sensor_leaves_no_more_than_the_whole"
    far = _APPLY + "temperature_uncertainty_grows_with_the_distance"
    apart = _APPLY + "drifts_of_the_axes_are_independent"
    warmer = "temperature_c - calibration.temperature_c"
    colder = "calibration.temperature_c - temperature_c"
    uphill = "cross(axis, level)"
    return [
        change(m, "gravity_g", warmer, colder, formula),
        change(m, "gravity_g", "scaled - bias", "scaled + bias", formula),
        change(m, "inclination_deg", "-1.0", "1.0", mounting),
        change(m, "along_slope_deg", uphill, "cross(level, axis)", plain),
        change(m, "cross_slope_deg", "np.clip(along, -1.0, 1.0)", "along", right),
        change(m, "slopes_deg", warmer, colder, plain),
        change(m, "slopes_deg", "drift * rise_k", "-drift * rise_k", plain),
        change(m, "slopes_deg", "min(max(across, -1.0), 1.0)", "across", right),
        never(m, "_rising", "sine < 1e-3", corner),
        change(m, "_rising", "-1.0", "1.0", rates),
        change(m, "jacobian", "-gain * per_g", "gain * per_g", rates),
        change(m, "jacobian", "vector / gain * per_g", "vector * gain * per_g", rates),
        change(m, "jacobian", uphill, "cross(level, axis)", rates),
        change(m, "u_of_rates", "c @ covariance @ c", "c**2 @ np.diag(covariance)", whole),
        change(m, "u_of_rates", "min(level, whole)", "level", whole),
        change(m, "u_of_rates", "max(level, 0.0)", "level", whole),
        change(m, "drift_rates", "10.0", "0.0", far),
        change(m, "drift_rates", warmer, "10.0", far),
        change(m, "u_temperature_deg", "np.linalg.norm(rates)", "np.abs(rates).sum()", apart),
    ]


def _axis() -> list[Guard]:
    m = "rig.calibration.axis"
    short = _AXIS + "a_short_sweep_shows_no_axis"
    mounting = _AXIS + "the_axis_of_a_sweep_also_out_of_level"
    chord = _AXIS + "the_chord_runs_from_where_gravity_stood_first_to_where_it_stood_last"
    scatter = _AXIS + "the_axis_scatters_as_stated_towards_the_chord_and_across"
    slow = _AXIS + "noise_without_drift"
    folds = _AXIS + "lines_fold_at_half_the_sample_rate"
    sign = "np.copysign(...)"
    return [
        limit(m, "MIN_SWEEP_DEG", short),
        limit(m, "MIN_SWEEP_DEG", short, times=0.5),
        change(m, "axis_of_sweep", "len(points) < 8", "len(points) < 4", short),
        change(m, "axis_of_sweep", sign, "1.0", mounting, nth=1),
        change(m, "axis_of_sweep", sign, "1.0", chord, nth=2),
        change(m, "axis_of_sweep", "misfit / size[1]", "misfit / size[0]", scatter),
        change(m, "axis_of_sweep", "misfit / size[0]", "misfit / size[1]", scatter),
        change(m, "axis_of_sweep", "np.sqrt(len(points) - 3)", "1.0", mounting),
        change(m, "noise_g", "np.outer(t, slope)", "0.0", slow),
        change(m, "aliased_hz", "np.abs(turns - np.round(turns))", "turns", folds),
    ]


def _vibration() -> list[Guard]:
    m, place = "rig.calibration.axis", "vibration"
    little = _AXIS + "too_little_for_a_spectrum"
    line = _AXIS + "a_line_is_found_wherever_it_folds_to"
    noise = _AXIS + "noise_alone_makes_no_line"
    near_0 = _AXIS + "a_line_that_folds_to_near_0_is_not_seen"
    even = _AXIS + "a_board_that_turns_evenly_does_not_shake"
    none = _AXIS + "less_than_the_noise_at_the_motors_line_is_none"
    spectrum = "np.abs(np.fft.rfft(weighted, axis=1))"
    lines = "np.abs(np.einsum('kb,kbi->ki', turn, weighted))"
    square = "(line[clear] ** 2).mean(axis=0)"
    two_bins = "2.0 * sample_rate_hz / block"
    return [
        change(m, place, "count < 4", "count < 3", little),
        change(m, place, "count < 4", "count < 8", little),
        without(m, place, "pieces = pieces - pieces.mean(axis=1, keepdims=True)", even),
        without(m, place, "pieces = pieces - t[None, :, None] * ...", even),
        change(m, place, f"{spectrum} * 2.0 / window.sum()", f"{spectrum} / window.sum()", noise),
        change(m, place, f"{lines} * 2.0 / window.sum()", f"{lines} / window.sum()", line),
        change(m, place, f"{square} - floor", square, noise),
        change(m, place, "max(0.0, excess.max())", "excess.max()", none),
        change(m, place, two_bins, "4.0 * sample_rate_hz / block", near_0),
        change(m, place, two_bins, "1.0 * sample_rate_hz / block", near_0),
    ]


def _delay() -> list[Guard]:
    m, place = "rig.calibration.axis", "filter_delay"
    unseen = _AXIS + "what_no_sweep_shows_stays_in_the_uncertainty_of_the_delay"
    few = _AXIS + "a_few_blocks_show_no_delay"
    two_rates = _AXIS + "delay_and_backlash_from_two_rates"
    back = _AXIS + "backlash_has_a_sign"
    both = _AXIS + "delay_needs_both_directions"
    late = _AXIS + "the_delay_scatters_as_stated"
    lost = "-np.sign(rates) / 2.0"
    return [
        limit(m, "U_TIME_MS", unseen),
        limit(m, "U_BACKLASH_DEG", unseen),
        never(m, place, "len(directions) < 2", both),
        change(m, place, "len(rates) < 20", "len(rates) < 10", few),
        change(m, place, "len(rates) < 20", "len(rates) < 40", few),
        change(m, place, "-rates", "rates", few),
        change(m, place, "1.5 * speeds.min()", "1.2 * speeds.min()", unseen),
        change(m, place, "1.5 * speeds.min()", "1.8 * speeds.min()", unseen),
        change(m, place, lost, "np.sign(rates) / 2.0", back),
        change(m, place, lost, "-np.sign(rates)", two_rates),
        change(m, place, "1e3 * u_fit_s", "u_fit_s", late),
        change(m, place, "1e3 * u_backlash_s", "u_backlash_s", unseen),
        change(m, place, "1e3 * float(solution[5])", "float(solution[5])", few),
    ]


def _fit() -> list[Guard]:
    m, problem, residuals = "rig.calibration.fit", "_Problem.__init__", "_Problem.__call__"
    doubt = _FIT + "residuals_that_come_once_in_a_hundred_fits_are_doubted"
    twist = _FIT + "a_twist_and_a_bias_along_the_hinge_share_what_the_arc_cannot_tell_apart"
    blur = _FIT + "what_blurs_the_vectors_widens_the_parameters"
    level = _FIT + "the_level_is_known_as_well_as_its_readings"
    warm = _FIT + "a_known_drift_is_taken_off"
    shared = _FIT + "covariance_of_readings_knows_what_they_share"
    worst = _FIT + "the_worst_residual_is_named_with_its_sign"
    anyhow = _FIT + "any_mounting_is_recovered_within_its_uncertainty[fault0-anyhow]"
    unseen = _FIT + "what_was_not_seen_keeps_the_data_sheets_uncertainty"
    twisted = _FIT + "a_twisted_board_is_found_by_readings_across"
    refused = _FIT + "captures_that_will_not_do"
    parts = _FIT + "the_references_uncertainty_is_that_of_all_its_parts"
    freedom = _FIT + "parameters_cost_degrees_of_freedom"
    warmer = "np.outer(warmer, drift.drift_g_per_k)"
    zero = "[zero.along.u_slope_deg, zero.across.u_slope_deg]"
    return [
        limit(m, "U_TWIST_DEG", twist),
        limit(m, "U_TWIST_DEG", twist, times=0.5),
        limit(m, "DOUBT_P", doubt),
        limit(m, "DOUBT_P", doubt, times=0.5),
        without(m, "fit_calibration", "check_captures(...)", refused),
        change(m, problem, "noise**2", "0.0", blur),
        change(m, problem, "(u_drift * warmer) ** 2", "0.0", blur),
        change(m, problem, "sensor.u_axes**2", "0.0", blur),
        change(m, problem, f"self.raw -= {warmer}", f"self.raw += {warmer}", warm),
        change(m, problem, "np.radians(1.0) ** 2", "1.0", doubt),
        change(m, problem, zero, "[zero.across.u_slope_deg, zero.along.u_slope_deg]", level),
        change(m, "_Problem._guess", "np.sign(...)", "-1.0", anyhow),
        change(m, residuals, "np.linalg.solve(self.u_prior, prior)", "prior", unseen),
        change(m, residuals, "p[10:12] - self.slopes", "p[10:12]", anyhow),
        change(m, residuals, "sideways - self.across", "sideways", twisted),
        change(m, "reading_covariance", "own + ...", "own", shared),
        change(m, "reading_covariance", "np.outer(common, common)", "0.0", shared),
        change(m, "reading_covariance", "same * ...", "np.outer(block, block)", shared),
        change(m, "reading_covariance", "reading.u_random_deg**2", "0.0", shared),
        change(m, "_chi2_of_readings", "jacobian[part] @ ... @ ...", "0.0", freedom),
        change(m, "_reported", "np.degrees(tangent @ along)", "tangent @ along", level),
        change(m, "_reported", "np.degrees(tangent @ across)", "tangent @ across", level),
        change(m, "_residuals", "by_reference - by_sensor", "by_sensor - by_reference", worst),
        change(m, "_notes", "max(residuals, key=abs)", "max(residuals)", worst),
        change(m, "fit_calibration", "np.mean(np.diag(covariance))", "covariance.mean()", parts),
    ]


def _sensors() -> list[Guard]:
    m = "rig.calibration.sensors"
    sheet = _SENSORS + "a_new_sensor_is_believed_as_far_as_its_sheet"
    return [
        *(
            change(m, "CLASSES", value, f"{value} * {times}", sheet, nth=nth)
            for value, nth in (
                *(("0.03", n) for n in (1, 2, 3, 4)),
                ("0.01", None),
                ("1e-4", 1),
                *(("0.038", n) for n in (1, 2, 3)),
                ("0.012", None),
                ("1e-4", 2),
                ("0.05", 1),
                ("0.05", 2),
                ("0.08", None),
                ("5e-4", None),
            )
            for times in (2, 0.5)
        ),
        change(m, "prior_of", "sigma**2", "sigma", sheet),
    ]


def _six_positions() -> list[Guard]:
    m = "rig.calibration.six_position"
    axis = _SIX + "an_axis_points_up_within_some_37_degrees"
    missing = _SIX + "a_missing_position_is_named"
    shakes = _SIX + "a_hand_that_shakes_is_seen"
    skewed = _SIX + "axes_that_are_not_square_widen_what_six_positions_find"
    two = _SIX + "two_temperatures_must_be_5_k_apart"
    noise = _SIX + "noise_is_in_the_uncertainty_of_the_drift"
    both = _SIX + "both_captures_of_the_drift_are_looked_at"
    worst = "np.max(np.abs(change))"
    return [
        limit(m, "NEAR_AXIS", axis, times=1.03),
        limit(m, "NEAR_AXIS", axis, times=0.97),
        limit(m, "MIN_WARMTH_K", two),
        limit(m, "MIN_WARMTH_K", two, times=0.5),
        change(m, "six_positions", "(-1.0, 'down')", "(1.0, 'down')", missing),
        without(m, "six_positions", "check_rest(...)", shakes),
        change(m, "six_positions", "sensor.u_axes**2", "0.0", skewed),
        change(m, "drift_of_two", "abs(rise_k) < MIN_WARMTH_K", "rise_k < MIN_WARMTH_K", two),
        change(m, "drift_of_two", "... / abs(rise_k)", "0.0", noise),
        without(m, "drift_of_two", "check_rest(...)", both),
        change(m, "drift_of_two", f"0.1 * {worst}", "0.0", two),
        change(m, "drift_of_two", worst, "np.max(change)", two),
        change(m, "drift_of_two", "u_mean_counts(warm)", "0.0", noise),
        change(m, "drift_of_two", "u_mean_counts(cold)", "0.0", noise),
    ]


ENTRIES: list[Guard] = [
    *_apply(),
    *_axis(),
    *_vibration(),
    *_delay(),
    *_fit(),
    *_sensors(),
    *_six_positions(),
]
