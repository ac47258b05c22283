"""The web server in a thread of its own; it may die and begin anew without the machine noticing."""

import asyncio
import logging
import socket
import threading
from typing import Any, Self

import uvicorn
from starlette.applications import Starlette
from uvicorn.protocols.http.h11_impl import H11Protocol

from rig.errors import BadInputError
from rig.panel.guard import FIRST_BYTES_S, Doorkeeper
from rig.panel.stream import Hub

STOP_S = 5.0
PAUSE_S = 1.0
"""Before a server that failed begins anew."""
MAX_HEAD = 16384

log = logging.getLogger(__name__)


class WebServer:
    """Serves an application on one address; open it with `with`.

    Args:
        application: what answers.
        hub: is told of the server's loop.
        host: address to listen on.
        port: 0 takes any that is free.
    """

    def __init__(self, application: Starlette, hub: Hub, host: str, port: int) -> None:
        self.port = port
        self._application = application
        self._hub = hub
        self._host = host
        self._socket: socket.socket | None = None
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._ends = threading.Event()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Take the port and begin to serve.

        Raises:
            BadInputError: the port cannot be had.
        """
        self._socket = self._listen()
        self._ends.clear()
        self._thread = threading.Thread(target=self._work, name="web", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End all connections and wait for the thread; harmless when it does not run."""
        self._ends.set()
        if self._server is not None:
            self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(STOP_S)
            self._thread = None

    def _listen(self) -> socket.socket:
        family = socket.AF_INET6 if ":" in self._host else socket.AF_INET
        listener = socket.socket(family, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((self._host, self.port))
            # From here on a browser that comes early waits, instead of being turned away.
            listener.listen()
        except OSError as error:
            listener.close()
            raise BadInputError(
                f"The page cannot be served on {self._host}, port {self.port}"
                f" ({(error.strerror or str(error)).lower()}): choose another with --port."
            ) from error
        self.port = listener.getsockname()[1]
        return listener

    def _work(self) -> None:
        """Serve until `stop`; a server that fails is followed by another one."""
        while not self._ends.is_set():
            try:
                listener, self._socket = self._socket or self._listen(), None
                try:
                    asyncio.run(self._serve(listener))
                finally:
                    listener.close()
            except Exception:
                log.exception("the web server failed; another one begins")
            if self._ends.wait(0.0 if self._ends.is_set() else PAUSE_S):
                return

    async def _serve(self, listener: socket.socket) -> None:
        config = uvicorn.Config(
            self._application,
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
        self._server = server = uvicorn.Server(config)
        self._hub.open()
        ending = asyncio.ensure_future(self._close_streams(server))
        try:
            await server.serve(sockets=[listener])
        finally:
            ending.cancel()
            self._hub.close()

    async def _close_streams(self, server: uvicorn.Server) -> None:
        """Streams never end by themselves, and the server waits for them."""
        while not server.should_exit:
            await asyncio.sleep(0.1)
        self._hub.close()


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
