"""Guards of the study's files."""

from tests.guards.entry import Guard, change, never

_OLDER = "rig.study.slides.experience"
_TESTS = "tests/study/slides/test_experience.py::test_"
_OTHERS = _TESTS + "bags_and_sessions_of_the_same_name_are_others"

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
    change(_OLDER, "_taken", "slide.session or slide.at[:10]", "slide.at[:10]", _OTHERS),
]

NO_LIMITS: dict[str, str] = {}
