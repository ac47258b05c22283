"""The web server's process: `python -m rig.panel.web`, started by `rig.panel.server` alone.

It gets two open files: a socket that listens, and its end of the link. It ends when the other end
does, so that it never outlives the machine's process.
"""

import asyncio
import logging
import socket
import sys
import time
from pathlib import Path
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from rig.panel.app import Panel
from rig.panel.form import hints
from rig.panel.guard import FIRST_BYTES_S, LOCAL_NAMES, Doorkeeper, Guard, own_names
from rig.panel.link import MAX_MESSAGE, Asker, Setup, decode_setup, decode_snapshot
from rig.panel.seats import Seats
from rig.panel.stream import Hub

MAX_HEAD = 16384

log = logging.getLogger(__name__)


def main() -> None:
    """Serve until the link ends."""
    listener, end = (socket.socket(fileno=int(number)) for number in sys.argv[1:3])
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING)
    asyncio.run(serve(listener, end))


async def serve(listener: socket.socket, end: socket.socket) -> None:
    """Serve on a socket, with snapshots from the link and wishes to it."""
    setup = decode_setup(end.recv(MAX_MESSAGE))
    desk = Asker(end)
    seats = Seats(time.monotonic, needs_code=setup.is_open, announce=desk.tell)
    hub = Hub(seats, lambda units: hints(setup.usual, units))
    panel = panel_of(setup, desk, hub, seats)
    server = uvicorn.Server(configured(panel))

    def receive() -> None:
        data = end.recv(MAX_MESSAGE)
        if data:
            hub.publish(decode_snapshot(data))
        else:
            loop.remove_reader(end)
            hub.close()
            server.should_exit = True

    loop = asyncio.get_running_loop()
    loop.add_reader(end, receive)
    try:
        await server.serve(sockets=[listener])
    finally:
        if panel.study is not None:
            await panel.study.close()


def configured(panel: Panel) -> uvicorn.Config:
    """How the page is served."""
    return uvicorn.Config(
        panel.application(),
        http=_protocol(Doorkeeper()),
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
    )


def panel_of(setup: Setup, desk: Asker | None, hub: Hub, seats: Seats) -> Panel:
    """The application; without a desk it is the study's alone."""
    names = LOCAL_NAMES | own_names() if setup.is_open else LOCAL_NAMES
    guard = Guard(names, any_address=setup.is_open)
    study = None
    if setup.study:
        from rig.panel.study.pages import study_pages

        study = study_pages(Path(setup.study), seats, desk)
    return Panel(desk, hub, seats, guard, cookie=f"rig_panel_{setup.port}", study=study)


def _protocol(door: Doorkeeper) -> type[Any]:
    """The server's protocol, which turns away an address that holds too many connections."""

    class Kept(H11Protocol):
        _address: str | None = None
        _first: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            address = self.client[0] if self.client else ""
            if not door.comes(address):
                transport.abort()
                return
            self._address = address
            self._first = self.loop.call_later(FIRST_BYTES_S, self._too_slow)

        def _too_slow(self) -> None:
            if getattr(self, "scope", None) is None:
                self.transport.abort()

        def connection_lost(self, exc: Exception | None) -> None:
            super().connection_lost(exc)
            if self._first is not None:
                self._first.cancel()
            if self._address is not None:
                door.goes(self._address)
                self._address = None

    return Kept


if __name__ == "__main__":
    main()
