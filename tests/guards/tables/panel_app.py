"""Guards of the page: what each of its addresses takes from whom, and what a form may say."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_APP, _FORM, _GUARD = "rig.panel.app", "rig.panel.form", "rig.panel.guard"
_IN_APP, _IN_FORM = "tests/panel/test_app.py::", "tests/panel/test_form.py::"

_STOP = _IN_APP + "test_a_stop_is_taken_from_everybody_at_any_time"
_CONTROLLER = _IN_APP + "test_what_moves_the_rig_is_taken_from_the_controller_alone"
_SENSE = _IN_APP + "test_what_makes_no_sense_now_is_refused_in_words"
_EARLY = _IN_APP + "test_before_the_machine_has_shown_itself_nothing_is_shown_or_begun"
_TAKEN = _IN_APP + "test_taking_over_the_controls_is_told_to_both"
_OTHERS = _IN_APP + "test_what_a_page_of_another_site_asks_is_refused"
_PLAIN = _IN_APP + "test_what_a_plain_form_of_another_site_could_send_is_refused"
_COOKIE = _IN_APP + "test_the_right_code_gives_a_cookie_that_no_script_and_no_other_site_can_use"
_WATCHING = _IN_APP + "test_where_no_code_is_needed_watching_pairs_and_pairing_is_refused"
_NOBODY = _IN_APP + "test_watching_pairs_nobody_where_a_code_is_needed"
_ADDRESS = _IN_APP + "test_tries_are_counted_for_each_address"
_LONG = _IN_APP + "test_a_body_of_4096_bytes_is_taken_and_none_longer"
_ENDLESS = _IN_APP + "test_a_body_without_end_is_read_no_further_than_it_may_be_long"
_SLOW = _IN_APP + "test_a_body_may_take_ten_seconds"
_WATCHERS = _IN_APP + "test_48_pages_may_watch_and_no_more"
_UNITS = _IN_APP + "test_units_are_those_asked_for_and_else_metric"
_NAMES = _IN_APP + "test_a_name_that_is_not_ours_gets_nothing_but_the_safety_headers"
_HEADERS = _IN_APP + "test_every_answer_carries_every_safety_header"
_SOCKETS = _IN_APP + "test_what_is_no_request_gets_no_answer"
_FIELDS = "tests/panel/test_requests.py::test_a_field_that_makes_no_sense_is_refused_in_words"

_RANGES = _IN_FORM + "test_numbers_are_taken_within_their_range"
_NO_NUMBER = _IN_FORM + "test_what_is_no_number_is_refused"
_UNIT = _IN_FORM + "test_a_unit_that_was_typed_counts_whatever_the_page_shows"
_OWN_NAME = _IN_FORM + "test_each_field_has_its_own_name_in_a_refusal"
_VALUES = _IN_FORM + "test_a_form_becomes_values_in_the_rigs_units"
_LETTERS = _IN_FORM + "test_names_have_sixty_letters_and_no_character_that_cannot_be_shown"
_EMPTY = _IN_FORM + "test_an_empty_field_leaves_the_value_to_the_rig"
_HINTS = _IN_FORM + "test_hints_say_what_an_empty_field_stands_for"
_TWIN = _IN_FORM + "test_a_twin_is_called_one_whatever_the_settings_say"
_BYTES = _IN_FORM + "test_a_body_has_4096_bytes_at_most"
_NO_FORM = _IN_FORM + "test_a_body_that_is_no_such_form_is_refused"

_STREAM = "rig.panel.stream"
_PLACES = "tests/panel/test_stream.py::test_strangers_have_32_places_and_8_from_one_address"
_SILENT = "tests/panel/test_stream.py::" + (
    "test_a_machine_without_a_sign_of_life_for_a_second_is_not_live"
)
_NO_SIGN = _IN_APP + "test_nothing_is_begun_on_a_machine_that_shows_no_sign_of_life"
_MET = _IN_APP + "test_a_stop_tells_how_many_the_machine_has_met_before"
_WELCOMED = _IN_APP + "test_the_addresses_of_paired_devices_are_welcome"
_ORIGIN = "self._guard.check_origin(request.headers)"
_CLAIM = "self._seats.claim(self._token(request))"
_RANGE_ENDS = (
    ("RUNS", "1, 1000", ("0, 1000", "1, 2000")),
    ("RATE_DEG_S", "0.1, 3.0", ()),  # its ends are tried with `--rates`
    ("DWELL_S", "0.0, 3600.0", ("-1.0, 3600.0", "0.0, 7200.0")),
    ("GAP_MM", "1.0, 50.0", ("0.5, 50.0", "1.0, 100.0")),
)

_ADDRESSES: list[Guard] = [
    # -- who asks
    *(
        without(_APP, f"Panel.{place}", _ORIGIN, _OTHERS)
        for place in ("_stop", "_events", "_snapshot", "_body")
    ),
    without(_APP, "Panel._body", "self._guard.check_json(request.headers)", _PLAIN),
    without(_APP, "_Gate.__call__", "self._guard.check_host(request.headers)", _NAMES),
    change(_APP, "_Gate.__call__", "send_with_headers", "send", _NAMES, nth=1),
    change(_APP, "_Gate.__call__", "send_with_headers", "send", _HEADERS, nth=2),
    never(_APP, "_Gate.__call__", "scope['type'] != 'http'", _SOCKETS),
    # -- the controls
    *(
        without(_APP, f"Panel.{place}", "self._claim(request)", _CONTROLLER)
        for place in ("_start", "_series", "_resume", "_reset")
    ),
    change(_APP, "Panel._claim", _CLAIM, f"{_CLAIM[:-1]}, takes_over=True)", _CONTROLLER),
    change(_APP, "Panel._take", "True", "False", _TAKEN),
    # -- what is asked is handed on, and when it makes sense
    without(_APP, "Panel._stop", "self._rig.stop(...)", _STOP),
    without(_APP, "Panel._series", "self._rig.series(form)", _CONTROLLER),
    *(
        without(_APP, f"Panel._{name}", f"self._rig.{name}()", _CONTROLLER)
        for name in ("start", "resume", "reset")
    ),
    never(_APP, "Panel._start", "not self._ready().waits_for_start", _SENSE),
    never(_APP, "Panel._resume", "not self._ready().unfinished", _SENSE),
    never(_APP, "Panel._reset", "not self._ready().is_latched", _SENSE),
    *(
        without(_APP, f"Panel.{place}", "self._check_idle()", _SENSE)
        for place in ("_series", "_resume")
    ),
    never(_APP, "Panel._check_idle", "snap.is_busy", _SENSE),
    never(_APP, "Panel._check_idle", "snap.is_latched", _SENSE),
    never(_APP, "Panel._ready", "snap is None", _EARLY),
    without(_APP, "Panel._series", "wanted(form)", _FIELDS),
    # -- pairing and cookies; their path is `/` by itself
    change(_APP, "Panel._set_cookie", "True", "False", _COOKIE),
    change(_APP, "Panel._set_cookie", "'strict'", "'lax'", _COOKIE),
    change(_APP, "Panel._set_cookie", "self._cookie", "'rig_panel'", _COOKIE),
    never(_APP, "Panel._pair", "not self._seats.needs_code", _WATCHING),
    change(_APP, "_address", "request.client.host", "''", _ADDRESS),
    without(_APP, "Panel._pair", "self._set_cookie(response, token)", _COOKIE),
    always(_APP, "Panel._events", "not self._seats.needs_code", _NOBODY),
    always(_APP, "Panel._events", "not self._seats.knows(token)", _WATCHING),
    never(_APP, "Panel._events", "not self._seats.knows(token)", _WATCHING),
    without(_APP, "Panel._events", "self._set_cookie(response, token)", _WATCHING),
    # -- how much and for how long
    *(limit(_GUARD, "BODY_S", _SLOW, times=times) for times in (1.05, 0.95)),
    never(_APP, "Panel._body", "len(data) > most", _ENDLESS),
    *(limit("rig.panel.stream", "MAX_WATCHERS", _WATCHERS, times=times) for times in (2, 0.5)),
    change(_STREAM, "Hub.check_room", "self.watchers >= MAX_WATCHERS", "False", _WATCHERS),
    *(limit(_STREAM, "MAX_STRANGERS", _PLACES, times=times) for times in (2, 0.5)),
    *(limit(_STREAM, "MAX_STRANGERS_PER_ADDRESS", _PLACES, times=times) for times in (2, 0.5)),
    always(_STREAM, "Hub.check_room", "not self._seats.knows(token)", _PLACES),
    without(_STREAM, "Hub.stream", "self._strangers[address] -= is_stranger", _PLACES),
    *(limit(_STREAM, "LIVE_S", _SILENT, times=times) for times in (1.5, 0.8)),
    never(_STREAM, "Hub.publish", "snap.beat != self._beat", _SILENT),
    always(_STREAM, "Hub.publish", "snap.beat != self._beat", _SILENT),
    change(_STREAM, "Hub.stream", "not silent_s", "True", _SILENT),
    never(_APP, "Panel._check_idle", "self._hub.silent_s()", _NO_SIGN),
    change(_APP, "Panel._stop", "self._hub.latest.stops", "0", _MET),
    always(_APP, "Panel._token", "self._seats.knows(token)", _WELCOMED),
    # -- answers
    always(_APP, "_units", "units == asked", _UNITS),
    change(_APP, "_done", "202", "200", _CONTROLLER),
    change(_APP, "_refused", "error.status", "200", _SENSE),
]

_FORMS: list[Guard] = [
    *(limit(_FORM, "MAX_BODY", _BYTES, _LONG, times=times) for times in (2, 0.5)),
    never(_FORM, "decode", "len(data) > most", _BYTES),
    change(_FORM, "decode", "msgspec.DecodeError", "KeyError", _NO_FORM),
    *(
        change("rig.settings.method", name, old, new, _RANGES)
        for name, old, others in _RANGE_ENDS
        for new in others
    ),
    *(change(_FORM, "wanted", name, "(-1e9, 1e9)", _RANGES) for name, *_ in _RANGE_ENDS),
    change(_FORM, "wanted", "f'{form.gap} in' if ... else form.gap", "form.gap", _VALUES),
    inverted(_FORM, "wanted", "form.units == 'us'", _VALUES),
    always(_FORM, "wanted", "is_bare(form.gap)", _UNIT),
    change(_FORM, "wanted", "BadInputError", "KeyError", _NO_NUMBER),
    never(_FORM, "_whole", "value is None or value != int(value)", _OWN_NAME),
    change(_FORM, "_name", "' '.join(text.split())", "text", _VALUES),
    change(_FORM, "_name", "safe_name(name, what) if name else None", "name or None", _LETTERS),
    change(
        _FORM, "_name", "safe_name(name, what) if name else None", "safe_name(name, what)", _EMPTY
    ),
    change(_FORM, "_number", "text.strip()", "True", _EMPTY),
    change(_FORM, "hints", "length.figure(usual.gap_mm, '.0f')", "str(usual.gap_mm)", _HINTS),
    inverted(_FORM, "hints", "units == 'metric'", _HINTS, nth=1),
    inverted(_FORM, "hints", "units == 'metric'", _HINTS, nth=2),
    inverted(_FORM, "usual_of", "source == 'twin'", _TWIN),
]

ENTRIES: list[Guard] = [*_ADDRESSES, *_FORMS]
