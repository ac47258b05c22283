"""Signals become an orderly stop, so that every way out of the program is the same way out."""

import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from rig.clock import Queue
from rig.control.stop import StopRequest

CAUGHT = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
PATIENCE_S = 3.0
"""A machine that was asked to stop has braked and closed its file by then; after that another
signal breaks off whatever holds the program up."""


class Interrupted(BaseException):
    """A signal ends the program; no machine moves, or it had its time to come to rest."""


class SignalLog:
    """Signals of this process: the first one counts, whatever comes after it.

    While a machine is open nothing is raised, since an exception at a random line could leave its
    driver on: the machine gets a stop request and comes to rest by itself.
    """

    def __init__(self) -> None:
        self.name: str | None = None
        """Name of the first signal; None until one comes."""
        self.place = "Nothing was moved."
        """Where the board stands, for the sentence at the end."""
        self._ask: Callable[[str], None] | None = None
        """Asks the open machine for a stop; None while none is open."""
        self._continued: Callable[[], None] = _nothing
        self._is_asking = False
        self._acted_s = 0.0

    def handle(self, number: int, frame: FrameType | None) -> None:
        """Ask the machine to stop, or raise where none is open."""
        now_s = time.monotonic()
        is_first = self.name is None
        if self.name is None:
            self.name, self._acted_s = signal.Signals(number).name, now_s
        if self._ask is not None:
            self._ask(self.name)
        has_hung = now_s - self._acted_s > PATIENCE_S
        if has_hung or (is_first and (self._ask is None or self._is_asking)):
            self._acted_s = now_s
            raise Interrupted(self.name)

    def handle_continue(self, number: int, frame: FrameType | None) -> None:
        """A stopped process continues; an open machine is notified, so that no sensor is blamed."""
        self._continued()

    @contextmanager
    def stopping(self, ask: Callable[[str], None], continued: Callable[[], None]) -> Iterator[None]:
        """While this lasts, signals become stop requests; raises at its end if one came."""
        self._ask, self._continued = ask, continued
        try:
            yield
        finally:
            self._ask, self._continued = None, _nothing
        if self.name is not None:
            raise Interrupted(self.name)

    @contextmanager
    def asking(self) -> Iterator[None]:
        """While a person is waited for in plain code, a signal raises at once."""
        self._is_asking = True
        try:
            yield
        finally:
            self._is_asking = False


def _nothing() -> None:
    """No machine is open."""


_open: list[SignalLog] = []


@contextmanager
def catching(*, ends_process: bool = False) -> Iterator[SignalLog]:
    """Catch signals until the block ends; within another such block this is the same one.

    A signal that is ignored from outside stays ignored, as `nohup` wants it.

    Args:
        ends_process: nothing but the process's end follows the block. Once a signal has come,
            others are ignored until then, lest the default action of one take the exit code.
    """
    if _open:
        yield _open[0]
        return
    log = SignalLog()
    _open.append(log)
    heard = [number for number in CAUGHT if signal.getsignal(number) is not signal.SIG_IGN]
    before = [(number, signal.signal(number, log.handle)) for number in heard]
    before.append((signal.SIGCONT, signal.signal(signal.SIGCONT, log.handle_continue)))
    try:
        yield log
    finally:
        is_over = ends_process and log.name is not None
        for number, old in before:
            signal.signal(number, signal.SIG_IGN if is_over and number in CAUGHT else old)
        _open.clear()


@contextmanager
def stop_on_signals(events: Queue, continued: Callable[[], None] = _nothing) -> Iterator[SignalLog]:
    """While this lasts, a signal asks the machine for a stop.

    Enter it before the machine is opened and leave it after that is closed.

    Args:
        events: of the machine.
        continued: called when a stopped process continues.

    Raises:
        Interrupted: at the end, when a signal came and nothing else was raised.
    """

    def ask(name: str) -> None:
        events.put(StopRequest(name, ends_program=True))

    with catching() as log, log.stopping(ask, continued):
        if log.name is not None:
            ask(log.name)
        yield log


@contextmanager
def asking() -> Iterator[None]:
    """While a person is waited for in plain code, a signal raises at once."""
    with catching() as log, log.asking():
        yield
