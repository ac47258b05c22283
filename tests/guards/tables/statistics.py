"""Guards of the functions of statistics."""

from tests.guards.entry import Guard, always, change, never

_SUM, _WELCH, _TREND = (f"rig.statistics.{name}" for name in ("satterthwaite", "welch", "trend"))
_END_GAUGE = "tests/outside/test_gum.py::test_end_gauge"
_WHOLE_DOF = "tests/outside/test_uncertainty.py::test_degrees_of_freedom_are_cut"
_WAYS = "tests/analysis/test_placing.py::test_"
_EQUIVALENT = _WAYS + "equivalent_within_half_a_degree_at_five_percent"
_NO_SCATTER = _WAYS + "runs_without_scatter"
_SLEEP = "tests/outside/test_welch.py::test_welch_sleep"
_EQUAL = "tests/outside/test_welch.py::test_welch_without_scatter"
_OF_GROUPS = "tests/analysis/test_groups.py::test_"
_SLOPE, _NO_TEST = _OF_GROUPS + "a_trend_of_four_slides", _OF_GROUPS + "trends_without_a_test"

ENTRIES: list[Guard] = [
    change(_SUM, "welch_satterthwaite", "u * u", "u", _END_GAUGE),
    change(_SUM, "Satterthwaite.add", "variance**2 / df", "variance / df", _END_GAUGE, _SLEEP),
    always(_SUM, "Satterthwaite.df", "self._parts > 0.0", _WHOLE_DOF),
    change(_SUM, "coverage_factor", "floor(df + 1e-9)", "df", _WHOLE_DOF),
    change(_SUM, "coverage_factor", "probability / 2.0", "probability", _END_GAUGE),
    change(_WELCH, "welch", "fmean(second) - fmean(first)", "fmean(first) - fmean(second)", _SLEEP),
    change(_WELCH, "welch", "len(group) - 1", "len(group)", _SLEEP),
    change(
        _WELCH,
        "welch",
        "len(first) < 2 or len(second) < 2",
        "len(second) < 2",
        _WAYS + "single_runs_give_the_difference_alone",
    ),
    change(_WELCH, "MeanDifference.interval", "(1.0 + level) / 2.0", "level", _EQUIVALENT, _SLEEP),
    change(
        _WELCH,
        "MeanDifference.p_equivalence",
        "abs(...) - margin",
        "self.difference - margin",
        _EQUIVALENT,
    ),
    change(_WELCH, "MeanDifference.p_equivalence", "excess < 0.0", "True", _NO_SCATTER),
    never(_WELCH, "MeanDifference.p_equivalence", "self.u == 0.0", _NO_SCATTER),
    never(_WELCH, "MeanDifference.p", "self.u == 0.0", _EQUAL),
    change("rig.analysis.groups", "trend_p", "found.df < 2", "found.df < 1", _NO_TEST),
    never(_TREND, "common_slope", "spread == 0.0", _NO_TEST),
    always(_TREND, "common_slope", "u > 0.0", _NO_TEST),
    change("rig.statistics.quantiles", "t_p", "-abs(t)", "-t", _SLOPE),
    change(
        "rig.statistics.quantiles",
        "t_p",
        "2.0 * t_cdf(-abs(t), df)",
        "t_cdf(-abs(t), df)",
        _SLOPE,
        _SLEEP,
    ),
    change(
        "rig.study.folder.catalogue",
        "stage_number",
        "stage == stage_after(int(number))",
        "True",
        "tests/study/test_treatments.py::test_what_is_no_stage_has_no_number",
    ),
]
