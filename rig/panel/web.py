"""The web server's process: `python -m rig.panel.web`, started by `rig.panel.server` alone.

It gets two open files: a socket that listens, and its end of the link. It ends when the other end
does, so that it never outlives the machine's process. Until the first message comes it is a spare.
"""

import asyncio
import errno
import logging
import socket
import sys
import time
from pathlib import Path
from typing import Any

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from rig.panel.app import Panel
from rig.panel.form import hints
from rig.panel.guard import (
    LOCAL_NAMES,
    REQUEST_S,
    UNHEARD_MS,
    Doorkeeper,
    Guard,
    own_names,
)
from rig.panel.link import MAX_MESSAGE, Asker, Setup, decode_setup, decode_snapshot
from rig.panel.seats import Seats
from rig.panel.stream import Hub

MAX_HEAD = 16384
MAX_TOLD = 4000
"""Characters of a log record; a message must fit into the link."""

ALIVE_S = 0.25
"""It gives a sign of life so often."""

DAWDLING = (h11.IDLE, h11.SEND_BODY)
"""States of a client whose request is not whole."""

log = logging.getLogger(__name__)


def main() -> None:
    """Serve until the link ends."""
    listener, end = (socket.socket(fileno=int(number)) for number in sys.argv[1:3])
    logging.basicConfig(handlers=[_Telling(Asker(end))], level=logging.WARNING)
    try:
        asyncio.run(serve(listener, end))
    except Exception:
        log.exception("the web server fails")
        sys.exit(1)


class _Telling(logging.Handler):
    """Log records go over the link: a terminal might be stalled, and would hold up every page."""

    def __init__(self, asker: Asker) -> None:
        super().__init__()
        self._asker = asker

    def emit(self, record: logging.LogRecord) -> None:
        error = record.exc_info[1] if record.exc_info else None
        why = "" if error is None else f" ({error!r})"
        self._asker.tell(f"The page's server: {record.getMessage()}{why}"[:MAX_TOLD])


async def serve(listener: socket.socket, end: socket.socket) -> None:
    """Serve on a socket, with snapshots from the link and wishes to it."""
    first = end.recv(MAX_MESSAGE)
    if not first:
        return  # a spare that nobody needed
    setup = decode_setup(first)
    desk = Asker(end)
    seats = Seats(
        time.monotonic,
        needs_code=setup.is_open,
        announce=desk.tell,
        keep=desk.keep,
        kept=setup.kept,
    )
    door = Doorkeeper()
    hub = Hub(seats, lambda units: hints(setup.usual, units))
    panel = panel_of(setup, desk, hub, seats, door)
    server = uvicorn.Server(configured(panel, door, setup))

    def receive() -> None:
        try:
            data = end.recv(MAX_MESSAGE)
        except OSError:
            data = b""
        if data:
            hub.publish(decode_snapshot(data))
        else:
            loop.remove_reader(end)
            hub.close()
            server.should_exit = True

    def on_error(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Give up where no connection can be taken any more; the spare has files of its own."""
        if getattr(context.get("exception"), "errno", None) == errno.EMFILE:
            desk.tell("The page's server has no file left for another connection, and ends.")
            end.shutdown(socket.SHUT_RDWR)
        else:
            loop.default_exception_handler(context)

    async def live() -> None:
        while True:
            desk.alive()
            await asyncio.sleep(ALIVE_S)

    loop = asyncio.get_running_loop()
    loop.add_reader(end, receive)
    loop.set_exception_handler(on_error)
    living = loop.create_task(live())
    try:
        await server.serve(sockets=[listener])
    finally:
        living.cancel()
        if panel.study is not None:
            await panel.study.close()


def configured(panel: Panel, door: Doorkeeper, setup: Setup) -> uvicorn.Config:
    """How the page is served."""
    return uvicorn.Config(
        panel.application(),
        http=_protocol(door),
        ws="none",
        lifespan="off",
        log_config=None,
        log_level="critical",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=MAX_HEAD,
        ssl_certfile=setup.certificate or None,
        ssl_keyfile=setup.key or None,
    )


def panel_of(setup: Setup, desk: Asker | None, hub: Hub, seats: Seats, door: Doorkeeper) -> Panel:
    """The application; without a desk it is the study's alone."""
    names = LOCAL_NAMES | own_names() if setup.is_open else LOCAL_NAMES
    is_encrypted = bool(setup.certificate)
    guard = Guard(names, any_address=setup.is_open, is_encrypted=is_encrypted)
    study = None
    if setup.study:
        from rig.panel.study.pages import study_pages

        study = study_pages(Path(setup.study), seats, desk)
    cookie = f"rig_panel_{setup.port}"
    return Panel(
        desk,
        hub,
        seats,
        guard,
        cookie=cookie,
        study=study,
        welcome=door.welcome,
        is_encrypted=is_encrypted,
    )


def _protocol(door: Doorkeeper) -> type[Any]:
    """The server's protocol, which turns away an address that holds too many connections.

    It also ends connections that dawdle: before the head, in the body or after a request.
    """

    class Kept(H11Protocol):
        _address: str | None = None
        _timer: asyncio.TimerHandle | None = None
        _heard_s = 0.0

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            address = self.client[0] if self.client else ""
            if not door.comes(address):
                transport.abort()
                return
            self._address = address
            if (own := transport.get_extra_info("socket")) is not None:
                own.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, UNHEARD_MS)
            self._heard()

        def _heard(self) -> None:
            """A whole request is there: the next one has its time from now on."""
            self._heard_s = self.loop.time()
            if self._timer is None:
                self._timer = self.loop.call_later(REQUEST_S, self._look)

        def _look(self) -> None:
            self._timer = None
            if self.conn.their_state not in DAWDLING:
                self._heard()  # it is being answered, which a stream is for hours
                return
            left_s = self._heard_s + REQUEST_S - self.loop.time()
            if left_s <= 0:
                self.transport.abort()
            else:
                self._timer = self.loop.call_later(left_s, self._look)

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self.conn.their_state not in DAWDLING:
                self._heard()

        def connection_lost(self, exc: Exception | None) -> None:
            super().connection_lost(exc)
            if self._timer is not None:
                self._timer.cancel()
            if self._address is not None:
                door.goes(self._address)
                self._address = None

    return Kept


if __name__ == "__main__":
    main()
