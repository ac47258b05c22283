"""Starts the web server's process and looks after it; it may die and be replaced at any time."""

import logging
import queue
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from typing import Self

import msgspec

from rig.opening import OpenRig
from rig.panel.desk import Desk, ResetWish, ResumeWish, SeriesWish
from rig.panel.form import requests_of
from rig.panel.link import (
    MAX_MESSAGE,
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
from rig.panel.seats import KeptSeats
from rig.panel.view import Snapshot
from rig.procedures.series.log import SeriesOptions
from rig.procedures.studied import StudySeries, series_requests

STOP_S = 5.0
PAUSE_S = 1.0
"""Before a server that ended begins anew; twice as long after each that ended soon."""
LONGEST_PAUSE_S = 60.0
SOON_S = 10.0
MOST_WISHES = 64
"""Wishes that wait to be fulfilled; more than that can only come from a page gone wrong."""

log = logging.getLogger(__name__)


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
        link = self._link
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
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def _work(self) -> None:
        """Keep a server running until `stop`; only that ends this thread."""
        pause_s = PAUSE_S
        while not self._ends.is_set():
            begun_s, why = time.monotonic(), "ended"
            try:
                self._live()
            except Exception as error:  # no memory, no more files, no more processes
                why = f"could not be kept up ({error})"
            has_lasted = time.monotonic() - begun_s > SOON_S
            pause_s = PAUSE_S if has_lasted else min(2 * pause_s, LONGEST_PAUSE_S)
            if not self._ends.is_set():
                self._tell(f"The page's server {why}; another one begins in {pause_s:g} s.")
                self._ends.wait(pause_s)

    def _live(self) -> None:
        """One life of the web server."""
        mine, its = pair()
        with mine:
            with its:
                process = self._spawn(its)
            self.process = process
            try:
                setup = msgspec.structs.replace(self._setup, port=self.port, kept=self._kept)
                mine.send(encode(setup))
                self._link = mine
                if not self._ends.is_set():
                    self._pass_on(mine)
            finally:
                self._link = None
                self._end(process)

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
        """
        try:
            while data := link.recv(MAX_MESSAGE):
                message = decode_message(data)
                if isinstance(message, Stop):
                    self._desk.stop(message.who)
                else:
                    with suppress(queue.Full):
                        self._wishes.put_nowait(message)
        except OSError:
            return
        except Exception:
            log.exception("the web server sent something that makes no sense")

    def _serve_wishes(self) -> None:
        """Fulfil what was queued, until `stop`."""
        while (message := self._wishes.get()) is not None:
            try:
                self._take(message)
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
                requests = requests_of(form, opened.machine.settings, opened.source)
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
        opened = self._opened
        requests = series_requests(
            series, opened.machine.settings, source=opened.source, started=datetime.now(UTC)
        )
        return SeriesWish(requests, series.options, is_ready=False)

    @staticmethod
    def _end(process: "subprocess.Popen[bytes]") -> None:
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
