"""Guards of the phone's page: its certificate, its cookie, and what a sent lift may do."""

from tests.guards.entry import Guard, change, limit, without

_CERTIFICATE, _LIFTS = "rig.panel.certificate", "rig.panel.study.lifts"
_IN_CERTIFICATE = "tests/panel/test_certificate.py::"
_IN_LIFTS = "tests/panel/study/test_lifts.py::"

_NAMES = _IN_CERTIFICATE + "test_it_has_all_names_signs_nothing_and_its_key_is_private"
_RENEWED = _IN_CERTIFICATE + "test_the_kept_one_is_used_until_names_change_or_it_nears_its_end"
_AGAIN = _IN_CERTIFICATE + "test_one_that_was_readable_damaged_or_of_another_key_is_made_again"
_ONCE = _IN_LIFTS + "test_a_lift_that_is_sent_again_is_noted_once"
_UNKNOWN = _IN_LIFTS + "test_a_lift_of_an_unknown_bag_stays_with_the_phone"
_WAITED = _IN_LIFTS + "test_a_lift_that_waited_in_the_phone_counts_from_when_it_was_made"
_SERIES = _IN_LIFTS + "test_lifts_in_a_row_are_a_series_until_the_bag_changes_or_time_passes"
_SCHEME = "tests/panel/test_guard.py::test_an_origin_has_the_pages_own_scheme"
_COOKIE = "tests/panel/test_app.py::test_a_page_over_tls_gives_a_cookie_that_never_goes_without"

ENTRIES: tuple[Guard, ...] = (
    change("rig.files.durable", "_beside", "0o600", "0o644", _NAMES),
    limit(_CERTIFICATE, "LIFE", _NAMES),
    change(_CERTIFICATE, "_kept", "paths[1].stat().st_mode & 0o077 == 0", "True", _AGAIN),
    change(_CERTIFICATE, "_kept", "key.public_key() == found.public_key()", "True", _AGAIN),
    change(_CERTIFICATE, "_kept", "_names_of(found) == names", "True", _RENEWED),
    change(
        _CERTIFICATE,
        "_kept",
        "found.not_valid_before_utc <= now < found.not_valid_after_utc - RENEWED_BEFORE",
        "True",
        _RENEWED,
    ),
    change(
        "rig.panel.guard",
        "Guard.__init__",
        "'https' if is_encrypted else 'http'",
        "'http'",
        _SCHEME,
    ),
    change("rig.panel.app", "Panel.__init__", "is_encrypted", "False", _COOKIE),
    without(_LIFTS, "_kept", "study.check_face(...)", _UNKNOWN),
    change(_LIFTS, "Lifts.note.entries", "timedelta(seconds=form.age_s)", "timedelta()", _WAITED),
    change(_LIFTS, "APART", "timedelta(minutes=10)", "timedelta(minutes=40)", _SERIES),
    change(
        _LIFTS, "_series", "is_same and is_soon and last.phone is not UNSET", "is_soon", _SERIES
    ),
)
