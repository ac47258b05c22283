"""The web server itself, in a thread of this process: who gets in, and for how long."""

import asyncio
import errno
import gc
import logging
import socket
import threading
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import pytest
import uvicorn
from uvicorn.server import ServerState

from rig.panel import link, web
from rig.panel.form import usual_of
from rig.panel.guard import Doorkeeper
from rig.settings.model import Settings
from tests.panel.client import Client
from tests.panel.jumping import JumpingLoop
from tests.panel.paper import IDLE
from tests.panel.rig_example import wait_for


class Served:
    """A web server, with the machine's end of its link in the test's hands."""

    def __init__(self, end: socket.socket, port: int, thread: threading.Thread) -> None:
        self.end = end
        self.port = port
        self.thread = thread

    def told(self) -> link.Message:
        """The next message; signs of life and pairings that are to be kept are passed over."""
        message: link.Message = link.decode_message(self.end.recv(link.MAX_MESSAGE))
        return self.told() if isinstance(message, link.Keep | link.Alive) else message


@contextmanager
def served(*, is_open: bool) -> Iterator[Served]:
    """Serve until the block ends."""
    mine, its = link.pair()
    mine.settimeout(30.0)
    with mine, its, socket.create_server(("127.0.0.1", 0)) as listener:
        mine.send(
            link.encode(link.Setup(usual=usual_of(Settings(), "twin"), is_open=is_open, port=8612))
        )
        work = threading.Thread(target=lambda: asyncio.run(web.serve(listener, its)))
        work.start()
        try:
            yield Served(mine, listener.getsockname()[1], work)
        finally:
            mine.close()
            work.join(30.0)
            assert not work.is_alive()


@pytest.fixture(scope="module")
def open_web() -> Iterator[Served]:
    """A server for the whole network; what the code was is not kept."""
    with served(is_open=True) as web_server:
        web_server.end.send(link.encode(IDLE))
        assert web_server.told().text.startswith("Pairing code")  # type: ignore[union-attr]
        client = Client(web_server.port)
        wait_for(lambda: client.ask("GET", "/snapshot").status == 200, "the snapshot")
        yield web_server


@pytest.fixture
def client(open_web: Served) -> Client:
    return Client(open_web.port)


def test_snapshots_come_from_the_link_and_wishes_go_to_it(open_web: Served, client: Client) -> None:
    open_web.end.send(link.encode(IDLE._replace(angle_deg=33.25)))
    wait_for(lambda: client.look()["angle"]["text"] == "33.2°", "the angle")
    assert client.post("/stop").status == 202
    assert open_web.told() == link.Stop("the page on a device that only watches")


def test_forms_are_hinted_at_with_the_rigs_own_values(open_web: Served) -> None:
    with socket.create_connection(("127.0.0.1", open_web.port), 30.0) as connection:
        connection.sendall(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        got = b""
        while b'"gap_label"' not in got:
            got += connection.recv(65536)
    assert b'"rig_name":"simulated: the twin"' in got


def test_the_server_does_not_say_what_it_is_made_of(client: Client) -> None:
    assert "server" not in client.ask("GET", "/").headers


def test_names_of_this_computer_and_addresses_are_taken_where_the_network_is_let_in(
    open_web: Served,
) -> None:
    own = socket.gethostname().lower().split(".")[0]
    for host in (own, f"{own}.local", "192.168.7.4", "localhost"):
        assert Client(open_web.port, host).ask("GET", "/").status == 200
    assert Client(open_web.port, "evil.example").ask("GET", "/").status == 421


def test_no_header_changes_the_address_that_guesses_are_counted_for(client: Client) -> None:
    statuses = [
        client.post("/pair", {"code": "0"}, X_Forwarded_For=f"10.0.0.{i}").status for i in range(6)
    ]
    assert statuses == [403] * 5 + [429]


def test_one_address_holds_24_connections_and_no_more() -> None:
    with served(is_open=False) as web_server:
        calls = [socket.create_connection(("127.0.0.1", web_server.port), 30.0) for _ in range(30)]
        try:
            statuses = [_status_of(call) for call in calls]
        finally:
            for call in calls:
                call.close()
        assert statuses == [b"HTTP/1.1 200"] * 24 + [b""] * 6
        wait_for(lambda: Client(web_server.port).post("/stop").status == 202, "the stop")


def _status_of(call: socket.socket) -> bytes:
    """Ask for the stream, which keeps the connection; empty when it is turned away."""
    try:
        call.sendall(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        return call.recv(12)
    except ConnectionError:
        return b""


@pytest.mark.parametrize(("size", "is_taken"), [(16_000, True), (16_700, False)])
def test_a_head_has_16384_bytes_at_most(open_web: Served, size: int, is_taken: bool) -> None:
    head = b"GET /icon.svg HTTP/1.1\r\nHost: localhost\r\nX: "
    with socket.create_connection(("127.0.0.1", open_web.port), 5.0) as connection:
        connection.sendall(head.ljust(size, b"x"))
        if is_taken:
            connection.sendall(b"\r\n\r\n")
        answer = connection.recv(12)
    assert answer == (b"HTTP/1.1 200" if is_taken else b"HTTP/1.1 400")


def test_on_this_computer_alone_watching_pairs_under_the_ports_own_cookie() -> None:
    with served(is_open=False) as web_server:
        client = Client(web_server.port)
        assert client.watch_once().headers["set-cookie"].startswith("rig_panel_8612=")
        for host in ("192.168.7.4", socket.gethostname()):
            assert Client(web_server.port, host).ask("GET", "/").status == 421
        with socket.create_connection(("127.0.0.1", web_server.port), 30.0) as watching:
            watching.sendall(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert watching.recv(12) == b"HTTP/1.1 200"
            web_server.end.close()
            web_server.thread.join(30.0)
            assert not web_server.thread.is_alive(), "it ends with the link, whoever watches"
            while watching.recv(65536):
                pass


def test_it_shows_signs_of_life() -> None:
    with served(is_open=False) as web_server:
        for _ in range(3):
            message: link.Message = link.Start()
            while not isinstance(message, link.Alive):
                message = link.decode_message(web_server.end.recv(link.MAX_MESSAGE))


def test_a_spare_that_nobody_needed_ends_without_a_word() -> None:
    mine, its = link.pair()
    with its, socket.create_server(("127.0.0.1", 0)) as listener:
        mine.close()
        asyncio.run(web.serve(listener, its))


class Full(socket.socket):
    """Listens while there is no room for what comes."""

    def accept(self) -> Any:
        raise OSError(errno.EMFILE, "Too many open files")


def test_a_server_that_can_take_no_connection_any_more_ends() -> None:
    """Another one, with files of its own, can."""
    mine, its = link.pair()
    mine.settimeout(30.0)
    with mine, its, Full(fileno=socket.create_server(("127.0.0.1", 0)).detach()) as listener:
        setup = link.Setup(usual=usual_of(Settings(), "twin"), is_open=False, port=8612)
        mine.send(link.encode(setup))
        work = threading.Thread(target=lambda: asyncio.run(web.serve(listener, its)))
        work.start()
        told = []
        with socket.create_connection(listener.getsockname(), 30.0):
            while data := mine.recv(link.MAX_MESSAGE):
                told.append(link.decode_message(data))
        work.join(30.0)
        assert not work.is_alive()
    why = "The page's server has no file left for another connection, and ends."
    assert link.Tell(why) in told


def test_what_it_logs_goes_to_the_machine_and_no_terminal() -> None:
    mine, its = link.pair()
    with mine, its:
        handler = web._Telling(link.Asker(its))  # noqa: SLF001
        for text, error in (("y" * 9000, None), ("no room", OSError(24, "Too many open files"))):
            trace = None if error is None else (OSError, error, None)
            handler.emit(logging.LogRecord("x", logging.WARNING, "x", 1, "%s", (text,), trace))
        long, short = (link.decode_message(mine.recv(link.MAX_MESSAGE)) for _ in range(2))
    assert long == link.Tell(f"The page's server: {'y' * 9000}"[:4000])
    assert short == link.Tell("The page's server: no room (OSError(24, 'Too many open files'))"), (
        "one line: a traceback would fill the terminal each second"
    )


# -- connections ----------------------------------------------------------------------------------

WHOLE = b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"


class Transport(asyncio.Transport):
    """One end of a connection from an address."""

    def __init__(self, address: str, own: Any = None) -> None:
        super().__init__({"peername": (address, 50000), "socket": own})
        self.is_aborted = False

    def abort(self) -> None:
        self.is_aborted = True

    def close(self) -> None:
        pass

    def is_closing(self) -> bool:
        return self.is_aborted

    def write(self, data: Any) -> None:
        pass


class Street:
    """Connections that come and go."""

    def __init__(self, most: int = 24, *, answers: bool = False) -> None:
        async def application(scope: Any, receive: Any, send: Any) -> None:
            if not answers:
                await asyncio.sleep(1000.0)
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b""})

        self._kind = web._protocol(Doorkeeper(most))  # noqa: SLF001
        self._config = uvicorn.Config(application, http=self._kind, ws="none")
        self._config.load()

    def come(self, address: str = "10.0.0.1", own: Any = None) -> SimpleNamespace:
        """Another connection."""
        transport = Transport(address, own)
        protocol = self._kind(self._config, ServerState(), {})
        protocol.connection_made(transport)
        return SimpleNamespace(transport=transport, protocol=protocol)


def play(scene: Any) -> None:
    """Run a scene in a loop whose time jumps."""
    with asyncio.Runner(loop_factory=JumpingLoop) as runner:
        runner.run(scene())


HALF = b"POST /stop HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9\r\n\r\nhalf"


@pytest.mark.parametrize(
    ("sent", "is_closed"),
    [(b"", True), (WHOLE[:-2], True), (HALF, True), (WHOLE, False), (HALF + b" more", False)],
)
def test_a_connection_without_a_whole_request_after_ten_seconds_is_closed(
    sent: bytes, is_closed: bool
) -> None:
    async def scene() -> None:
        caller = Street().come()
        await asyncio.sleep(9.0)
        if sent:
            caller.protocol.data_received(sent)
        await asyncio.sleep(0.9)
        assert not caller.transport.is_aborted
        await asyncio.sleep(0.2)
        assert caller.transport.is_aborted is is_closed
        await asyncio.sleep(50.0)
        assert caller.transport.is_aborted is is_closed, "an answer may take as long as it likes"

    play(scene)


def test_a_second_request_has_ten_seconds_as_well() -> None:
    """Also one that comes a letter at a time, which keeps the server's own timer away."""

    async def scene() -> None:
        caller = Street(answers=True).come()
        await asyncio.sleep(5.0)
        caller.protocol.data_received(WHOLE)
        await asyncio.sleep(4.0)
        for letter in WHOLE[:4]:
            assert not caller.transport.is_aborted
            caller.protocol.data_received(bytes([letter]))
            await asyncio.sleep(1.5)
        await asyncio.sleep(0.1)
        assert caller.transport.is_aborted

    play(scene)


def test_a_device_that_has_gone_without_a_word_loses_its_place() -> None:
    class Own:
        def __init__(self) -> None:
            self.options: list[Any] = []

        def getsockname(self) -> tuple[str, int]:
            return "127.0.0.1", 8600

        getpeername = getsockname

        def setsockopt(self, *option: int) -> None:
            self.options.append(option)

    async def scene() -> None:
        own = Own()
        Street().come(own=own)
        assert own.options == [(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, 20_000)]

    play(scene)


@pytest.mark.parametrize("sent", [b"", HALF])
def test_a_connection_that_has_ended_is_not_closed_once_more(sent: bytes) -> None:
    async def scene() -> None:
        caller = Street().come()
        if sent:
            caller.protocol.data_received(sent)
        caller.protocol.connection_lost(None)
        await asyncio.sleep(11.0)
        assert not caller.transport.is_aborted

    play(scene)


def test_nothing_is_kept_of_a_connection_that_has_ended() -> None:
    """A server that runs for weeks would look after each of them every ten seconds."""

    async def scene() -> None:
        caller = Street().come()
        kept = weakref.ref(caller.protocol)
        caller.protocol.connection_lost(None)
        del caller
        gc.collect()
        await asyncio.sleep(11.0)
        assert kept() is None

    play(scene)


def test_an_address_that_holds_too_many_connections_is_turned_away() -> None:
    async def scene() -> None:
        street = Street(2)
        first, second, third = (street.come() for _ in range(3))
        assert [one.transport.is_aborted for one in (first, second, third)] == [False, False, True]
        assert not street.come("10.0.0.2").transport.is_aborted
        third.protocol.connection_lost(None)
        assert street.come().transport.is_aborted, "one that was turned away makes no room"
        first.protocol.connection_lost(None)
        assert not street.come().transport.is_aborted
        assert street.come().transport.is_aborted

    play(scene)


def test_24_connections_are_the_most() -> None:
    async def scene() -> None:
        street = Street()
        turned_away = [street.come().transport.is_aborted for _ in range(25)]
        assert turned_away == [False] * 24 + [True]

    play(scene)
