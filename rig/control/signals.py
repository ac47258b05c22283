"""Signals become an orderly stop, so that every way out of the program is the same way out."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from rig.clock import Queue
from rig.control.machine import StopRequest

CAUGHT = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class SignalLog:
    """Remembers the first signal that came."""

    def __init__(self) -> None:
        self.name: str | None = None


@contextmanager
def stop_on_signals(events: Queue) -> Iterator[SignalLog]:
    """While this lasts, the first signal asks for a stop; a second one raises at once."""
    log = SignalLog()

    def handle(number: int, frame: FrameType | None) -> None:
        name = signal.Signals(number).name
        if log.name is not None:
            raise KeyboardInterrupt(name)
        log.name = name
        events.put(StopRequest(name, ends_program=True))

    before = [(number, signal.signal(number, handle)) for number in CAUGHT]
    try:
        yield log
    finally:
        for number, old in before:
            signal.signal(number, old)
