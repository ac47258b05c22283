"""Guards of the page: pairing, sessions and the controls."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_SEATS = "rig.panel.seats"
_TESTS = "tests/panel/test_seats.py::"
_CODE = _TESTS + "test_a_code_has_eight_digits_leading_noughts_among_them"
_TYPED = _TESTS + "test_a_code_is_taken_as_people_type_it"
_PARTS = _TESTS + "test_a_part_of_a_code_or_more_than_it_is_refused"
_SCRIPT = _TESTS + "test_digits_of_another_script_are_refused_like_any_wrong_code"
_ONCE = _TESTS + "test_a_code_counts_once_and_another_is_shown"
_VOID = _TESTS + "test_a_code_is_void_after_ten_wrong_ones"
_ANEW = _TESTS + "test_nine_wrong_ones_leave_a_code_and_the_next_begins_from_nought"
_FIVE = _TESTS + "test_an_address_has_five_tries"
_MINUTE = _TESTS + "test_an_address_waits_for_a_minute_and_is_told_so"
_SLIDES = _TESTS + "test_each_try_counts_for_a_minute_of_its_own"
_TWENTY = _TESTS + "test_all_addresses_together_have_twenty_tries"
_MEMORY = _TESTS + "test_no_more_than_256_addresses_are_remembered_and_the_latest_are"
_LATE = _TESTS + "test_an_address_that_guesses_again_is_remembered_as_a_late_one"
_TOKENS = _TESTS + "test_tokens_cannot_be_guessed"
_MOST = _TESTS + "test_32_devices_with_open_pages_are_the_most"
_LONGEST = _TESTS + "test_the_device_that_was_unused_for_longest_goes_and_never_the_controller"
_STRANGER = _TESTS + "test_a_device_that_is_not_paired_only_watches"
_ONE = _TESTS + "test_one_has_the_controls_and_another_must_take_them_over"
_AWAY = _TESTS + "test_a_controller_without_a_page_keeps_the_controls_for_20_s"
_PAGES = _TESTS + "test_a_controller_with_a_page_keeps_the_controls_and_20_s_after_its_last"
_LOCK = _TESTS + "test_no_other_thread_comes_in_between"

ENTRIES: list[Guard] = [
    # -- the code
    limit(_SEATS, "CODE_DIGITS", _CODE, times=0.5),
    change(_SEATS, "Seats._new_code", "10**CODE_DIGITS", "10 ** (CODE_DIGITS // 2)", _CODE),
    without(_SEATS, "Seats._new_code", "self._announce(...)", _CODE),
    without(_SEATS, "Seats._new_code", "self._n_wrong = 0", _ANEW),
    change(_SEATS, "Seats.pair", "code[:40]", "code", _PARTS),
    change(_SEATS, "Seats.pair", "code[:40]", "code[:20]", _TYPED),
    change(_SEATS, "Seats.pair", 'c in "0123456789"', "c.isdigit()", _SCRIPT),
    always(_SEATS, "Seats.pair", 'c in "0123456789"', _TYPED),
    change(
        _SEATS, "Seats.pair", "hmac.compare_digest(...)", "self._code.startswith(digits)", _PARTS
    ),
    never(_SEATS, "Seats.pair", "not hmac.compare_digest(...)", _PARTS),
    without(_SEATS, "Seats.pair", "self._new_code(...)", _ONCE),
    # -- guessing
    without(_SEATS, "Seats.pair", "self._check_tries(...)", _FIVE, _TWENTY),
    without(_SEATS, "Seats.pair", "self._note_wrong(...)", _FIVE, _VOID),
    *(limit(_SEATS, "TRIES", _FIVE, times=times) for times in (2, 0.8)),
    *(limit(_SEATS, "TRIES_ALL", _TWENTY, times=times) for times in (2, 0.9)),
    *(limit(_SEATS, "TRIES_S", _MINUTE, _TWENTY, times=times) for times in (1.01, 0.99)),
    *(limit(_SEATS, "TRIES_PER_CODE", _VOID, times=times) for times in (2, 0.9)),
    change(
        _SEATS,
        "Seats._check_tries",
        "times and now_s - times[0] > TRIES_S",
        "now_s - times[0] > TRIES_S",
        _FIVE,
    ),
    never(_SEATS, "Seats._check_tries", "len(times) >= limit", _FIVE, _TWENTY),
    without(_SEATS, "Seats._check_tries", "times.popleft()", _MINUTE),
    change(_SEATS, "Seats._check_tries", "times.popleft()", "times.clear()", _SLIDES),
    change(_SEATS, "Seats._check_tries", "TRIES_S - (now_s - times[0])", "TRIES_S", _MINUTE),
    change(_SEATS, "Seats._check_tries", "self._wrong.get(address, ...)", "self._wrong_all", _FIVE),
    without(_SEATS, "Seats._note_wrong", "self._wrong_all.append(now_s)", _TWENTY),
    without(_SEATS, "Seats._note_wrong", "self._n_wrong += 1", _VOID),
    without(_SEATS, "Seats._note_wrong", "self._new_code(...)", _VOID),
    *(limit(_SEATS, "MAX_ADDRESSES", _MEMORY, times=times) for times in (2, 0.5)),
    without(_SEATS, "Seats._note_wrong", "self._wrong.popitem(...)", _MEMORY),
    change(_SEATS, "Seats._note_wrong", "False", "True", _MEMORY),
    without(_SEATS, "Seats._note_wrong", "self._wrong.move_to_end(address)", _LATE),
    # -- sessions
    change(
        _SEATS, "Seats.admit", "secrets.token_urlsafe(32)", "secrets.token_urlsafe(16)", _TOKENS
    ),
    change(_SEATS, "Seats.admit", "secrets.token_urlsafe(32)", '"x" * 43', _TOKENS),
    *(limit(_SEATS, "MAX_SESSIONS", _MOST, times=times) for times in (2, 0.5)),
    # Without this refusal an IndexError would take its place.
    without(_SEATS, "Seats.admit", "raise RefusedError(..., 429)", _MOST),
    change(_SEATS, "Seats.admit", "429", "403", _MOST),
    without(_SEATS, "Seats.admit", "del self._sessions[idle[0]]", _LONGEST),
    change(_SEATS, "Seats.admit", "idle[0]", "idle[-1]", _LONGEST),
    always(_SEATS, "Seats.admit", "not session.pages", _MOST),
    always(_SEATS, "Seats.admit", "token != self._holder", _LONGEST),
    without(_SEATS, "Seats._touch", "self._sessions.move_to_end(token)", _LONGEST),
    always(_SEATS, "Seats.knows", "token in self._sessions", _TOKENS),
    # -- the controls
    without(_SEATS, "Seats.claim", "raise RefusedError(...)", _STRANGER, nth=1),
    never(_SEATS, "Seats.claim", "holder not in (None, token) and not takes_over", _ONE, _AWAY),
    change(_SEATS, "Seats.claim", "(None, token)", "(None,)", _ONE),
    never(_SEATS, "Seats.claim", "not takes_over", _ONE),
    always(_SEATS, "Seats.claim", "not takes_over", _ONE),
    change(_SEATS, "Seats.claim", "409", "403", _ONE),
    without(_SEATS, "Seats.claim", "self._holder = token", _ONE),
    without(_SEATS, "Seats.claim", "self._touch(token)", _AWAY),
    change(_SEATS, "Seats.claim", "self._present_holder()", "self._holder", _AWAY),
    change(_SEATS, "Seats.place", "self._present_holder()", "self._holder", _AWAY, _PAGES),
    inverted(_SEATS, "Seats.place", "holder == token", _ONE),
    never(_SEATS, "Seats.place", "token is None or token not in self._sessions", _STRANGER),
    *(limit(_SEATS, "AWAY_S", _AWAY, _PAGES, times=times) for times in (1.01, 0.99)),
    never(
        _SEATS,
        "Seats._present_holder",
        "not session.pages and self._time_s() - session.seen_s > AWAY_S",
        _AWAY,
        _PAGES,
    ),
    always(_SEATS, "Seats._present_holder", "not session.pages", _PAGES),
    change(_SEATS, "Seats.page_opened", "+1", "+0", _PAGES),
    change(_SEATS, "Seats.page_closed", "-1", "-2", _PAGES),
    without(_SEATS, "Seats._count", "self._touch(token)", _PAGES),
    always(
        _SEATS,
        "Seats._count",
        "token is not None and token in self._sessions",
        _TESTS + "test_pages_of_strangers_are_not_counted",
    ),
    # -- threads
    change(
        _SEATS,
        "Seats.__init__",
        "threading.RLock()",
        "__import__('contextlib').nullcontext()",
        _LOCK,
    ),
]
