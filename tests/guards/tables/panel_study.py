"""Guards of the study on the page: who may write, once, with what question, taken back how."""

from tests.guards.entry import Guard, change, never, without

_PAGES, _BOOK, _TONIGHT = (f"rig.panel.study.{name}" for name in ("pages", "book", "tonight"))
_WRITES = "rig.panel.study.writes"
_DESK = "rig.panel.desk"
_IN = "tests/panel/study/test_pages.py::"

_ONCE = _IN + "test_a_write_takes_the_controls_and_happens_once"
_BACK = _IN + "test_a_write_is_taken_back_by_a_line"
_ASKS = _IN + "test_a_treatment_asks_before_it_is_noted"
_BASELINE = _IN + "test_a_bag_without_a_baseline_is_treated_only_on_purpose"
_BEGIN = _IN + "test_series_begin_one_after_another"
_CANNOT = _IN + "test_series_that_cannot_begin"
_SEEN = _IN + "test_a_page_that_has_seen_it_gets_nothing"
_FAR = _IN + "test_a_series_far_from_its_forecast_is_asked_about"
_NEXT = _IN + "test_each_face_is_next_until_it_is_measured"
_AIR = _IN + "test_a_reading_has_the_air_that_was_typed"
_THINKER, _ANSWERS = "rig.panel.study.thinker", "rig.panel.study.answers"
_IN_THINKER = "tests/panel/study/test_thinker.py::"
_ENDED = _IN_THINKER + "test_a_model_that_takes_too_long_is_ended"
_CLOSED = _IN_THINKER + "test_closing_ends_what_is_being_worked_out"
_ASIDE = _IN_THINKER + "test_the_process_steps_back_and_tells_why_there_is_no_answer"
_UNDER_WAY = _IN + "test_a_run_under_way_is_no_slide_yet"
_PLANNED = "tests/panel/study/test_planned.py::"
_TWICE = _PLANNED + "test_a_face_twice_in_a_session_is_two_series"
_PAGE_AIR = _PLANNED + "test_series_of_the_page_are_made_as_those_of_the_command"
_WIPES = _PLANNED + "test_a_wipe_of_the_plan_is_asked_for_once_and_noted_as_its_own"
_EVENING = "tests/panel/test_desk.py::test_series_of_an_evening_are_made_one_after_another"

_BETWEEN = "tests/panel/test_desk.py::test_between_two_series_of_an_evening_it_never_says_rest"

ENTRIES: tuple[Guard, ...] = (
    change(_DESK, "Desk._series", "one is wishes[-1]", "True", _BETWEEN),
    without(_PAGES, "StudyPages._writes.answer", "self._seats.claim(...)", _ONCE),
    without(_PAGES, "StudyPages._measure", "self._seats.claim(...)", _BEGIN),
    without(_PAGES, "StudyPages._measure", "self._begun.add(form.key)", _BEGIN),
    without(_PAGES, "StudyPages._measure", "self._doors.check_idle()", _CANNOT),
    never(_PAGES, "StudyPages._look", "request.query_params.get('seen') == version", _SEEN),
    never(_BOOK, "Book.treat", "not form.sure", _ASKS),
    change(_BOOK, "_with_key", "entry.key == key", "False", _ONCE),
    change(_BOOK, "Book.undo.entries", "lines if old.key else [old.line]", "[old.line]", _BACK),
    change(
        _BOOK,
        "Book._question",
        "(treated[-1].at if treated else '') <= knows < first.at",
        "True",
        _FAR,
    ),
    change(_BOOK, "AIR_KEEPS", "timedelta(hours=3)", "timedelta(hours=30)", _AIR),
    change(_TONIGHT, "EVENING", "timedelta(hours=16)", "timedelta(hours=32)", _NEXT),
    change(
        _WRITES,
        "treatments",
        "check_treatment(study, entry, slides, form.anyway, force=form.anyway)",
        "check_treatment(study, entry, slides, True, force=True)",
        _BASELINE,
    ),
    without(_ANSWERS, "main", "os.nice(NICE)", _ASIDE),
    without(_ANSWERS, "main", "resource.setrlimit(...)", _ASIDE),
    without(_THINKER, "Thinker.ask", "process.kill()", _ENDED),
    without(_THINKER, "Thinker.close", "self._task.cancel()", _CLOSED),
    change(_BOOK, "Book.version", "runs[:-1] if is_busy else runs", "runs", _UNDER_WAY),
    change(_DESK, "Desk._series", "wish.then", "()", _EVENING),
    without(_BOOK, "Book.series", "planned.rows.remove(row)", _TWICE),
    change(_BOOK, "Book.series", "ANY_STEADY.steady_s", "0.0", _PAGE_AIR),
    change(_TONIGHT, "tonight_of", "wipe.action == 'wipe'", "False", _WIPES),
)
