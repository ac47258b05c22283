"""Guards of the study's model."""

from tests.guards.entry import Guard, change

ANSWERS = "tests/study/model/test_answers.py::"
DATA = "tests/study/model/test_data.py::"
LIKELIHOOD = "tests/study/model/test_likelihood.py::"
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
    change(
        "rig.study.model.data",
        "model_data",
        "s.valid",
        "True",
        DATA + "test_slides_that_do_not_count_wear_the_bag_alone",
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
