"""How the web server's process is started, looked after and listened to."""

import errno
import os
import socket
import subprocess
import sys
import threading
from contextlib import suppress
from types import SimpleNamespace
from typing import Any, cast

import pytest

from rig.errors import BadInputError
from rig.panel import link
from rig.panel.desk import ResetWish, ResumeWish, SeriesWish
from rig.panel.form import SeriesForm, usual_of
from rig.panel.listen import listen
from rig.panel.seats import KeptSeats
from rig.panel.server import BEGIN_S, SILENT_S, STOP_S, WebServer, _Server
from rig.panel.setup import EVERYWHERE, LOCAL, addresses, serve_panel
from rig.panel.web import ALIVE_S
from rig.procedures.series.log import SeriesOptions
from rig.procedures.studied import StudySeries
from rig.settings.model import Settings
from tests.panel.paper import NOW, snapshot
from tests.panel.rig_example import wait_for

SETUP = link.Setup(usual=usual_of(Settings(), "twin"), is_open=False, port=0)


class Noted:
    """A desk that notes what it is asked."""

    def __init__(self) -> None:
        self.asked: list[Any] = []

    def stop(self, who: str) -> None:
        self.asked.append(who)

    def start(self) -> None:
        self.asked.append("start")

    def wish(self, wish: Any) -> None:
        self.asked.append(wish)


class Process:
    """A process that ends by itself, or has to be killed."""

    def __init__(self, *, hangs: bool = False) -> None:
        self.done: list[Any] = []
        self._hangs = hangs

    def wait(self, timeout: float | None = None) -> int:
        self.done.append(timeout)
        if self._hangs and timeout is not None:
            raise subprocess.TimeoutExpired("web", timeout)
        return 0

    def kill(self) -> None:
        self.done.append("kill")


class Ends(threading.Event):
    """Notes the pauses instead of waiting, and ends the work after so many lives."""

    def __init__(self, lives: int) -> None:
        super().__init__()
        self.pauses_s: list[float | None] = []
        self._lives = lives

    def wait(self, timeout: float | None = None) -> bool:
        self.pauses_s.append(timeout)
        if len(self.pauses_s) == self._lives:
            self.set()
        return self.is_set()


@pytest.fixture
def desk() -> Noted:
    return Noted()


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def server(desk: Noted, said: list[str]) -> WebServer:
    clock = SimpleNamespace(utc_now=lambda: NOW)
    machine = SimpleNamespace(settings=Settings(), clock=clock)
    opened = SimpleNamespace(machine=machine, source="twin")
    return WebServer(cast(Any, opened), cast(Any, desk), said.append, SETUP, LOCAL)


def work(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, lives_s: list[float], *sent: bytes
) -> tuple[list[float | None], list[bytes]]:
    """Let it work with processes that live for so long; the pauses between, and what they got."""
    now_s = [0.0]
    got: list[bytes] = []

    def spawn(its: socket.socket) -> Process:
        end = its.dup()
        now_s[0] += lives_s[len(got)]
        for message in sent:
            end.send(message)

        def live() -> None:
            with end, suppress(ConnectionResetError):
                got.append(end.recv(link.MAX_MESSAGE))

        threading.Thread(target=live).start()
        return Process()

    ends = Ends(len(lives_s))
    monkeypatch.setattr("rig.panel.server.time", SimpleNamespace(monotonic=lambda: now_s[0]))
    monkeypatch.setattr(server, "_spawn", spawn)
    monkeypatch.setattr(server, "_ends", ends)
    server._work()  # noqa: SLF001
    server._wishes.put(None)  # noqa: SLF001
    server._serve_wishes()  # noqa: SLF001
    return ends.pauses_s, got


# -- lives and pauses -----------------------------------------------------------------------------


def test_a_server_that_ends_soon_begins_again_after_ever_longer_pauses(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, said: list[str]
) -> None:
    pauses_s, got = work(server, monkeypatch, [0.1] * 9)
    assert pauses_s == [0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0]
    assert len(got) == 9
    assert said[0] == "The page's server ended; another one begins at once."
    assert said[1] == "The page's server ended; another one begins in 1 s."
    assert [float(line.split()[-2]) for line in said[1:]] == pauses_s[1:]


def test_a_server_that_has_lived_for_ten_seconds_begins_again_at_once(
    server: WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    pauses_s, _ = work(server, monkeypatch, [0.1, 9.9, 10.1, 10.1, 9.9, 9.9])
    assert pauses_s == [0.0, 1.0, 0.0, 0.0, 0.0, 1.0]


def test_each_life_is_told_first_of_the_rig_and_of_the_port_that_was_had(
    server: WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.port = 8612
    _, got = work(server, monkeypatch, [0.1, 0.1])
    assert [link.decode_setup(data).port for data in got] == [8612, 8612]
    assert link.decode_setup(got[0]).usual == SETUP.usual


@pytest.mark.parametrize("what", ["pair", "spawn"])
@pytest.mark.parametrize("number", [errno.EMFILE, errno.EAGAIN, errno.ENOMEM])
def test_a_server_that_cannot_be_begun_is_tried_again(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, said: list[str], what: str, number: int
) -> None:
    """No file left, no process, no memory: the page comes back when there is room again."""

    def fail(*_: Any) -> Any:
        raise OSError(number, os.strerror(number))

    if what == "pair":
        monkeypatch.setattr("rig.panel.server.pair", fail)
    else:
        monkeypatch.setattr(server, "_spawn", fail)
    monkeypatch.setattr(server, "_ends", ends := Ends(3))
    server._work()  # noqa: SLF001
    assert ends.pauses_s == [0.0, 1.0, 2.0]
    assert os.strerror(number) in said[0]
    assert "another one begins at once" in said[0]


def test_pairings_are_handed_to_the_next_life(
    server: WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = KeptSeats("12345678", 1, (("token", 1),), "token")
    _, got = work(server, monkeypatch, [0.1], link.encode(link.Keep(kept)))
    assert link.decode_setup(got[0]).kept is None
    _, got = work(server, monkeypatch, [0.1])
    assert link.decode_setup(got[0]).kept == kept


def test_a_stop_overtakes_a_wish_that_is_held_up(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, desk: Noted
) -> None:
    """As by a terminal that is stalled; also when so many wishes wait that the last ones go."""
    held, mine_its = threading.Event(), link.pair()
    monkeypatch.setattr(server, "_tell", lambda _: held.wait(30.0))
    with mine_its[0] as mine, mine_its[1] as its:
        serving = threading.Thread(target=server._serve_wishes)  # noqa: SLF001
        reading = threading.Thread(target=server._pass_on, args=(mine,))  # noqa: SLF001
        serving.start()
        reading.start()
        asker = link.Asker(its)
        for _ in range(100):
            asker.tell("a line")
        asker.stop("the page on device 1")
        its.shutdown(socket.SHUT_RDWR)
        reading.join(30.0)
        assert desk.asked == ["the page on device 1"]
        held.set()
        server._wishes.put(None)  # noqa: SLF001
        serving.join(30.0)


def test_another_server_waits_until_the_first_one_ends_and_is_told_what_is_known(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, desk: Noted, said: list[str]
) -> None:
    """No process can be made when it is needed; how many stops were met is known by then."""
    begun: list[tuple[socket.socket, Process]] = []

    def spawn(its: socket.socket) -> Process:
        if len(begun) == 2:
            raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))
        begun.append((its.dup(), Process()))
        return begun[-1][1]

    monkeypatch.setattr(server, "_spawn", spawn)
    server.publish(snapshot(stops=3))
    server.start()
    try:
        for number in range(2):
            wait_for(lambda number=number: len(begun) > number, "a server")  # type: ignore[misc]
            end = begun[number][0]
            end.settimeout(30.0)
            assert link.decode_setup(end.recv(link.MAX_MESSAGE)).usual == SETUP.usual
            assert link.decode_snapshot(end.recv(link.MAX_MESSAGE)).stops == 3
            link.Asker(end).alive()
            if number == 0:
                wait_for(lambda: len(begun) == 2, "the spare")
                end.close()
        link.Asker(begun[1][0]).stop("the page on device 1")
        wait_for(lambda: desk.asked == ["the page on device 1"], "the stop")
        assert said == [
            "The page's server ended; another one begins at once.",
            "No second server for the page could be begun (Too many open files).",
        ]
    finally:
        begun[1][0].close()
        server.stop()


def test_a_spare_that_nobody_needed_ends_with_the_server(
    server: WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine, its = link.pair()
    with mine, its:
        spare = Process()
        server._spare = _Server(mine, cast(Any, spare))  # noqa: SLF001
        server.stop()
        assert its.recv(link.MAX_MESSAGE) == b""
        assert spare.done == [STOP_S]


def test_a_server_that_falls_silent_is_killed_and_replaced(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, said: list[str]
) -> None:
    """As one that hangs, or that somebody stopped with SIGSTOP; one that begins has longer."""
    assert (BEGIN_S, SILENT_S, ALIVE_S) == (30.0, 1.5, 0.25)
    monkeypatch.setattr("rig.panel.server.SILENT_S", 0.05)
    monkeypatch.setattr(server, "_keep_spare", lambda: None)
    processes: list[Process] = []
    ends: list[socket.socket] = []

    def spawn(its: socket.socket) -> Process:
        ends.append(its.dup())
        link.Asker(its).alive()
        processes.append(Process())
        return processes[-1]

    monkeypatch.setattr(server, "_spawn", spawn)
    monkeypatch.setattr(server, "_ends", Ends(2))
    server._work()  # noqa: SLF001
    for end in ends:
        end.close()
    assert [process.done for process in processes] == [["kill", STOP_S]] * 2
    assert said[0] == "The page's server fell silent; another one begins at once."


def test_a_server_that_still_imports_is_not_silent(
    server: WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.panel.server.SILENT_S", 0.05)
    mine, its = link.pair()
    with mine, its:
        reading = threading.Thread(target=server._pass_on, args=(mine,))  # noqa: SLF001
        reading.start()
        reading.join(0.5)
        assert reading.is_alive()
        its.shutdown(socket.SHUT_RDWR)
        reading.join(30.0)


def test_a_server_that_does_not_end_is_killed() -> None:
    ends, hangs = Process(), Process(hangs=True)
    for process in (ends, hangs):
        WebServer._end(cast(Any, process))  # noqa: SLF001
    assert STOP_S == 5.0
    assert ends.done == [5.0]
    assert hangs.done == [5.0, "kill", None]


def test_the_servers_process_hears_neither_the_terminal_nor_its_keys(
    server: WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[Any] = []
    monkeypatch.setattr(
        "rig.panel.server.subprocess.Popen", lambda *words, **how: started.append((words, how))
    )
    mine, its = link.pair()
    with mine, its:
        server._listener = mine  # noqa: SLF001
        server._spawn(its)  # noqa: SLF001
        numbers = (mine.fileno(), its.fileno())
    ((words,), how) = started[0]
    assert words == [sys.executable, "-m", "rig.panel.web", *map(str, numbers)]
    nothing = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.DEVNULL)
    assert how == {"pass_fds": numbers, "start_new_session": True, **nothing}


# -- wishes ---------------------------------------------------------------------------------------


ONE = StudySeries(
    runs=1, fields={"bag": "Heron 2", "slide_number": 4}, options=SeriesOptions(quick=True)
)


def test_every_wish_reaches_the_desk(
    server: WebServer, monkeypatch: pytest.MonkeyPatch, desk: Noted, said: list[str]
) -> None:
    form = SeriesForm(runs="2", bag="Heron 1", gap="0.5", units="us", ready=True)
    messages: list[link.Message] = [
        link.Stop("the page on device 1"), link.Start(), link.SeriesMessage(form), link.Resume(),
        link.Reset(), link.Tell("a line"), link.EveningMessage(series=[ONE, ONE]),
    ]  # fmt: skip
    work(server, monkeypatch, [0.1], *map(link.encode, messages))
    stop, start, series, resume, reset, evening = desk.asked
    assert (stop, start) == ("the page on device 1", "start")
    assert (resume, reset) == (ResumeWish(), ResetWish())
    assert isinstance(series, SeriesWish)
    assert (series.is_ready, series.options) == (True, SeriesOptions())
    assert {r.session for r in series.requests} == {"2026-05-30"}, "by the machine's clock"
    assert [(r.repeat, r.bag, r.gap_mm, r.source) for r in series.requests] == [
        (1, "Heron 1", 12.7, "twin"),
        (2, "Heron 1", 12.7, "twin"),
    ]
    assert isinstance(evening, SeriesWish)
    (then,) = evening.then
    assert not evening.is_ready
    assert (evening.requests[0].bag, evening.requests[0].slide_number) == ("Heron 2", 4)
    assert (evening.options, then.options) == (ONE.options, ONE.options)
    assert said[-1] == "a line"


def test_a_message_that_makes_no_sense_ends_that_life_and_reaches_nobody(
    server: WebServer,
    monkeypatch: pytest.MonkeyPatch,
    desk: Noted,
    caplog: pytest.LogCaptureFixture,
) -> None:
    pauses_s, _ = work(server, monkeypatch, [0.1], b"\xc1", link.encode(link.Start()))
    assert pauses_s == [0.0]
    assert desk.asked == []
    assert "makes no sense" in caplog.text


# -- snapshots ------------------------------------------------------------------------------------


def test_a_snapshot_is_never_waited_for(server: WebServer) -> None:
    sent: list[tuple[bytes, int]] = []
    server.publish(snapshot())  # there is nobody yet
    server._link = cast(Any, SimpleNamespace(send=lambda *it: sent.append(it)))  # noqa: SLF001
    server.publish(snapshot())
    assert sent == [(link.encode(snapshot()), socket.MSG_DONTWAIT)]


def test_snapshots_that_nobody_takes_are_dropped(server: WebServer) -> None:
    mine, its = link.pair()
    with mine, its:
        server._link = mine  # noqa: SLF001
        for number in range(5000):
            server.publish(snapshot(time_s=float(number)))
        first = link.decode_snapshot(its.recv(link.MAX_MESSAGE))
        assert first.time_s == 0.0
        its.close()
        server.publish(snapshot())


# -- the port -------------------------------------------------------------------------------------


def test_a_port_is_had_at_once_again_and_one_that_is_taken_is_told() -> None:
    with listen(LOCAL, 0) as listener:
        host, port = listener.getsockname()
        assert host == LOCAL
        assert listener.getsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR)
        with pytest.raises(BadInputError, match=rf"port {port} \(address already in use\)"):
            listen(LOCAL, port)


def test_stopping_is_harmless_when_nothing_runs(server: WebServer) -> None:
    server.stop()
    server.stop()


@pytest.mark.parametrize(("is_open", "host"), [(False, "127.0.0.1"), (True, "0.0.0.0")])  # noqa: S104
def test_only_an_open_page_is_to_be_reached_from_elsewhere(is_open: bool, host: str) -> None:
    machine = SimpleNamespace(settings=Settings())
    opened = SimpleNamespace(machine=machine, source="rig")
    served = serve_panel(cast(Any, opened), cast(Any, None), port=0, is_open=is_open)
    assert {False: LOCAL, True: EVERYWHERE}[is_open] == host
    assert served.server._host == host  # noqa: SLF001
    assert served.server._setup.is_open is is_open  # noqa: SLF001
    assert served.server._setup.usual.rig_name == Settings().name  # noqa: SLF001
    assert served.viewer.publish == served.server.publish


class Probe:
    """A socket that finds the way to the network, or none."""

    has_network = True

    def __init__(self, *_: Any) -> None:
        self._own = "0.0.0.0"  # noqa: S104

    def __enter__(self) -> "Probe":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def connect(self, address: tuple[str, int]) -> None:
        assert address[0] == "192.0.2.1", "one that belongs to nobody, RFC 5737"
        if not self.has_network:
            raise OSError("Network is unreachable")
        self._own = "192.168.7.4"

    def getsockname(self) -> tuple[str, int]:
        return self._own, 40000


def test_addresses_are_those_under_which_the_page_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Tilt.example.org")
    monkeypatch.setattr("socket.socket", Probe)
    assert addresses(8600, is_open=False) == ["http://localhost:8600/"]
    by_name = "http://tilt.local:8600/"
    assert addresses(8600, is_open=True) == [by_name, "http://192.168.7.4:8600/"]
    monkeypatch.setattr(Probe, "has_network", False)
    assert addresses(8600, is_open=True) == [by_name]
