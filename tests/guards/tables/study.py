"""Guards of the study's files."""

from tests.guards.entry import Guard, change, limit, never, without

_OLDER = "rig.study.slides.experience"
_TESTS = "tests/study/slides/test_experience.py::test_"
_OTHERS = _TESTS + "bags_and_sessions_of_the_same_name_are_others"
_STRAYS, _ODD = "rig.study.slides.strays", "tests/study/slides/test_strays.py::test_"
_FAR = _ODD + "a_series_far_from_those_before_is_asked_about"

ENTRIES: list[Guard] = [
    never(
        _OLDER, "_add_older", "not is_study(path)", _TESTS + "an_older_study_that_is_gone_is_told"
    ),
    never(
        _OLDER,
        "_add_older",
        "path.resolve() in found",
        _TESTS + "experience_of_experience_counts_once",
    ),
    never(
        _OLDER,
        "with_experience",
        "of_it.is_simulated and not table.is_simulated",
        _TESTS + "what_the_twin_invented_is_no_experience_of_real_bags",
    ),
    change(
        _OLDER,
        "with_experience",
        "recipes.get(recipe, steps) == steps",
        "True",
        _TESTS + "a_recipe_of_other_steps_is_another_recipe",
    ),
    limit(_STRAYS, "APART_DEG", _ODD + "a_digit_that_is_wrong_is_asked_about", times=10.0),
    limit(_STRAYS, "APART_DEG", _ODD + "evenings_as_they_are_raise_no_question", times=0.5),
    limit(_STRAYS, "TIMES_USUAL", _ODD + "who_scatters_much_is_asked_about_less", times=0.3),
    limit(_STRAYS, "SHIFT_DEG", _FAR, times=1.2),
    limit(_STRAYS, "SHIFT_DEG", _FAR, times=0.9),
    change(
        _STRAYS,
        "_instrument",
        "(one.rig, one.reader)",
        "()",
        _ODD + "a_rig_is_not_excused_by_a_reader_who_scatters",
    ),
    without(
        _STRAYS,
        "strays",
        "continue",
        _ODD + "a_wrong_series_does_not_accuse_the_next_ones",
    ),
    change(
        _STRAYS,
        "_state",
        "len(one.treatments)",
        "0",
        _ODD + "after_a_treatment_and_elsewhere_it_may_be_otherwise[{'treated': ['soak']}]",
    ),
    change(_OLDER, "_taken", "slide.session or slide.at[:10]", "slide.at[:10]", _OTHERS),
]

NO_LIMITS: dict[str, str] = {}
