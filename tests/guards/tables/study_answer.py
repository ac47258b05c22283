"""Guards of the answer, of what a trial can show, and of the plan that goes with them."""

from tests.guards.entry import Guard, always, change, limit, never, without

_A = "rig.study.answer."
_BAGS, _EFFECTS, _ACTS = _A + "bags", _A + "effects", _A + "acts"
_WORDS, _BUILD, _ASK = _A + "words", _A + "build", _A + "ask"
_CHECK = _A + "check"
_T = "tests/study/answer/test_"
_LIST = _T + "check.py::test_the_list_says_which_bag_a_reading_of_the_pick_calls_for"
_ADVICE = _T + "bags.py::test_advice_in_its_order"
_CHANCES = _T + "bags.py::test_angle_chances_and_distance_are_those_of_the_draws"
_AHEAD = _T + "bags.py::test_forecasts_add_one_effect_for_each_application"
_FOUR = _T + "bags.py::test_the_best_four_miss_least_of_all_fours"
_PICKED = _T + "bags.py::test_the_likeliest_bag_is_picked_first"
_THROWS = _T + "bags.py::test_throws_are_told_only_where_play_is_noted"
_SHOWN = _T + "effects.py::test_a_sign_is_claimed_from_975_in_1000_draws"
_NORMAL = _T + "acts.py::test_a_series_narrows_an_angle_as_a_normal_observation_does"
_OTHER_AIR = _T + "acts.py::test_an_unknown_slope_asks_for_other_air"
_SETTLED = _T + "answer.py::test_a_computation_that_did_not_settle_is_told"
_CLAIMS = _T + "answer.py::test_six_sentences_at_most_and_no_claim_that_is_not_shown"
_REFERENCE = _T + "answer.py::test_the_reference_bag_and_bags_in_doubt_have_no_part"
_CONTRADICTS = _T + "edges.py::test_a_reference_bag_that_contradicts_the_others_is_told"
_NO_SLIDE = _T + "answer.py::test_no_slide_is_a_sentence"
_TRIAL, _BY_TRIAL = "rig.study.plan.trial", "tests/study/plan/test_trial.py::test_"
_BY_HAND = _BY_TRIAL + "a_trial_by_hand"
_FITS = _BY_TRIAL + "the_best_plan_fits_the_hours"
_PROGRESS = "rig.study.plan.progress"
_ENOUGH = "tests/commands/test_plan_runs.py::test_a_series_that_has_enough_is_not_asked_for_again"
_MOST = (
    "tests/commands/test_run_options.py::"
    "test_least_and_most_runs_of_a_series_that_ends_by_its_answer"
)
_GIVEN_UP = "tests/study/test_plan_next.py::test_what_a_treatment_made_impossible_is_given_up"
_TREATED = "rig.study.treatments"
_FORCED = (
    "tests/study/test_treatments.py::test_an_open_baseline_of_the_plan_is_given_up_by_force_only"
)
_SETS = "tests/commands/test_evening.py::test_controls_of_a_set_are_not_treated"
_PAGES = "tests/panel/study/test_pages.py::"
_FAR = _PAGES + "test_a_series_far_from_its_forecast_is_asked_about"
_PICK = _PAGES + "test_readings_of_the_pick_tell_about_the_day"
_KEPT = _PAGES + "test_a_pick_that_lies_within_its_tolerance_is_kept"
_EXPECTED = "rig.study.answer.expected"
_PLANNED = "tests/panel/study/test_planned.py::"
_PAGE_AIR = _PLANNED + "test_series_of_the_page_are_made_as_those_of_the_command"
_OWN_AIR = _PLANNED + "test_air_that_a_person_asks_for_goes_before_that_of_the_plan"
_OWN_START = "tests/commands/test_plan_runs.py::test_what_cannot_be_is_said_in_a_sentence"
_PLANNED_AIR = (
    "tests/commands/test_plan_runs.py::test_a_session_waits_for_the_planned_air_and_says_so"
)

ENTRIES: list[Guard] = [
    limit(_BAGS, "FAR", _ADVICE),
    limit(_BAGS, "NEARER", _ADVICE, times=1.01),
    change(_BAGS, "advice_of", "p_below >= PASSED", "p_below > PASSED", _ADVICE),
    change(_BAGS, "advice_of", "p_within >= STOP", "p_within > STOP", _ADVICE),
    always(_BAGS, "advice_of", "one.p_passes <= may_pass", _ADVICE),
    always(_BAGS, "advice_of", "one.applications == 1", _ADVICE),
    change(_BAGS, "_chances", "np.abs(miss)", "miss", _CHANCES),
    change(_BAGS, "_chances", "-target.tolerance_deg", "target.tolerance_deg", _CHANCES),
    change(_BAGS, "_bag_answer", "target.angle_deg - angle.median", "0.0", _CHANCES),
    limit(_BAGS, "STEPS_AHEAD", _AHEAD),
    change(_BAGS, "picks_of", "-(one.p_within or 0.0)", "(one.p_within or 0.0)", _PICKED),
    never(_BAGS, "best_four", "len(squares) < FOUR", _FOUR),
    never(_BAGS, "_throws", "target is None or ...", _THROWS),
    change(_EFFECTS, "is_shown", "effect > 0.0", "effect >= 0.0", _SHOWN),
    limit(_EFFECTS, "SHOWN", _SHOWN, times=0.99),
    limit(_A + "answer", "HALF_WIDTH", _NORMAL),
    limit(_ACTS, "OTHER_AIR_PCT", _OTHER_AIR),
    change(_ACTS, "_noise", "run**2 / slides", "run**2", _NORMAL),
    without(_ASK, "ask", "raise NoSlideError(...)", _NO_SLIDE),
    change(
        _CHECK,
        "use_at_deg",
        "pick_deg + target_deg - angle_deg",
        "pick_deg - target_deg + angle_deg",
        _LIST,
    ),
    change(_CHECK, "kept_between", "target_deg + tolerance_deg", "target_deg", _LIST),
    limit(_A + "reference", "FAR_DEG", _CONTRADICTS, times=0.02),
    limit(_A + "reference", "FAR_SD", _CONTRADICTS),
    change(_BUILD, "_counts", "slide.role != 'reference'", "True", _REFERENCE),
    limit(_WORDS, "TRUSTED_K", _SETTLED, times=1.02),
    limit(_WORDS, "MOST_SENTENCES", _CLAIMS),
    limit(_TRIAL, "SURE", _BY_HAND),
    limit(_TRIAL, "LIKELY", _BY_HAND),
    limit(_TRIAL, "SHOWN", _BY_TRIAL + "shown_means_what_it_means_in_the_answer", times=0.99),
    change(_TRIAL, "_p_sign", "0.5 * sqrt(wide / spread)", "0.0", _BY_HAND),
    change(_TRIAL, "variance", "scatter.run_deg**2 / trial.slides", "scatter.run_deg**2", _BY_HAND),
    change(_TRIAL, "variance", "2.0 / (trial.sessions * trial.series)", "2.0", _BY_HAND),
    never(_TRIAL, "_precision", "trial.treated < 1", _BY_TRIAL + "a_trial_needs_a_treated_bag"),
    change(_TRIAL, "best_plan", "found.hours <= hours", "True", _FITS),
    never(_PROGRESS, "progress", "left[row.row] and _is_over(study, row)", _GIVEN_UP),
    never(_PROGRESS, "progress", "row.row in enough", _ENOUGH),
    never(
        "rig.commands.run.plan",
        "PlanRuns.make",
        "self._is_planned and failure is None and series.is_enough",
        _ENOUGH,
    ),
    never("rig.commands.run.asked", "most_runs", "least is not None", _MOST),
    never("rig.commands.run.asked", "most_runs", "(least or LEAST_RUNS) > most", _MOST),
    never(_TREATED, "check_treatment", "entry.replaces is None and (not force)", _FORCED),
    never(_TREATED, "_check_plan", "lost", _FORCED, nth=2),
    change(
        "rig.commands.study.journal", "treat", "study.bag(bag).role == 'treated'", "True", _SETS
    ),
    never("rig.commands.run.run", "run", "quick or purpose is not None", _OWN_START),
    change(
        "rig.procedures.studied",
        "study_series",
        "study.catalogue.settles",
        "False",
        "tests/commands/test_plan_runs.py::"
        "test_a_session_is_made_as_the_plan_says_and_then_the_treatment_is_asked_for",
    ),
    change(
        "rig.study.model.data",
        "model_data",
        "s.purpose != 'check'",
        "True",
        "tests/study/model/test_data.py::test_a_check_at_another_rate_says_nothing_of_the_level",
    ),
    always(
        "rig.procedures.studied",
        "study_series",
        "options.climate is None and (not wanted.is_todays_air)",
        _PLANNED_AIR,
        _OWN_AIR,
    ),
    never(
        "rig.procedures.studied",
        "study_series",
        "options.climate is None and (not wanted.is_todays_air)",
        _PAGE_AIR,
    ),
    change(
        "rig.study.folder.journal",
        "_Entry.is_by",
        "(self.at, self.line) <= (at, line or MOST_LINES)",
        "self.at <= at",
        "tests/study/slides/test_table.py::test_within_a_second_the_order_of_the_lines_counts",
    ),
    change(
        "rig.study.slides.from_csv",
        "_series",
        "_apart(last.at, line.at) <= APART",
        "True",
        "tests/study/slides/test_from_csv.py"
        "::test_lines_of_one_bag_face_minutes_apart_are_one_series",
    ),
    limit(_EXPECTED, "SURPRISING", _FAR, times=4.0),
    never(_EXPECTED, "shift_words", "not low <= median_deg <= high", _PICK),
    always(_EXPECTED, "shift_words", "not low <= median_deg <= high", _KEPT),
]
