"""Starts the web server's process and looks after it; it may die and be replaced at any time.

A second process, with everything imported, waits for its first message. It takes over when the
first one dies or falls silent: a stop waits neither for imports nor for room for another process.
"""

import logging
import queue
import select
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import NamedTuple, Self

import msgspec

from rig.errors import RigError
from rig.opening import OpenRig
from rig.panel.desk import Desk, ResetWish, ResumeWish, SeriesWish
from rig.panel.form import requests_of
from rig.panel.link import (
    MAX_MESSAGE,
    Alive,
    EveningMessage,
    Keep,
    Message,
    Reset,
    Resume,
    SeriesMessage,
    Setup,
    Start,
    Stop,
    Tell,
    decode_message,
    encode,
    pair,
)
from rig.panel.listen import listen
from rig.panel.seats import KeptSeats, RefusedError
from rig.panel.view import Snapshot
from rig.procedures.series.log import SeriesOptions
from rig.procedures.studied import StudySeries, series_requests

STOP_S = 5.0
PAUSE_S = 1.0
"""Before another server begins where two ended soon; twice as long after each further one."""
LONGEST_PAUSE_S = 60.0
SOON_S = 10.0
BEGIN_S = 30.0
"""A server gives its first sign of life within this; a slow computer imports for some seconds."""
SILENT_S = 1.5
"""A server that gives none for so long hangs, or was stopped: it is killed and replaced."""
MOST_WISHES = 64
"""Wishes that wait to be fulfilled; more than that can only come from a page gone wrong."""

log = logging.getLogger(__name__)


class _Server(NamedTuple):
    """A web server's process; it does nothing before its first message."""

    link: socket.socket
    process: "subprocess.Popen[bytes]"


class WebServer:
    """The web server's process, from outside; open it with `with`.

    Args:
        opened: the rig; gives the settings that a series is planned with.
        desk: takes the wishes of pages.
        tell: gets lines for the rig's terminal, pairing codes among them.
        setup: what the server must know; its port may be 0 for any that is free.
        host: address to listen on.
    """

    def __init__(
        self,
        opened: OpenRig,
        desk: Desk,
        tell: Callable[[str], None],
        setup: Setup,
        host: str,
    ) -> None:
        self.port = setup.port
        self.process: subprocess.Popen[bytes] | None = None
        self._opened = opened
        self._desk = desk
        self._tell = tell
        self._setup = setup
        self._host = host
        self._listener: socket.socket | None = None
        self._link: socket.socket | None = None
        self._spare: _Server | None = None
        self._latest: Snapshot | None = None
        self._threads: list[threading.Thread] = []
        self._ends = threading.Event()
        self._wishes: queue.Queue[Message | None] = queue.Queue(MOST_WISHES)
        self._kept: KeptSeats | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def publish(self, snap: Snapshot) -> None:
        """Hand a snapshot over; one that the server does not take in time is dropped."""
        link, self._latest = self._link, snap
        if link is not None:
            try:
                link.send(encode(snap), socket.MSG_DONTWAIT)
            except OSError:
                return  # it is busy, or between two lives

    def start(self) -> None:
        """Take the port and begin to serve.

        Raises:
            BadInputError: the port cannot be had.
        """
        self._listener = listen(self._host, self.port)
        self.port = self._listener.getsockname()[1]
        self._ends.clear()
        self._threads = [
            threading.Thread(target=target, name=name, daemon=True)
            for name, target in (("web", self._work), ("wishes", self._serve_wishes))
        ]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End the server and all its connections; harmless when it does not run."""
        self._ends.set()
        link = self._link
        if link is not None:
            with suppress(OSError):  # it has just ended by itself
                link.shutdown(socket.SHUT_RDWR)
        if self._threads:
            with suppress(queue.Full):
                self._wishes.put(None, timeout=STOP_S)
        for thread in self._threads:
            thread.join(2 * STOP_S)
        self._threads = []
        if self._spare is not None:
            self._spare.link.close()
            self._end(self._spare.process)
            self._spare = None
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def _work(self) -> None:
        """Keep a server running until `stop`; only that ends this thread."""
        n_soon = 0
        while not self._ends.is_set():
            begun_s, why = time.monotonic(), "ended"
            try:
                self._live()
            except TimeoutError:
                why = "fell silent"
            except Exception as error:  # no memory, no more files, no more processes
                why = f"could not be kept up ({error})"
            n_soon = 0 if time.monotonic() - begun_s > SOON_S else n_soon + 1
            pause_s = 0.0 if n_soon < 2 else min(PAUSE_S * 2 ** (n_soon - 2), LONGEST_PAUSE_S)
            if not self._ends.is_set():
                when = f"begins in {pause_s:g} s" if pause_s else "begins at once"
                self._tell(f"The page's server {why}; another one {when}.")
                self._ends.wait(pause_s)

    def _live(self) -> None:
        """One life of the web server.

        Raises:
            TimeoutError: it fell silent.
            OSError: it could not be begun.
        """
        server, self._spare = self._spare or self._begun(), None
        with server.link:
            self.process = server.process
            try:
                setup = msgspec.structs.replace(self._setup, port=self.port, kept=self._kept)
                server.link.send(encode(setup))
                if self._latest is not None:  # it tells how many stops were met before
                    server.link.send(encode(self._latest))
                self._link = server.link
                if not self._ends.is_set():
                    self._pass_on(server.link)
            finally:
                self._link = None
                if not self._ends.is_set():
                    server.process.kill()  # without its link, or silent, it is of no use
                self._end(server.process)

    def _begun(self) -> _Server:
        """A process that waits for its first message."""
        mine, its = pair()
        with its:
            try:
                return _Server(mine, self._spawn(its))
            except BaseException:
                mine.close()
                raise

    def _keep_spare(self) -> None:
        """Have another server ready, as far as there is room for one."""
        if self._spare is None and not self._ends.is_set():
            try:
                self._spare = self._begun()
            except OSError as error:
                self._tell(f"No second server for the page could be begun ({error.strerror}).")

    def _spawn(self, its: socket.socket) -> "subprocess.Popen[bytes]":
        assert self._listener is not None  # noqa: S101 - there is one from `start` to `stop`
        numbers = (self._listener.fileno(), its.fileno())
        words = [sys.executable, "-m", "rig.panel.web", *map(str, numbers)]
        # A session of its own: Ctrl-C in the terminal is for the machine, which ends both.
        return subprocess.Popen(  # noqa: S603 - our own module with two numbers
            words,
            pass_fds=numbers,
            stdin=subprocess.DEVNULL,
            # What it has to say comes over the link: writing to a stalled terminal would stop it.
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def _pass_on(self, link: socket.socket) -> None:
        """Read until the link ends; a stop is handed over here and now, all else is queued.

        Nothing in this thread prints, plans or waits, so no other wish can hold up a stop.

        Raises:
            TimeoutError: no sign of life came in time.
        """
        # A time-out of the socket itself would let `publish` wait, too.
        heard, patience_s = select.poll(), BEGIN_S
        heard.register(link, select.POLLIN)
        try:
            while True:
                if not heard.poll(1e3 * patience_s):
                    raise TimeoutError
                if not (data := link.recv(MAX_MESSAGE)):
                    return
                message = decode_message(data)
                if isinstance(message, Stop):
                    self._desk.stop(message.who)
                elif isinstance(message, Alive):
                    if patience_s != SILENT_S:
                        patience_s = SILENT_S
                        self._keep_spare()  # not before: both would begin at once, and slowly
                else:
                    with suppress(queue.Full):
                        self._wishes.put_nowait(message)
        except TimeoutError:
            raise
        except OSError:
            return
        except Exception:
            log.exception("the web server sent something that makes no sense")

    def _serve_wishes(self) -> None:
        """Fulfil what was queued, until `stop`."""
        while (message := self._wishes.get()) is not None:
            try:
                self._take(message)
            except (RigError, RefusedError) as error:
                self._tell(str(error))
            except Exception:
                log.exception("a wish of the page could not be passed on")

    def _take(self, message: Message) -> None:
        opened, desk = self._opened, self._desk
        match message:
            case Keep(kept):
                self._kept = kept
            case Start():
                desk.start()
            case SeriesMessage(form):
                now = opened.machine.clock.utc_now()
                requests = requests_of(form, opened.machine.settings, opened.source, now)
                desk.wish(SeriesWish(requests, SeriesOptions(), form.ready))
            case EveningMessage(series=series):
                first, *then = map(self._evening, series)
                desk.wish(first._replace(then=then))
            case Resume():
                desk.wish(ResumeWish())
            case Reset():
                desk.wish(ResetWish())
            case Tell(text):
                self._tell(text)

    def _evening(self, series: StudySeries) -> SeriesWish:
        machine = self._opened.machine
        requests = series_requests(
            series, machine.settings, source=self._opened.source, started=machine.clock.utc_now()
        )
        return SeriesWish(requests, series.options, is_ready=False)

    @staticmethod
    def _end(process: "subprocess.Popen[bytes]") -> None:
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
