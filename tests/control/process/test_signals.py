"""Signals: a machine that is open is asked to stop; nothing is raised at a random line of it."""

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace

import pytest

from rig.clock import Queue, VirtualClock
from rig.control.process import signals
from rig.control.process.signals import (
    CAUGHT,
    Interrupted,
    SignalLog,
    asking,
    catching,
    stop_on_signals,
)
from rig.control.stop import StopRequest

EACH = pytest.mark.parametrize("number", CAUGHT)


@pytest.fixture
def now_s(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time, for the test to set."""
    now = [time.monotonic()]
    monkeypatch.setattr(signals, "time", SimpleNamespace(monotonic=lambda: now[0]))
    return now


@contextmanager
def ended_by(name: str, queue: Queue) -> Iterator[SignalLog]:
    """A machine is open in the block, and a signal ends the program after it."""
    with pytest.raises(Interrupted, match=name), stop_on_signals(queue) as log:
        yield log


def test_four_signals_are_caught() -> None:
    assert {number.name for number in CAUGHT} == {"SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT"}


@EACH
def test_a_signal_becomes_a_stop_request_and_ends_the_program_after_it(
    number: signal.Signals,
) -> None:
    queue, before = VirtualClock().queue(), signal.getsignal(number)
    with ended_by(number.name, queue) as log:
        signal.raise_signal(number)
        assert queue.get_nowait() == StopRequest(number.name, ends_program=True)
        assert log.name == number.name
    assert signal.getsignal(number) is before


def test_what_the_machine_raises_of_a_stop_comes_through() -> None:
    def fail() -> None:
        with stop_on_signals(VirtualClock().queue()):
            signal.raise_signal(signal.SIGTERM)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()


def breaks_off(number: signal.Signals) -> bool:
    """Whether the signal raises at once."""
    try:
        signal.raise_signal(number)
    except Interrupted:
        return True
    return False


def test_signals_in_quick_succession_leave_the_machine_its_time(now_s: list[float]) -> None:
    queue = VirtualClock().queue()
    with ended_by("SIGINT", queue):
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGINT):
            assert not breaks_off(number)
            now_s[0] += 1.4
            assert queue.get_nowait() == StopRequest("SIGINT", ends_program=True)


def test_a_program_that_hangs_is_broken_off_by_a_signal_three_seconds_later(
    now_s: list[float],
) -> None:
    with ended_by("SIGTERM", VirtualClock().queue()):
        assert not breaks_off(signal.SIGTERM)
        now_s[0] += 2.9
        assert not breaks_off(signal.SIGTERM)
        now_s[0] += 0.2
        assert breaks_off(signal.SIGTERM)
        assert not breaks_off(signal.SIGTERM), "what it raised has its time as well"


@EACH
def test_without_a_machine_a_signal_raises_once(number: signal.Signals) -> None:
    with catching() as log:
        with pytest.raises(Interrupted, match=number.name):
            signal.raise_signal(number)
        signal.raise_signal(number)
        assert log.name == number.name


def test_a_signal_from_before_is_not_forgotten_by_the_next_machine() -> None:
    """Between two series of a plan, say: the next one must not begin."""
    with catching():
        with ended_by("SIGTERM", VirtualClock().queue()):
            signal.raise_signal(signal.SIGTERM)
        queue = VirtualClock().queue()
        with ended_by("SIGTERM", queue):
            assert queue.get_nowait() == StopRequest("SIGTERM", ends_program=True)


@EACH
def test_a_signal_that_is_ignored_stays_ignored(number: signal.Signals) -> None:
    before = signal.signal(number, signal.SIG_IGN)
    try:
        with stop_on_signals(VirtualClock().queue()) as log:
            assert signal.getsignal(number) is signal.SIG_IGN
            signal.raise_signal(number)
            assert log.name is None
    finally:
        signal.signal(number, before)


def test_a_second_signal_at_the_very_end_takes_nothing_from_the_exit_code() -> None:
    """It comes when the block is over and the process is not: by default it would end by it."""
    program = (
        "import os, signal, sys\n"
        "from rig.control.process.signals import Interrupted, catching\n"
        "try:\n"
        "    with catching(ends_process=True):\n"
        "        os.kill(os.getpid(), signal.SIGINT)\n"
        "except Interrupted:\n"
        "    pass\n"
        "for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT, signal.SIGINT):\n"
        "    os.kill(os.getpid(), number)\n"
        "sys.exit(130)\n"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 130


def test_a_person_who_is_asked_is_not_waited_for() -> None:
    queue = VirtualClock().queue()
    with ended_by("SIGINT", queue):
        with pytest.raises(Interrupted), asking():
            signal.raise_signal(signal.SIGINT)
        assert queue.get_nowait() is not None


def test_a_machine_is_told_that_the_program_was_stopped_and_goes_on() -> None:
    told: list[str] = []
    before = signal.getsignal(signal.SIGCONT)
    with stop_on_signals(VirtualClock().queue(), lambda: told.append("continued")):
        signal.raise_signal(signal.SIGCONT)
        assert told == ["continued"]
    assert signal.getsignal(signal.SIGCONT) is before
