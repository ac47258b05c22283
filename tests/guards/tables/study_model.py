"""Guards of the study's model."""

from tests.guards.entry import Guard, always, change, never, without

ANSWERS = "tests/study/model/test_answers.py::"
DATA = "tests/study/model/test_data.py::"
LIKELIHOOD = "tests/study/model/test_likelihood.py::"
_COUNT = DATA + "test_slides_that_do_not_count_wear_the_bag_alone"
METHODS = "rig.study.model.methods"
_METHODS = "tests/study/model/test_methods.py::test_"
_BRIDGE = _METHODS + "a_bridge_is_one_bag_face_measured_both_ways_in_one_session"
_CHECKED = (
    "tests/study/test_plan_make.py::"
    "test_the_material_is_checked_once_for_each_kind_of_fabric_in_a_stage"
)
_TIME = (
    "tests/study/plan/test_trial.py::"
    "test_checks_of_the_material_are_planned_where_there_is_time_for_them"
)
DATA_MODULE = "rig.study.model.data"
MODES = "tests/study/model/test_modes.py::"
ROUNDING = "tests/study/model/test_rounding.py::"
STORE = "tests/study/model/test_store.py::"

ENTRIES: list[Guard] = [
    change(
        "rig.study.model.fit",
        "fit",
        "not data.rows",
        "False",
        ANSWERS + "test_no_slide_is_refused_in_words",
    ),
    change(
        "rig.study.model.store",
        "load",
        "crc32(found[CHECK_BYTES:]).to_bytes(CHECK_BYTES, 'little') != found[:CHECK_BYTES]",
        "False",
        STORE + "test_kept_draws_answer_as_fresh_ones_and_damage_is_found",
    ),
    change(
        "rig.study.model.store",
        "load",
        "stored.key != key",
        "False",
        STORE + "test_kept_draws_answer_as_fresh_ones_and_damage_is_found",
        STORE + "test_a_study_is_fitted_again_only_when_its_slides_change",
    ),
    change(
        "rig.study.slides.slide",
        "Slide.is_early",
        "not self.void",
        "True",
        DATA + "test_an_early_slide_is_a_bound_unless_a_person_took_it_out",
    ),
    change(METHODS, "levels", "slide.valid", "True", _COUNT, _METHODS + "slides_that_tell_a_level"),
    change(
        METHODS,
        "levels",
        "slide.purpose != 'check'",
        "True",
        _METHODS + "a_check_enters_neither_level_nor_offset_and_a_difference_widens",
    ),
    change(METHODS, "bridged", "one.purpose == 'bridge'", "True", _BRIDGE),
    change(METHODS, "bridged", "one.session or one.at[:10]", "1", _BRIDGE),
    change(METHODS, "bridged", "len(one.treatments)", "1", _BRIDGE),
    change(METHODS, "checks_of", "slide.valid", "True", _METHODS + "slides_left_out_check_nothing"),
    change(
        "rig.study.model.design",
        "_terms",
        "'method' if joined else 'method_apart'",
        "'method'",
        _METHODS + "methods_mix_through_bridges_alone",
    ),
    change(
        "rig.study.model.design",
        "_terms",
        "row.material_deg",
        "0.0",
        _METHODS + "a_check_enters_neither_level_nor_offset_and_a_difference_widens",
        nth=2,
    ),
    always("rig.study.plan.trial", "_checked", "found.hours <= hours", _TIME),
    never("rig.study.plan.trial", "_checked", "found.hours <= hours", _TIME),
    never("rig.study.plan.make", "_Maker._check", "runs and ...", _CHECKED),
    without("rig.study.plan.make", "_Maker._check", "self._checked.add(...)", _CHECKED),
    change(
        "rig.study.plan.progress",
        "run_fields",
        "check_rate_deg_s(preferences.rate_deg_s)",
        "preferences.rate_deg_s",
        "tests/commands/test_plan_runs.py::test_a_planned_check_is_made_with_the_bag_as_it_lies",
    ),
    change(
        DATA_MODULE,
        "_as_read",
        "hidden_variance(...)",
        "0.0",
        ROUNDING + "test_readings_that_are_all_alike_share_what_rounding_took",
        ROUNDING + "test_alike_readings_leave_an_honest_interval[angles_deg1]",
    ),
    change(
        DATA_MODULE,
        "_as_read",
        "row.squares < CLOSE_DEG ** 2",
        "False",
        ROUNDING + "test_readings_that_are_all_alike_share_what_rounding_took",
    ),
    change(
        DATA_MODULE,
        "_as_read",
        "row.squares < CLOSE_DEG ** 2",
        "True",
        ROUNDING + "test_a_settling_that_explains_all_is_no_scatter",
    ),
    change(
        DATA_MODULE,
        "_as_read",
        "sum((row.squares for row in mine)) - settled",
        "sum(row.squares for row in mine)",
        ROUNDING + "test_a_settling_that_explains_all_is_no_scatter",
    ),
    change(
        "rig.study.model.configurations",
        "candidates",
        "other_modes(likelihood, shape)",
        "()",
        MODES + "test_each_explanation_has_a_mode_of_its_own",
        MODES + "test_chances_of_each_explanation_are_as_by_draws_from_the_prior[1]",
    ),
    change(
        "rig.study.model.laplace",
        "other_modes",
        "np.linalg.norm(one.mode - other.mode) > APART",
        "True",
        MODES + "test_each_explanation_has_a_mode_of_its_own",
    ),
    change(
        "rig.study.model.rounding",
        "hidden_variance",
        "squares / freedom",
        "0.0",
        ROUNDING + "test_scatter_that_is_seen_hides_nothing",
    ),
    change(
        "rig.study.model.rounding",
        "hidden_variance",
        "12.0",
        "120.0",
        ROUNDING + "test_scatter_that_is_seen_hides_nothing",
    ),
    change(
        "rig.study.model.likelihood",
        "_cholesky",
        "a.flat[:: len(a) + 1] += ROUNDING * np.diagonal(a).max()",
        "pass",
        LIKELIHOOD + "test_scales_that_are_far_apart_are_worth_little_but_no_error[7.0]",
    ),
]

NO_LIMITS: dict[str, str] = {}
