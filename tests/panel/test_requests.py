"""Who is let in, who may do what; and that nothing of it disturbs the machine."""

import socket
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from rig.clock import RealClock
from rig.panel.course import Course
from rig.panel.form import SeriesForm, requests_of
from rig.panel.render import what_runs
from rig.panel.seats import TRIES, TRIES_S
from rig.settings.model import Settings
from tests.panel.client import Answer, Client
from tests.panel.paper import NOW
from tests.panel.rig_example import WAIT_S, Rig, served_rig, wait_for


@pytest.fixture(scope="module")
def open_rig(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """A page that is open to the network; its tests start nothing that moves."""
    with served_rig(tmp_path_factory.mktemp("runs"), is_open=True) as rig:
        wait_for(lambda: rig.served.viewer.look().angle_deg is not None, "an angle")
        yield rig


@pytest.fixture
def client(open_rig: Rig) -> Client:
    return Client(open_rig.port)


SERIES = {"runs": "3", "bag": "Heron 1"}


def test_everybody_may_look(client: Client) -> None:
    page = client.ask("GET", "/")
    assert page.status == 200
    assert b"Not the emergency stop" in page.data
    sections = client.look()
    assert sections["state"]["word"] == "Parked"
    assert sections["actions"]["role"] == "watcher"
    assert not sections["actions"]["series"]["enabled"]


@pytest.mark.parametrize("path", ["/start", "/series", "/resume", "/reset", "/take"])
def test_nothing_is_started_without_pairing(open_rig: Rig, client: Client, path: str) -> None:
    answer = client.post(path, SERIES if path == "/series" else {})
    assert answer.status == 403
    assert "not paired" in answer.text
    assert not open_rig.served.viewer.is_busy


def test_everybody_may_stop(client: Client) -> None:
    assert client.ask("POST", "/stop").status == 202
    assert client.post("/stop").status == 202


def test_a_watcher_does_not_get_a_cookie_where_a_code_is_asked_for(client: Client) -> None:
    assert "set-cookie" not in client.ask("GET", "/").headers
    assert "set-cookie" not in client.watch_once().headers


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
@pytest.mark.parametrize("path", ["/stop", "/series", "/pair"])
def test_a_page_of_another_site_is_refused(
    client: Client, path: str, headers: dict[str, str]
) -> None:
    answer = client.post(path, {}, **headers)
    assert answer.status == 403
    assert "another site" in answer.text


def test_a_page_of_another_site_cannot_read_the_stream(client: Client) -> None:
    assert client.ask("GET", "/events", Sec_Fetch_Site="cross-site").status == 403
    assert client.ask("GET", "/events", Origin="http://evil.example").status == 403


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "", "[::1", "127.0.0.1.nip.io"]
)
def test_a_name_that_is_not_ours_is_refused(open_rig: Rig, host: str) -> None:
    client = Client(open_rig.port)
    client.host = host
    assert client.ask("GET", "/").status == 421
    assert client.post("/stop").status == 421


@pytest.mark.parametrize("host", ["192.168.7.4:8600", "[fe80::1]:8600", "localhost"])
def test_an_address_is_taken_where_the_network_is_let_in(open_rig: Rig, host: str) -> None:
    assert Client(open_rig.port, host).ask("GET", "/").status == 200


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/series", b""),
        ("/series", b"{"),
        ("/series", b"[]"),
        ("/series", b'{"runs": 3}'),
        ("/series", b'{"runs": "3", "wish": "more"}'),
        ("/series", b'{"runs": "3", "bag": "\xff"}'),
        ("/series", b"[" * 4000),
        ("/series", b" " * 5000),
        ("/pair", b'{"code": null}'),
        ("/start", b'{"now": true}'),
    ],
)
def test_a_malformed_body_is_refused_in_words(client: Client, path: str, body: bytes) -> None:
    answer = client.ask("POST", path, body, Content_Type="application/json")
    assert answer.status in (400, 413)
    assert answer.text


def test_a_plain_form_is_refused(client: Client) -> None:
    assert client.ask("POST", "/series", b"{}", Content_Type="text/plain").status == 415


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE"])
def test_starting_is_a_post(client: Client, method: str) -> None:
    assert client.ask(method, "/series").status == 405


@pytest.mark.parametrize("path", ["/../setup.py", "/static/panel.js", "/%2e%2e/app.py", "/x"])
def test_other_paths_are_not_there(client: Client, path: str) -> None:
    assert client.ask("GET", path).status == 404


def test_every_answer_carries_the_safety_headers(client: Client) -> None:
    for answer in (client.ask("GET", "/"), client.post("/series"), client.ask("GET", "/nothing")):
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "access-control-allow-origin" not in answer.headers


def test_pairing_gives_the_controls_once_and_to_one_at_a_time(open_rig: Rig) -> None:
    one, two = Client(open_rig.port), Client(open_rig.port)
    code = open_rig.code_after()
    assert one.post("/pair", {"code": code}).status == 202
    second = two.post("/pair", {"code": code})
    assert second.status == 403, "a code counts once"
    assert two.post("/pair", {"code": open_rig.code_after(code)}).status == 202
    assert one.post("/take").status == 202
    refused = two.post("/start")
    assert refused.status == 409
    assert "has the controls" in refused.text
    assert two.look()["actions"]["take"]
    assert two.post("/take").status == 202
    assert one.look()["actions"]["role"] == "paired"
    # Not busy, so a start and a reset have no sense, and a series is judged by its fields.
    assert two.post("/start").text == "Nothing waits for a start now."
    assert two.post("/reset").text == "There is nothing to reset."


@pytest.mark.parametrize(
    ("field", "value", "part"),
    [
        ("runs", "0", "between 1 and 1000"),
        ("runs", "2.5", "whole number"),
        ("runs", "", "whole number"),
        ("runs", "nan", "takes a number"),
        ("runs", "1e999", "between 1 and 1000"),
        ("rate", "9", "between 0.1 and 3"),
        ("dwell", "-1", "between 0 and 3600"),
        ("gap", "0", "between 1 and 50"),
        ("bag", "x" * 61, "60 are the most"),
        ("bag", "a\x00b", "type it again"),
        ("face", "\u202eevil", "type it again"),
    ],
)
def test_a_field_that_makes_no_sense_is_refused_in_words(
    open_rig: Rig, client: Client, field: str, value: str, part: str
) -> None:
    answer = client.post("/series", {**SERIES, field: value})
    assert answer.status == 400
    assert part in answer.text
    assert not open_rig.served.viewer.is_busy


@pytest.mark.long
def test_on_this_computer_alone_no_code_is_needed_and_no_other_name_is_taken(
    tmp_path: Path,
) -> None:
    with served_rig(tmp_path) as rig:
        client = Client(rig.port)
        assert client.look()["actions"]["role"] == "watcher"
        cookie = client.watch_once().headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=strict" in cookie
        assert client.look()["actions"]["role"] == "paired"
        assert not rig.said
        for host in ("192.168.7.4", socket.gethostname(), "evil.example"):
            assert Client(rig.port, host).ask("GET", "/").status == 421
        with socket.socket() as probe:
            probe.settimeout(0.5)
            own = socket.gethostbyname(socket.gethostname())
            if not own.startswith("127."):
                assert probe.connect_ex((own, rig.port)) != 0, "reachable from outside"


@pytest.mark.long
def test_a_flood_ends_and_leaves_the_machine_and_the_stop_as_they_were(tmp_path: Path) -> None:
    with served_rig(tmp_path, is_open=True) as rig:
        wait_for(lambda: rig.served.viewer.look().angle_deg is not None, "an angle")
        clock = RealClock()
        statuses: list[int] = []

        def count(ask: Callable[[], Answer]) -> None:
            try:
                statuses.append(ask().status)
            except OSError:
                statuses.append(0)

        def flood(number: int) -> None:
            client = Client(rig.port)
            for i in range(40):
                path = ("/snapshot", "/", "/nothing")[i % 3]
                code = f"{number}{i}"
                count(partial(client.ask, "GET", path))
                count(partial(client.post, "/pair", {"code": code}))

        began_s = clock.time_s()
        idle = [socket.create_connection(("127.0.0.1", rig.port)) for _ in range(10)]
        threads = [threading.Thread(target=flood, args=(i,)) for i in range(8)]
        for thread in threads:
            thread.start()
        seen = [rig.machine.live.angle_seen_s]
        while any(thread.is_alive() for thread in threads):
            clock.pause_s(0.1)
            seen.append(rig.machine.live.angle_seen_s)
        for thread in threads:
            thread.join()
        for connection in idle:
            connection.close()
        assert len(statuses) == 640
        assert set(statuses) <= {0, 200, 403, 404, 429}
        minutes = 1 + (clock.time_s() - began_s) // TRIES_S
        assert 0 < statuses.count(403) <= minutes * TRIES, "guessing is slowed down"
        assert 429 in statuses
        assert sum(line.startswith("Wrong codes were tried") for line in rig.said) <= 3
        assert len(set(seen)) > 1
        assert rig.machine.latched is None
        assert wait_for(lambda: Client(rig.port).post("/stop").status == 202, "the stop")


@pytest.mark.parametrize(
    "data",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET / HTTP/9.9\r\n\r\n",
        b"POST /stop HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n",
        b"POST /stop HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n",
        b"GET /" + b"a" * 70000,
        b"GET / HTTP/1.1\r\nHost: localhost\r\n" + b"X: y\r\n" * 20000,
    ],
    ids=["another protocol", "version", "length", "two hosts", "long line", "headers without end"],
)
def test_what_is_no_request_is_turned_away(open_rig: Rig, client: Client, data: bytes) -> None:
    with socket.create_connection(("127.0.0.1", open_rig.port), timeout=WAIT_S) as connection:
        try:
            connection.sendall(data)
            answer = connection.recv(4096)
        except ConnectionError:
            answer = b""
    assert answer == b"" or answer.startswith(b"HTTP/1.1 4")
    assert client.look()["state"]["word"] == "Parked"
    assert open_rig.machine.latched is None


def test_inch_and_fahrenheit_are_shown_on_request(client: Client) -> None:
    metric, inch = client.look(), client.look("us")
    celsius = float(metric["air"]["temperature"].removesuffix(" °C"))
    fahrenheit = float(inch["air"]["temperature"].removesuffix(" °F"))
    assert fahrenheit == pytest.approx(celsius * 9 / 5 + 32, abs=0.15)
    assert client.look("furlong")["air"]["temperature"].endswith(" °C")


def test_html_in_a_bags_name_travels_as_text() -> None:
    name = "<img src=x onerror=alert(1)>"
    request = requests_of(SeriesForm(runs="1", bag=name), Settings(), "twin", NOW)[0]
    assert request.bag == name
    assert name in what_runs(Course(1, 0, None, request))
    # The page puts it in as text: no script of ours makes elements from strings.
    static = Path(__file__).parents[2] / "rig/panel/static"
    for script in static.glob("*.js"):
        for danger in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("):
            assert danger not in script.read_text("utf-8")
    assert "style=" not in (static / "index.html").read_text("utf-8")
