"""Starts the web server's process and looks after it; it may die and begin anew at any time."""

import logging
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import Self

import msgspec

from rig.opening import OpenRig
from rig.panel.desk import Desk, ResetWish, ResumeWish, SeriesWish
from rig.panel.form import evening_requests, requests_of
from rig.panel.link import (
    MAX_MESSAGE,
    EveningMessage,
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
from rig.panel.view import Snapshot
from rig.procedures.series_log import SeriesOptions

STOP_S = 5.0
PAUSE_S = 1.0
"""Before a server that ended begins anew; twice as long after each that ended soon."""
LONGEST_PAUSE_S = 60.0
SOON_S = 10.0

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
        self._thread: threading.Thread | None = None
        self._ends = threading.Event()

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
        self._thread = threading.Thread(target=self._work, name="web", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the server and all its connections; harmless when it does not run."""
        self._ends.set()
        if self._link is not None:
            self._link.shutdown(socket.SHUT_RDWR)
        if self._thread is not None:
            self._thread.join(2 * STOP_S)
            self._thread = None
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def _work(self) -> None:
        """Keep a server running until `stop`, and pass its wishes on."""
        pause_s = PAUSE_S
        while not self._ends.is_set():
            begun_s = time.monotonic()
            mine, its = pair()
            with mine:
                with its:
                    process = self._spawn(its)
                self.process = process
                try:
                    mine.send(encode(msgspec.structs.replace(self._setup, port=self.port)))
                    self._link = mine
                    if not self._ends.is_set():
                        self._pass_on(mine)
                finally:
                    self._link = None
                    self._end(process)
            has_lasted = time.monotonic() - begun_s > SOON_S
            pause_s = PAUSE_S if has_lasted else min(2 * pause_s, LONGEST_PAUSE_S)
            if not self._ends.wait(pause_s):
                log.warning("the web server has ended; another one begins")

    def _spawn(self, its: socket.socket) -> "subprocess.Popen[bytes]":
        assert self._listener is not None  # noqa: S101 - there is one from `start` to `stop`
        numbers = (self._listener.fileno(), its.fileno())
        words = [sys.executable, "-m", "rig.panel.web", *map(str, numbers)]
        # A session of its own: Ctrl-C in the terminal is for the machine, which ends both.
        return subprocess.Popen(  # noqa: S603 - our own module with two numbers
            words, pass_fds=numbers, stdin=subprocess.DEVNULL, start_new_session=True
        )

    def _pass_on(self, link: socket.socket) -> None:
        """Until the link ends."""
        try:
            while data := link.recv(MAX_MESSAGE):
                self._take(decode_message(data))
        except OSError:
            return
        except Exception:
            log.exception("the web server sent something that makes no sense")

    def _take(self, message: Message) -> None:
        opened, desk = self._opened, self._desk
        match message:
            case Stop(who):
                desk.stop(who)
            case Start():
                desk.start()
            case SeriesMessage(form):
                requests = requests_of(form, opened.machine.settings, opened.source)
                desk.wish(SeriesWish(requests, SeriesOptions(), form.ready))
            case EveningMessage(parts=parts):
                first, *then = evening_requests(
                    [(part.runs, part.fields) for part in parts],
                    opened.machine.settings,
                    opened.source,
                )
                desk.wish(SeriesWish(first, SeriesOptions(), is_ready=False, then=then))
            case Resume():
                desk.wish(ResumeWish())
            case Reset():
                desk.wish(ResetWish())
            case Tell(text):
                self._tell(text)

    @staticmethod
    def _end(process: "subprocess.Popen[bytes]") -> None:
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
