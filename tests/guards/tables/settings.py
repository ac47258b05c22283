"""Guards of the settings."""

from tests.guards.entry import Guard, change, inverted, limit, never, without

_TESTS = "tests/settings/test_"

_CHECKS = "rig.settings.checks"
_METHOD = "rig.settings.method"
_MISFITS = _TESTS + "checks.py::test_what_does_not_fit_is_named"
_FITS = _TESTS + "checks.py::test_limits_themselves_are_allowed"
_LOWERING = _TESTS + "checks.py::test_lowering_takes_the_least_of_wish_bound_and_pulse_rate"
_RAISES = _TESTS + "checks.py::test_the_fast_raises_take_what_the_pulses_allow"
_RATE = (
    _TESTS
    + "checks.py::test_a_rate_that_the_pulses_cannot_make_is_refused_and_the_one_named_is_taken"
)
_NO_BLADE = _TESTS + "blade_checks.py::test_beyond_its_limits_the_blade_is_refused"
_BLADE = _TESTS + "blade_checks.py::test_at_its_limits_the_blade_is_accepted"
_STOP = _TESTS + "blade_checks.py::test_the_way_of_a_stop_by_hand"

_LOAD = "rig.settings.load"
_MISTAKE = _TESTS + "load.py::test_a_mistake_is_one_sentence_with_file_key_and_remedy"
_PLACES = _TESTS + "load.py::test_the_order_of_places"

_KEYS = "rig.settings.keys"
_RANGELESS = _TESTS + "refusals.py::test_a_key_without_a_range_is_refused"
_WORDS = _TESTS + "keys.py::test_every_key_has_its_default_and_its_range"

_TRIANGLE = "rig.settings.kinematics"
_RANGE_OF_ANGLES = _TESTS + "triangle.py::test_the_steepest_place_stays_in_the_range"

ENTRIES: list[Guard] = [
    # The linkage and its pulses.
    limit(_CHECKS, "MAX_LENGTH_RATIO", _MISFITS),
    never(_CHECKS, "_linkage", "place.soft_limit_deg >= place.travel_deg", _MISFITS),
    never(
        _CHECKS,
        "_linkage",
        "place.home_angle_deg >= place.soft_limit_deg",
        _TESTS + "refusals.py::test_a_soft_limit_below_home_is_refused",
    ),
    never(_CHECKS, "_pulses", "screw.min_pulse_gap_us > shortest_us", _MISFITS),
    never(_CHECKS, "_pulses", "rate > max_rate_deg_s(settings)", _MISFITS),
    change(_CHECKS, "_pulses", "1e6 / screw.max_pulse_rate_hz", "1e3", _MISFITS),
    change(
        _CHECKS,
        "max_rate_deg_s",
        "linkage.steepest_deg(...)",
        "settings.linkage.home_angle_deg",
        _TESTS + "triangle.py::test_where_the_screw_stands_square_to_its_arm_the_lever_is_the_arm",
    ),
    limit(_CHECKS, "HIGHEST_LOWERING_DEG_S", _LOWERING, times=0.5),
    change(
        _CHECKS,
        "lowering_rate_deg_s",
        "min(wanted, max_rate_deg_s(settings))",
        "wanted",
        _LOWERING,
    ),
    limit(_METHOD, "SETTLING_RATE_DEG_S", _RAISES),
    limit(_METHOD, "SETTLING_RATE_DEG_S", _RAISES, times=0.5),
    limit(_METHOD, "QUICK_RATE_DEG_S", _RAISES),
    change(_CHECKS, "quick_rate_deg_s", "max_rate_deg_s(settings)", "9.0", _RAISES),
    change(_CHECKS, "settling_rate_deg_s", "max_rate_deg_s(settings)", "9.0", _RAISES),
    never(_CHECKS, "check_rate", "rate_deg_s > max_rate_deg_s(settings)", _RATE),
    change(_CHECKS, "_too_fast", "math.floor(100 * highest)", "math.ceil(100 * highest)", _RATE),
    # Places on the board, each from both sides.
    limit(_CHECKS, "HOLE_MARGIN_MM", _FITS),
    limit(_CHECKS, "HOLE_MARGIN_MM", _MISFITS, times=0.5),
    change(_CHECKS, "LEADING_EDGE_MM", "(450.0, 700.0)", "(225.0, 700.0)", _MISFITS),
    change(_CHECKS, "LEADING_EDGE_MM", "(450.0, 700.0)", "(450.0, 1400.0)", _MISFITS),
    change(_CHECKS, "LEADING_EDGE_MM", "(450.0, 700.0)", "(451.0, 700.0)", _FITS),
    limit(_CHECKS, "CATCH_MARGIN_MM", _FITS),
    limit(_CHECKS, "CATCH_MARGIN_MM", _MISFITS, times=0.5),
    change(_CHECKS, "_places", "settings.pins.beam_2 is not None", "False", _MISFITS),
    never(
        _CHECKS,
        "_places",
        "not board.hole_start_mm < board.hole_end_mm < board.length_mm",
        _MISFITS,
    ),
    # Pins and addresses.
    never(_CHECKS, "_pins", "value in BUS_PINS", _MISFITS),
    change(_CHECKS, "BUS_PINS", "(2, 3)", "(2,)", _MISFITS),
    never(_CHECKS, "_pins", "value in taken", _MISFITS),
    without(_CHECKS, "_pins", "taken[value] = name", _MISFITS),
    never(_CHECKS, "_pins", "0 < len(blade) < len(BLADE_PINS)", _MISFITS),
    never(_CHECKS, "_pins", "settings.bus.imu_address == ...", _MISFITS),
    # The blade.
    never(_CHECKS, "_mistakes", "settings.blade.fitted", _NO_BLADE, nth=2),
    never(_CHECKS, "_blade", "getattr(pins, name) is None", _NO_BLADE),
    never(
        _CHECKS,
        "_blade",
        "highest_hz * settings.screw.min_pulse_gap_us > 1e6",
        _NO_BLADE,
    ),
    limit(_CHECKS, "BLADE_MARGIN_MM", _BLADE),
    limit(_CHECKS, "BLADE_MARGIN_MM", _NO_BLADE, times=0.5),
    never(_CHECKS, "_blade", "stop_mm > blade.overshoot_mm", _NO_BLADE),
    limit(_CHECKS, "BLADE_GAP_MM", _NO_BLADE),
    limit(_CHECKS, "BLADE_GAP_MM", _BLADE, times=0.5),
    change(
        _CHECKS,
        "_blade",
        "abs(gap - settings.bag.gap_mm)",
        "gap - settings.bag.gap_mm",
        _NO_BLADE,
    ),
    limit(_CHECKS, "BLADE_NOTICE_S", _STOP),
    inverted(_CHECKS, "blade_stop_mm", "v * j > a * a", _STOP),
    # Reading: which file, and every way in which it can be wrong.
    change(_LOAD, "find_settings", "given is not None", "False", _PLACES),
    without(_LOAD, "load_settings", "_check_names(data, path)", _MISTAKE),
    without(
        _LOAD,
        "load_settings",
        "check(settings, str(path))",
        _TESTS + "refusals.py::test_values_that_are_good_alone_are_refused_together",
    ),
    change(_LOAD, "load_settings", "msgspec.ValidationError", "KeyError", _MISTAKE),
    change(_LOAD, "_parse", "tomllib.TOMLDecodeError", "KeyError", _MISTAKE),
    change(_LOAD, "_parse", "(ValueError, RecursionError)", "ValueError", _MISTAKE),
    # The words of a refusal, and the limits behind them.
    never(_KEYS, "_range", "low is None or high is None", _RANGELESS),
    without(_KEYS, "_allowed", "raise TypeError(...)", _RANGELESS),
    never(_KEYS, "_range", "kind.gt is not None", _WORDS),
    change(
        _KEYS,
        "split_unit",
        "sorted(..., key=len, reverse=True)",
        "sorted((*UNITS, *OTHER_UNITS), key=len)",
        _TESTS + "show.py::test_units_are_told_from_names",
    ),
    # The travel's own ends bound the place that needs the most pulses.
    change(
        _TRIANGLE,
        "Kinematics.steepest_deg",
        "min(..., high_deg)",
        "max(square - self._level_deg, low_deg)",
        _RANGE_OF_ANGLES,
    ),
    change(
        _TRIANGLE,
        "Kinematics.steepest_deg",
        "max(..., low_deg)",
        "square - self._level_deg",
        _RANGE_OF_ANGLES,
    ),
    change(
        _TRIANGLE,
        "Kinematics.pulse_rate_hz",
        "abs(rate_deg_s)",
        "rate_deg_s",
        _TESTS + "kinematics.py::test_slope_is_the_derivative_of_the_length",
    ),
]

NO_LIMITS: dict[str, str] = {}
