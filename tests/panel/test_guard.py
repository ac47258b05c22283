"""Hosts, origins and kinds of bodies that are taken; connections of one address."""

import pytest

from rig.panel.guard import LOCAL_NAMES, Doorkeeper, Guard, own_names
from rig.panel.seats import RefusedError

NAMES = LOCAL_NAMES | {"tilt", "tilt.local"}
CLOSED, OPEN = Guard(LOCAL_NAMES, any_address=False), Guard(NAMES, any_address=True)


def is_refused(guard: Guard, check: str, status: int, **headers: str) -> bool:
    """Whether a request with these headers is turned away, with the status that it should have."""
    try:
        getattr(guard, check)({name.replace("_", "-"): value for name, value in headers.items()})
    except RefusedError as refusal:
        return refusal.status == status
    return False


@pytest.mark.parametrize(
    ("host", "by_closed", "by_open"),
    [
        ("localhost", True, True),
        ("localhost:8600", True, True),
        ("LocalHost.:8600", True, True),
        ("127.0.0.1:8600", True, True),
        ("[::1]:8600", True, True),
        ("tilt.local:8600", False, True),
        ("TILT", False, True),
        ("192.168.7.4:8600", False, True),
        ("[fe80::1]:8600", False, True),
        ("127.0.0.2", False, True),
        ("evil.example", False, False),
        ("localhost.evil.example", False, False),
        ("192.168.7.4.evil.example", False, False),
        ("192.168.7", False, False),
        ("localhost@evil.example", False, False),
        ("[::1", False, False),
        ("", False, False),
    ],
)
def test_hosts_that_are_taken(host: str, by_closed: bool, by_open: bool) -> None:
    assert is_refused(CLOSED, "check_host", 421, host=host) is not by_closed
    assert is_refused(OPEN, "check_host", 421, host=host) is not by_open


def test_a_request_without_a_host_is_refused() -> None:
    assert is_refused(CLOSED, "check_host", 421)
    assert is_refused(OPEN, "check_host", 421)


def test_a_refused_name_is_told_which_ones_are_taken() -> None:
    with pytest.raises(RefusedError, match=r"127\.0\.0\.1, ::1, localhost, tilt, tilt\.local"):
        OPEN.check_host({"host": "evil.example"})


def test_this_computers_own_names_are_short_and_in_lower_case(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Tilt.example.org")
    assert own_names() == {"tilt", "tilt.local"}


@pytest.mark.parametrize(
    ("origin", "is_taken"),
    [
        ("http://tilt.local:8600", True),
        ("HTTP://Tilt.local:8600", True),
        ("https://tilt.local:8600", False),
        ("http://tilt.local", False),
        ("http://tilt.local:8601", False),
        ("http://evil.example", False),
        ("null", False),
        ("", False),
    ],
)
def test_origins_that_are_taken(origin: str, is_taken: bool) -> None:
    refused = is_refused(OPEN, "check_origin", 403, host="Tilt.local:8600", origin=origin)
    assert refused is not is_taken


@pytest.mark.parametrize(
    ("site", "is_taken"),
    [("same-origin", True), ("none", True), ("same-site", False), ("cross-site", False)],
)
def test_what_a_browser_says_of_its_page_counts_beside_the_origin(
    site: str, is_taken: bool
) -> None:
    told = {"host": "tilt:8600", "sec_fetch_site": site}
    assert is_refused(OPEN, "check_origin", 403, **told) is not is_taken
    assert is_refused(OPEN, "check_origin", 403, **told, origin="http://tilt:8600") is not is_taken
    assert is_refused(OPEN, "check_origin", 403, **told, origin="http://evil.example")


def test_a_client_that_is_no_browser_names_no_page() -> None:
    assert not is_refused(OPEN, "check_origin", 403, host="tilt:8600")


@pytest.mark.parametrize(
    ("kind", "is_taken"),
    [
        ("application/json", True),
        ("Application/JSON ; charset=utf-8", True),
        ("text/plain", False),
        ("text/json", False),
        ("application/json-seq", False),
        ("text/plain; application/json", False),
        ("application/x-www-form-urlencoded", False),
    ],
)
def test_kinds_of_bodies_that_are_taken(kind: str, is_taken: bool) -> None:
    assert is_refused(OPEN, "check_json", 415, content_type=kind) is not is_taken


def test_a_body_of_no_kind_is_refused() -> None:
    assert is_refused(OPEN, "check_json", 415)


def test_an_address_holds_24_connections_and_another_one_when_one_ends() -> None:
    door = Doorkeeper()
    assert [door.comes("10.0.0.1") for _ in range(26)] == [True] * 24 + [False] * 2
    assert door.comes("10.0.0.2"), "each address has its own"
    door.goes("10.0.0.1")
    assert door.comes("10.0.0.1")
    assert not door.comes("10.0.0.1")


def test_beyond_256_connections_only_paired_devices_find_room() -> None:
    door = Doorkeeper()
    for number in range(256):
        assert door.comes(f"10.0.{number}.1")
    assert not door.comes("10.1.0.1")
    door.welcome("10.1.0.1")
    assert door.comes("10.1.0.1")
    door.goes("10.0.0.1")
    door.goes("10.0.1.1")
    assert door.comes("10.1.0.2")


def test_32_addresses_of_paired_devices_are_remembered_the_latest_ones() -> None:
    door = Doorkeeper(most_open=0)
    for number in (*range(32), 0, 32):
        door.welcome(f"10.0.0.{number}")
    known = [number for number in range(33) if door.comes(f"10.0.0.{number}")]
    assert known == [0, *range(2, 33)]


def test_an_address_without_connections_is_forgotten() -> None:
    door = Doorkeeper(2)
    for address in ("10.0.0.1", "10.0.0.2"):
        assert door.comes(address)
        assert door.comes(address)
    door.goes("10.0.0.1")
    door.goes("10.0.0.1")
    assert dict(door._open) == {"10.0.0.2": 2}  # noqa: SLF001 - memory cannot be seen from outside


@pytest.mark.parametrize(("scheme", "is_encrypted"), [("http", False), ("https", True)])
def test_an_origin_has_the_pages_own_scheme(scheme: str, *, is_encrypted: bool) -> None:
    guard = Guard(LOCAL_NAMES, any_address=False, is_encrypted=is_encrypted)
    other = {"http": "https", "https": "http"}[scheme]
    own = {"host": "localhost:8600", "origin": f"{scheme}://localhost:8600"}
    assert not is_refused(guard, "check_origin", 403, **own)
    wrong = {**own, "origin": f"{other}://localhost:8600"}
    assert is_refused(guard, "check_origin", 403, **wrong)
