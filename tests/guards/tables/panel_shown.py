"""Guards of the page: what is shown, in which units and words, and what may be pressed."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_WORDS, _SLIDES, _RENDER, _VIEW, _COURSE = (
    f"rig.panel.{name}" for name in ("words", "slides", "render", "view", "course")
)
_IN_WORDS, _IN_SLIDES, _IN_RENDER, _IN_VIEW = (
    f"tests/panel/test_{name}.py::" for name in ("words", "slides", "render", "view")
)

_FIGURES = _IN_WORDS + "test_figures_are_rounded_and_have_a_true_minus_and_none_before_nought"
_TEMPERATURES = _IN_WORDS + "test_temperatures"
_PRESSURE = _IN_WORDS + "test_pressure_and_humidity"
_UNKNOWN = _IN_WORDS + "test_an_angle_has_two_places_and_what_is_not_known_is_a_dash"
_TIMES = _IN_WORDS + "test_times_are_said_no_finer_than_they_are_known"
_STATES = _IN_WORDS + "test_every_state_has_its_tone_and_says_when_to_keep_clear"

_TICKS = _IN_SLIDES + "test_ticks_are_round_and_hold_the_values"
_PLACES = _IN_SLIDES + "test_places_are_parts_of_the_picture"
_AGREE = _IN_SLIDES + "test_slides_that_agree_look_as_if_they_did"
_COUNTS = _IN_SLIDES + "test_only_what_is_valid_counts_in_mean_and_words"
_ROUND = _IN_SLIDES + "test_ticks_have_the_places_that_they_need"
_DOT = _IN_SLIDES + "test_a_dot_keeps_what_the_analysis_says"
_NO_ANGLE = _IN_SLIDES + "test_runs_without_an_angle_are_shown_without_a_place"

_WHO = _IN_RENDER + "test_who_may_press_what"
_PRESSED = _IN_RENDER + (
    "test_nothing_but_a_reset_is_offered_while_the_emergency_stop_is_down_and_that_not_yet"
)
_UNFINISHED = _IN_RENDER + "test_there_is_nothing_to_go_on_with_unless_something_is_unfinished"
_STOP_DOWN = _IN_RENDER + "test_a_stop_that_is_down_is_told_without_an_event_and_hides_no_fault"
_NOTICE = _IN_RENDER + "test_a_notice_in_words"
_STATE = _IN_RENDER + "test_a_state_says_what_it_means_or_what_the_machine_wants"
_VALUES = _IN_RENDER + "test_every_value_comes_in_its_units"
_BEAMS = _IN_RENDER + "test_beams_and_inputs"
_FAR = _IN_RENDER + "test_how_far_a_series_is"
_MADE_WITH = _IN_RENDER + "test_what_a_run_is_made_with"
_STANDS = _IN_RENDER + "test_each_watcher_is_told_where_it_stands"

_STALE = _IN_VIEW + "test_an_angle_older_than_two_seconds_is_not_shown"
_HOMED = _IN_VIEW + "test_an_angle_by_steps_is_shown_on_a_homed_board_alone"
_WAITS = _IN_VIEW + "test_a_start_is_waited_for_while_the_machine_wants_the_bag"
_LATCHED = _IN_VIEW + "test_a_kept_fault_is_shown_as_kept"
_ENDED = _IN_VIEW + "test_what_ended_a_series_becomes_a_notice"
_LAST = _IN_VIEW + "test_the_last_24_slides_are_shown"
_NUMBER = _IN_VIEW + "test_a_slide_has_its_own_number_and_else_the_next_one"
_ANOTHER = _IN_VIEW + "test_another_series_begins_without_dots_and_one_that_goes_on_keeps_them"
_LEFT = _IN_VIEW + "test_the_time_left_is_first_guessed_and_then_measured"
_EARLIER = _IN_VIEW + "test_runs_are_counted_from_those_made_earlier"
_LOOKS = _IN_VIEW + "test_a_page_gets_twenty_looks_a_second"
_GOES_WRONG = _IN_VIEW + "test_what_goes_wrong_in_showing_ends_nothing"
_NOT_MADE_UP = _IN_VIEW + "test_looks_that_were_missed_are_not_made_up_for"

_IN_WORDS_AND_UNITS: list[Guard] = [
    never(_WORDS, "degrees", "value_deg is None", _UNKNOWN),
    change(_WORDS, "temperature", "system(units)", "system('metric')", _TEMPERATURES),
    change(_WORDS, "pressure", "system(units)", "system('metric')", _PRESSURE),
    *(
        change(_WORDS, "duration", "90", other, _TIMES, nth=nth)
        for nth in (1, 2)
        for other in ("180", "80")
    ),
    change(_WORDS, "duration", "max(1, round(seconds / 5))", "round(seconds / 5)", _TIMES),
    change(_WORDS, "duration", "seconds / 60", "seconds / 6", _TIMES),
    *(
        change(_WORDS, "STATES", repr(tone), repr("rest"), _STATES, nth=1)
        for tone in ("halt", "move", "wait")
    ),
    change(_WORDS, "STATES", "'measure'", "'rest'", _STATES, nth=2),
]

_IN_THE_PICTURE: list[Guard] = [
    *(limit(_SLIDES, "KEPT", _LAST, times=times) for times in (2, 0.5)),
    *(limit(_SLIDES, "LEAST_SPAN_DEG", _AGREE, times=times) for times in (2.5, 0.4)),
    *(limit(_SLIDES, "TICKS", _TICKS, times=times) for times in (2, 0.5)),
    change(_SLIDES, "axis", "-floor(-high / step + 1e-9)", "floor(high / step)", _TICKS),
    change(_SLIDES, "picture", "dot.u_angle_deg or 0.0", "0.0", _PLACES),
    change(_SLIDES, "picture", "(-1, 1)", "(1, 1)", _PLACES),
    change(_SLIDES, "picture", "max(0.0, ...)", "LEAST_SPAN_DEG - (high - low)", _PLACES),
    change(_SLIDES, "picture", "(value - bottom) / size", "(value - low) / size", _AGREE),
    change(_SLIDES, "picture", "dot.u_angle_deg / size", "dot.u_angle_deg", _PLACES),
    always(_SLIDES, "picture", "d.is_valid", _COUNTS),
    change(_SLIDES, "picture", "len(valid) > 1", "len(valid) > 0", _COUNTS),
    change(_SLIDES, "picture", "0 if values[1] - values[0] >= 1 else 1", "0", _ROUND),
    change(_SLIDES, "picture", "0 if values[1] - values[0] >= 1 else 1", "1", _ROUND),
    never(_SLIDES, "_in_words", "not dot.is_valid", _COUNTS),
    never(_SLIDES, "_in_words", "dot.angle_deg is None", _NO_ANGLE),
    change(_SLIDES, "dot_of", "result.valid", "True", _DOT),
    change(_SLIDES, "dot_of", "result.u_onset_angle_deg", "None", _DOT),
    change(_SLIDES, "dot_of", "(*words, *result.flags)", "words", _DOT),
]

_WHAT_MAY_BE_PRESSED: list[Guard] = [
    always(_RENDER, "actions", "place.role == 'controller' or ...", _WHO),
    always(_RENDER, "actions", "not place.holder", _WHO),
    never(_RENDER, "actions", "place.role == 'paired' and not place.holder", _WHO),
    always(_RENDER, "actions", "place.role != 'watcher'", _WHO),
    always(_RENDER, "actions", "not snap.is_busy", _WHO),
    always(_RENDER, "actions", "not snap.is_latched", _WHO),
    never(_RENDER, "actions", "'emergency_stop' in snap.inputs", _PRESSED),
    change(_RENDER, "actions", "may and not is_stopped", "may", _PRESSED),
    always(_RENDER, "actions", "bool(snap.unfinished)", _UNFINISHED),
    always(_RENDER, "actions", "snap.waits_for_start", _WHO),
    change(_RENDER, "actions", "place.role == 'paired' and bool(place.holder)", "False", _STANDS),
    never(_RENDER, "notice_in", "'emergency_stop' in snap.inputs", _STOP_DOWN),
    never(_RENDER, "notice_in", "snap.notice is not None and ...", _STOP_DOWN),
    always(_RENDER, "notice_in", "snap.notice.kind == 'fault'", _STOP_DOWN),
    change(_RENDER, "what_runs", "system(units)", "system('metric')", _MADE_WITH),
    change(
        _RENDER,
        "sections",
        "pressure(snap.pressure_hpa, units)",
        "pressure(snap.pressure_hpa, 'metric')",
        _VALUES,
    ),
    change(_RENDER, "_beam", "any(broken)", "all(broken)", _BEAMS),
    change(_RENDER, "_course", "course.n_done / course.n_all", "course.n_done", _FAR),
    change(
        _RENDER, "_course", "time_left(course) if snap.is_busy else ''", "time_left(course)", _FAR
    ),
]

_VIEWS: list[Guard] = [
    *(limit(_VIEW, "STALE_S", _STALE, times=times) for times in (1.05, 0.95)),
    change(_VIEW, "Viewer.look", "live.angle_deg if is_fresh else None", "live.angle_deg", _STALE),
    change(
        _VIEW,
        "Viewer.look",
        "live.cross_slope_deg if is_fresh else None",
        "live.cross_slope_deg",
        _STALE,
    ),
    change(
        _VIEW,
        "Viewer.look",
        "live.step_angle_deg if machine.is_homed else None",
        "live.step_angle_deg",
        _HOMED,
    ),
    always(_VIEW, "Viewer.look", "live.state == 'placing'", _WAITS),
    always(_VIEW, "Viewer.look", "bool(wants)", _WAITS),
    never(_VIEW, "Viewer.look", "machine.latched is not None", _LATCHED),
    inverted(_VIEW, "notice_of", "error.cause == 'emergency_stop'", _ENDED),
    never(_VIEW, "notice_of", "isinstance(error, BadInputError)", _ENDED),
    *(limit(_VIEW, "PERIOD_S", _LOOKS, times=times) for times in (2, 0.5)),
    change(_VIEW, "Viewer.follow", "Exception", "KeyError", _GOES_WRONG),
    change(_VIEW, "Viewer.follow", "max(...)", "due_s + self._period_s", _NOT_MADE_UP),
    change(_VIEW, "Viewer.show_run", "result.slide_number or last + 1", "last + 1", _NUMBER),
    without(_VIEW, "Viewer.begin_series", "self._dots.clear()", _ANOTHER),
    always(_VIEW, "Viewer.begin_series", "not n_before", _ANOTHER),
    without(_VIEW, "Viewer.made_run", "self._course.made()", _EARLIER),
    *(limit(_COURSE, "OVERHEAD_S", _LEFT, times=times) for times in (2, 0.5)),
    change(_COURSE, "CourseKeeper.look", "self._n_before + self._n_made", "self._n_made", _EARLIER),
    change(_COURSE, "CourseKeeper._left_s", "0.1 * each_s", "0.0", _LEFT),
    change(_COURSE, "CourseKeeper._left_s", "max(...)", "each_s", _LEFT),
    change(_COURSE, "CourseKeeper._left_s", "self._n_left - self._n_begun", "self._n_left", _LEFT),
    never(_COURSE, "CourseKeeper._left_s", "self._n_made >= self._n_left", _LEFT),
    change(
        _COURSE,
        "CourseKeeper._left_s",
        "travel_deg / self._request.rate_deg_s",
        "travel_deg",
        _LEFT,
    ),
    without(_COURSE, "CourseKeeper.begin", "self._first_s = self._began_s", _LEFT),
]

ENTRIES: list[Guard] = [
    *_IN_WORDS_AND_UNITS,
    *_IN_THE_PICTURE,
    *_WHAT_MAY_BE_PRESSED,
    *_VIEWS,
]
