"""What each address of the page takes from whom, and what it hands on to the machine."""

import gzip
import itertools
from collections.abc import Iterator
from typing import Any

import pytest

from rig.panel import link
from rig.panel.app import STATIC, Panel, lean
from rig.panel.form import SeriesForm
from rig.panel.guard import HEADERS, LOCAL_NAMES, Guard
from tests.panel.paper import COOKIE, IDLE, Near, Stand, snapshot

SERIES = {"runs": "3", "bag": "Heron 1"}
WAITS = snapshot(waits_for_start=True)
LATCHED = IDLE._replace(is_latched=True, unfinished="1 of 3 runs are made.")
UNFINISHED = IDLE._replace(unfinished="1 of 3 runs are made.")


@pytest.fixture
def stand() -> Iterator[Stand]:
    stand = Stand()
    yield stand
    stand.runner.close()


@pytest.fixture
def free() -> Iterator[Stand]:
    """One that asks for no code."""
    stand = Stand(needs_code=False)
    yield stand
    stand.runner.close()


# -- stopping and starting ------------------------------------------------------------------------


@pytest.mark.parametrize("shown", [IDLE, WAITS, LATCHED, None])
def test_a_stop_is_taken_from_everybody_at_any_time(stand: Stand, shown: Any) -> None:
    stand.hub.latest = shown
    watcher, paired = stand.client(), stand.client(paired=True)
    stand.client(paired=True).post("/take")  # a third one has the controls
    assert watcher.ask("POST", "/stop", b"no JSON").text == "Stop sent."
    assert paired.post("/stop").status == 202
    assert stand.desk.wishes == [
        link.Stop("the page on a device that only watches"),
        link.Stop("the page on device 1"),
    ]


def test_a_stop_tells_how_many_the_machine_has_met_before(stand: Stand) -> None:
    stand.show(IDLE._replace(stops=7))
    assert stand.client().post("/stop").document == {"text": "Stop sent.", "before": 7}
    assert stand.client().look()["stop"] == {"count": 7, "moving": False}


def test_a_wish_that_cannot_be_passed_on_is_no_secret(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any) -> None:
        raise link.LinkFullError

    monkeypatch.setattr(stand.desk, "_send", fail)
    refused = stand.client().post("/stop")
    assert refused.status == 503
    assert "Use the button on the rig" in refused.text
    assert stand.client(paired=True).post("/resume").status != 202


def test_nothing_is_begun_on_a_machine_that_shows_no_sign_of_life(stand: Stand) -> None:
    client = stand.client(paired=True)
    stand.show(IDLE._replace(unfinished="1 of 3"))
    stand.now_s += 2.5
    refused = client.post("/resume")
    assert (refused.status, "does not answer" in refused.text) == (503, True)
    look = client.look()
    assert look["live"] == {"silent_s": 2}
    assert not look["actions"]["resume"]["enabled"]


def test_the_addresses_of_paired_devices_are_welcome(stand: Stand) -> None:
    stand.client(address="10.0.0.7").look()
    stand.client(paired=True, address="10.0.0.8").look()
    assert stand.welcomed == ["10.0.0.8"]


@pytest.mark.parametrize(
    ("path", "body", "shown", "wish"),
    [
        ("/start", {}, WAITS, link.Start()),
        ("/series", SERIES, IDLE, link.SeriesMessage(SeriesForm(runs="3", bag="Heron 1"))),
        ("/resume", {}, UNFINISHED, link.Resume()),
        ("/reset", {}, LATCHED, link.Reset()),
    ],
)
def test_what_moves_the_rig_is_taken_from_the_controller_alone(
    stand: Stand, path: str, body: Any, shown: Any, wish: Any
) -> None:
    stand.show(shown)
    watcher, one, two = stand.client(), stand.client(paired=True), stand.client(paired=True)
    assert watcher.post(path, body).status == 403
    one.post("/take")
    assert two.post(path, body).status == 409
    assert stand.desk.wishes == []
    assert one.post(path, body).status == 202
    assert stand.desk.wishes == [wish]


@pytest.mark.parametrize(
    ("path", "body", "shown", "why"),
    [
        ("/start", {}, IDLE, "Nothing waits for a start now."),
        ("/series", SERIES, WAITS, "A series is under way; stop it first."),
        ("/series", SERIES, LATCHED, "see to the cause and reset first"),
        ("/resume", {}, IDLE, "There is no series to resume."),
        ("/resume", {}, UNFINISHED._replace(is_busy=True), "A series is under way"),
        ("/resume", {}, LATCHED, "see to the cause and reset first"),
        ("/reset", {}, IDLE, "There is nothing to reset."),
    ],
)
def test_what_makes_no_sense_now_is_refused_in_words(
    stand: Stand, path: str, body: Any, shown: Any, why: str
) -> None:
    stand.show(shown)
    answer = stand.client(paired=True).post(path, body)
    assert answer.status == 409
    assert why in answer.text
    assert stand.desk.wishes == []


def test_before_the_machine_has_shown_itself_nothing_is_shown_or_begun(stand: Stand) -> None:
    stand.hub.latest = None
    client = stand.client(paired=True)
    answers = [client.post(path) for path in ("/start", "/resume", "/reset")]
    answers += [client.post("/series", SERIES), client.ask("GET", "/snapshot")]
    assert {(answer.status, answer.text) for answer in answers} == {
        (503, "The rig is not ready yet.")
    }


def test_taking_over_the_controls_is_told_to_both(stand: Stand) -> None:
    one, two = stand.client(paired=True), stand.client(paired=True)
    assert one.post("/take").text == "You have the controls."
    assert two.post("/take").status == 202
    assert one.look()["actions"]["text"] == (
        "This is device 1. Device 2 has the controls; you can stop."
    )
    assert two.look()["actions"]["text"] == "This is device 2; it has the controls."
    assert one.post("/start").status == 409


# -- pairing and cookies --------------------------------------------------------------------------


def test_the_right_code_gives_a_cookie_that_no_script_and_no_other_site_can_use(
    stand: Stand,
) -> None:
    client = stand.client()
    refused = client.post("/pair", {"code": "no code"})
    assert (refused.status, "set-cookie" in refused.headers) == (403, False)
    answer = client.post("/pair", {"code": stand.said[0][-9:]})
    assert (answer.status, answer.text) == (202, "Paired.")
    name, *attributes = answer.headers["set-cookie"].split("; ")
    assert name.startswith(f"{COOKIE}=")
    assert {one.lower() for one in attributes} == {"httponly", "samesite=strict", "path=/"}
    assert client.look()["actions"]["role"] == "paired"


def test_tries_are_counted_for_each_address(stand: Stand) -> None:
    one, two = stand.client(address="10.0.0.1"), stand.client(address="10.0.0.2")
    statuses = [one.post("/pair", {"code": "0"}).status for _ in range(6)]
    assert statuses == [403] * 5 + [429]
    assert two.post("/pair", {"code": "0"}).status == 403


def test_where_no_code_is_needed_watching_pairs_and_pairing_is_refused(free: Stand) -> None:
    client = free.client()
    assert client.post("/pair", {"code": ""}).status == 409, "an empty code opens nothing"
    assert "set-cookie" not in client.ask("GET", "/").headers
    cookie = client.watch_once().headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    assert "httponly; path=/; samesite=strict" in cookie.lower()
    assert "set-cookie" not in client.watch_once().headers, "it has one"
    client.cookie = f"{COOKIE}=forgotten"
    assert "set-cookie" in client.watch_once().headers
    client.cookie = client.cookie.replace("8600", "8601")  # of a rig behind another port
    assert client.look()["actions"]["role"] == "watcher"


def test_watching_pairs_nobody_where_a_code_is_needed(stand: Stand) -> None:
    client = stand.client()
    assert "set-cookie" not in client.watch_once().headers
    assert client.look()["actions"]["role"] == "watcher"


# -- who asks -------------------------------------------------------------------------------------

POSTS = ("/stop", "/start", "/series", "/resume", "/reset", "/take", "/pair")


@pytest.mark.parametrize("path", [*POSTS, "/events", "/snapshot"])
def test_what_a_page_of_another_site_asks_is_refused(stand: Stand, path: str) -> None:
    client = stand.client(paired=True)
    method = "POST" if path in POSTS else "GET"
    answer = client.ask(method, path, b"{}", Origin="http://evil.example")
    assert answer.status == 403
    assert "another site" in answer.text
    assert stand.desk.wishes == []


@pytest.mark.parametrize("path", POSTS[1:])
def test_what_a_plain_form_of_another_site_could_send_is_refused(stand: Stand, path: str) -> None:
    client = stand.client(paired=True)
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        assert client.ask("POST", path, b"{}", Content_Type=kind).status == 415
    assert client.ask("POST", path, b"{}").status == 415
    assert stand.desk.wishes == []


def test_a_name_that_is_not_ours_gets_nothing_but_the_safety_headers(stand: Stand) -> None:
    client = stand.client(paired=True)
    client.host = "evil.example"
    for method, path in (("GET", "/"), ("GET", "/snapshot"), ("POST", "/stop")):
        answer = client.ask(method, path)
        assert answer.status == 421
        assert {answer.headers[name.lower()] for name in HEADERS} == set(HEADERS.values())
    assert stand.desk.wishes == []


def test_what_is_no_request_gets_no_answer(stand: Stand) -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    scope = {"type": "websocket", "path": "/events", "headers": [], "query_string": b""}
    stand.runner.run(stand.app(scope, receive, send))
    assert sent == []


# -- bodies and answers ---------------------------------------------------------------------------


def test_a_body_of_4096_bytes_is_taken_and_none_longer(stand: Stand) -> None:
    client = stand.client(paired=True)

    def ask(size: int) -> int:
        body = b'{"runs": "3"}'
        return client.ask(
            "POST", "/series", body.ljust(size), Content_Type="application/json"
        ).status

    assert ask(4096) == 202
    assert ask(4097) == 413


def test_a_body_without_end_is_read_no_further_than_it_may_be_long(stand: Stand) -> None:
    client: Near = stand.client(paired=True)
    pieces = itertools.chain(itertools.repeat(b" " * 1000, 1000), [b"{}"])
    answer = client.ask_in_pieces("POST", "/series", pieces, Content_Type="application/json")
    assert answer.status == 413
    assert client.taken == 5


def test_a_body_may_take_ten_seconds(stand: Stand) -> None:
    client: Near = stand.client(paired=True)
    for pause_s, status in ((9.9, 202), (10.1, 408)):
        pieces: list[bytes | float] = [b"{", pause_s, b"}"]
        answer = client.ask_in_pieces("POST", "/take", pieces, Content_Type="application/json")
        assert answer.status == status
    assert answer.text == "The request took too long to come; try again."


@pytest.mark.parametrize("path", ["/", "/panel.css", "/panel.js", "/draw.js", "/icon.svg"])
def test_files_are_served_as_what_they_are(stand: Stand, path: str) -> None:
    answer = stand.client().ask("GET", path)
    name, kind = {
        "/": ("index.html", "text/html; charset=utf-8"),
        "/panel.css": ("panel.css", "text/css; charset=utf-8"),
        "/panel.js": ("panel.js", "text/javascript; charset=utf-8"),
        "/draw.js": ("draw.js", "text/javascript; charset=utf-8"),
        "/icon.svg": ("icon.svg", "image/svg+xml"),
    }[path]
    assert answer.headers["content-type"] == kind
    assert answer.data == lean((STATIC / name).read_text("utf-8"), kind)
    packed = stand.client().ask("GET", path, Accept_Encoding="gzip, br")
    assert packed.headers["content-encoding"] == "gzip"
    assert gzip.decompress(packed.data) == answer.data


@pytest.mark.parametrize(
    ("kind", "text", "sent"),
    [
        ("text/html", "<p>\n  a  b\n\n</p>\n", "<p>\na  b\n</p>"),
        ("text/javascript", "a = 1;  // one\n  // two\n  b(`c  d`);", "a = 1;  // one\nb(`c  d`);"),
        (
            "text/css; charset=utf-8",
            "/* a\n b */ p , a { b : calc(1px - 2px) ; }",
            "p,a{b:calc(1px - 2px)}",
        ),
    ],
)
def test_files_are_sent_without_what_only_their_readers_need(
    kind: str, text: str, sent: str
) -> None:
    assert lean(text, kind) == sent.encode()


def test_every_answer_carries_every_safety_header(stand: Stand) -> None:
    client = stand.client()
    answers = [client.ask("GET", path) for path in ("/", "/panel.js", "/snapshot", "/nothing")]
    answers += [client.watch_once(), client.post("/series"), client.post("/stop")]
    for answer in answers:
        policy = dict(
            part.strip().split(" ", 1)
            for part in answer.headers["content-security-policy"].split(";")
        )
        assert policy == {
            "default-src": "'none'",
            "script-src": "'self'",
            "style-src": "'self'",
            "img-src": "'self'",
            "connect-src": "'self'",
            "base-uri": "'none'",
            "form-action": "'none'",
            "frame-ancestors": "'none'",
        }
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"
        assert "access-control-allow-origin" not in answer.headers


def test_48_pages_may_watch_and_no_more(stand: Stand) -> None:
    client = stand.client()
    stand.hub.watchers = 47
    assert client.watch_once().status == 200
    assert stand.hub.watchers == 47, "it has gone again"
    stand.hub.watchers = 48
    assert stand.client(paired=True).watch_once().status == 503
    refused = client.watch_once()
    assert refused.status == 503
    assert refused.text == "Too many pages watch already; close one."


@pytest.mark.parametrize(
    ("asked", "shown"),
    [("", "23.0 °C"), ("?units=metric", "23.0 °C"), ("?units=us", "73.4 °F"),
     ("?units=furlong", "23.0 °C")],
)  # fmt: skip
def test_units_are_those_asked_for_and_else_metric(stand: Stand, asked: str, shown: str) -> None:
    client = stand.client()
    assert client.ask("GET", f"/snapshot{asked}").document["air"]["temperature"] == shown
    assert f'"temperature":"{shown}"'.encode() in client.ask("GET", f"/events{asked}").data


def test_a_look_shows_slides_and_what_may_be_pressed(stand: Stand) -> None:
    document = stand.client().look()
    assert [dot["number"] for dot in document["slides"]["dots"]] == ["1", "2"]
    assert document["actions"]["role"] == "watcher"


def test_a_page_over_tls_gives_a_cookie_that_never_goes_without() -> None:
    stand = Stand()
    guard = Guard(LOCAL_NAMES, any_address=False, is_encrypted=True)
    stand.app = Panel(
        stand.desk, stand.hub, stand.seats, guard, COOKIE, is_encrypted=True
    ).application()
    answer = stand.client().post("/pair", {"code": stand.said[0][-9:]})
    stand.runner.close()
    assert "; Secure" in answer.headers["set-cookie"]
