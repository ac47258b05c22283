"""One process at a time on one rig, however the other one ended."""

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, NoReturn

import pytest

from rig.clock import At, RealClock, Task, VirtualClock
from rig.control.process.lock import RigLock, holder, lock_path
from rig.control.process.safe import make_safe
from rig.errors import BadInputError, BusyError
from rig.opening import open_twin
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario

HOLD = """
import signal, sys
from pathlib import Path
from rig.control.process.lock import RigLock
if "stubborn" in sys.argv:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
RigLock(Path(sys.argv[1])).open()
print("held", flush=True)
signal.pause()
"""


@pytest.fixture
def other(tmp_path: Path):  # starts processes that hold the lock
    started: list[subprocess.Popen[str]] = []

    def start(*words: str) -> subprocess.Popen[str]:
        command = [sys.executable, "-c", HOLD, str(tmp_path / "rig.lock"), *words]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        started.append(process)
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        return process

    yield start
    for process in started:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def test_a_second_process_is_told_who_uses_the_rig(tmp_path: Path, other) -> None:
    process = other()
    with pytest.raises(BusyError, match=f"number {process.pid}"):
        RigLock(tmp_path / "rig.lock").open()
    assert holder(tmp_path / "rig.lock") == process.pid


def test_a_process_that_was_killed_holds_nothing(tmp_path: Path, other) -> None:
    process = other()
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    lock = RigLock(tmp_path / "rig.lock")
    lock.open()
    assert (tmp_path / "rig.lock").read_text() == f"{os.getpid()}\n"
    lock.close()
    assert holder(tmp_path / "rig.lock") is None


def test_a_machine_that_is_busy_is_not_touched(tmp_path: Path) -> None:
    first, second = (open_twin(Settings(), draw_scenario(3), 3) for _ in range(2))
    for rig in (first, second):
        rig.machine.lock = RigLock(tmp_path / "rig.lock")
    with first:
        with pytest.raises(BusyError), second:
            pass
        assert second.twin is not None
        assert second.twin.world.pins == {}, "pins were claimed"
    with second:
        assert holder(tmp_path / "rig.lock") == os.getpid()


# -- rig safe ---------------------------------------------------------------------------------


def _pins() -> Any:
    """A factory of simulated pins."""
    from gpiozero.pins.mock import MockFactory

    return MockFactory()


def _no_pins() -> NoReturn:
    raise BadInputError("The line is in use.")


def test_with_nobody_there_the_enable_line_is_driven_low(tmp_path: Path) -> None:
    steps = make_safe(RealClock(), 20, tmp_path / "rig.lock", _pins)
    assert [(step.way, step.is_done) for step in steps] == [("GPIO 20", True)]


@pytest.mark.long
@pytest.mark.parametrize(
    ("word", "says", "number"),
    [("", "ended", signal.SIGTERM), ("stubborn", "killed", signal.SIGKILL)],
)
def test_the_process_that_holds_the_rig_is_ended(
    tmp_path: Path, other, word: str, says: str, number: int
) -> None:
    process = other(word)
    steps = make_safe(RealClock(), 20, tmp_path / "rig.lock", _pins)
    assert says in steps[0].text
    assert steps[-1].is_done
    assert process.wait(timeout=60) == -number


def test_a_line_that_cannot_be_claimed_is_set_by_the_tool(tmp_path: Path) -> None:
    tool = tmp_path / "pinctrl"
    tool.write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/asked\n')
    tool.chmod(0o755)
    steps = make_safe(RealClock(), 20, tmp_path / "no.lock", _no_pins, pinctrl=str(tool))
    assert [step.is_done for step in steps] == [False, True]
    assert (tmp_path / "asked").read_text() == "set 20 op dl\n"


def test_when_nothing_works_the_emergency_stop_is_named(tmp_path: Path) -> None:
    steps = make_safe(RealClock(), 20, tmp_path / "no.lock", _no_pins, pinctrl="/bin/false")
    assert not steps[-1].is_done
    assert "emergency stop" in steps[-1].text


def test_a_process_of_somebody_else_is_told(tmp_path: Path, other) -> None:
    other()

    def refuse(process: int, number: int) -> None:
        raise PermissionError

    steps = make_safe(RealClock(), 20, tmp_path / "rig.lock", _pins, end=refuse)
    assert "another user" in steps[0].text


def test_the_number_of_the_last_holder_is_overwritten_whole(tmp_path: Path) -> None:
    path = tmp_path / "rig.lock"
    path.write_text("12345678901234\n")
    lock = RigLock(path)
    lock.open()
    assert holder(path) == os.getpid()
    assert path.read_text() == f"{os.getpid()}\n"
    lock.close()
    lock.close()


def test_a_lock_that_cannot_be_opened_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(BusyError, match="remove the file"):
        RigLock(tmp_path / "no folder" / "rig.lock").open()


def test_a_file_of_another_user_is_locked_though_it_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "rig.lock"
    path.write_text("77\n")
    really = os.open

    def only_read(name: Path, flags: int, mode: int = 0o777) -> int:
        if flags & os.O_RDWR:
            raise PermissionError
        return really(name, flags, mode)

    monkeypatch.setattr(os, "open", only_read)
    lock = RigLock(path)
    lock.open()
    with pytest.raises(BusyError, match="number 77"):
        RigLock(path).open()
    lock.close()


def test_the_lock_lies_where_every_user_finds_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.control.process.lock.LOCK_FOLDERS", (tmp_path / "none", tmp_path))
    assert lock_path(7) == tmp_path / "rig-i2c-7.lock"
    monkeypatch.setattr("rig.control.process.lock.LOCK_FOLDERS", (tmp_path / "none",))
    assert lock_path(7) == Path(tempfile.gettempdir()) / "rig-i2c-7.lock"


# -- rig safe on a clock that jumps -----------------------------------------------------------


class Process:
    """Holds the lock for this process, and does on a signal what it is told to.

    Args:
        lock: that it holds.
        clock: of `make_safe`.
        ends_at: the signal at which it lets go, and how long after.
    """

    def __init__(
        self, lock: RigLock, clock: VirtualClock, ends_at: tuple[int, float] | None
    ) -> None:
        self.got: list[tuple[int, float]] = []
        self._lock, self._clock, self._ends_at = lock, clock, ends_at
        lock.open()

    def end(self, process: int, number: int) -> None:
        assert process == os.getpid()
        self.got.append((number, round(self._clock.time_s(), 2)))
        if self._ends_at is not None and number == self._ends_at[0]:
            self._clock.spawn(self._let_go(self._ends_at[1]), "let go")

    def _let_go(self, seconds: float) -> Task[None]:
        yield At(self._clock.time_s() + seconds)
        self._lock.close()


@pytest.mark.parametrize(
    ("ends_at", "signals", "text", "over_s"),
    [
        ((signal.SIGTERM, 3.9), [signal.SIGTERM], "and ended", 3.95),
        ((signal.SIGKILL, 0.9), [signal.SIGTERM, signal.SIGKILL], "was killed", 4.95),
        (None, [signal.SIGTERM, signal.SIGKILL], "emergency stop", 5.0),
    ],
)
def test_a_process_is_asked_first_and_killed_4_s_later(
    tmp_path: Path,
    ends_at: tuple[int, float] | None,
    signals: list[int],
    text: str,
    over_s: float,
) -> None:
    clock, lock = VirtualClock(), RigLock(tmp_path / "rig.lock")
    process = Process(lock, clock, ends_at)
    steps = make_safe(clock, 20, lock.path, _pins, end=process.end)
    lock.close()
    assert text in steps[0].text
    assert steps[0].is_done == (ends_at is not None)
    assert [number for number, _ in process.got] == signals
    assert [at_s for _, at_s in process.got] == pytest.approx([0.0, 4.0][: len(signals)], abs=0.06)
    assert clock.time_s() == pytest.approx(over_s, abs=0.11)
    assert steps[1].is_done, "the enable line is driven low in any case"


def test_a_process_that_ended_by_itself_counts_as_ended(tmp_path: Path) -> None:
    lock = RigLock(tmp_path / "rig.lock")
    lock.open()

    def gone(process: int, number: int) -> None:
        raise ProcessLookupError

    steps = make_safe(VirtualClock(), 20, lock.path, _pins, end=gone)
    lock.close()
    assert (steps[0].is_done, steps[0].text) == (True, "had ended already")


def test_the_process_is_ended_before_its_line_is_taken(tmp_path: Path) -> None:
    lock, order = RigLock(tmp_path / "rig.lock"), []
    lock.open()

    def end(process: int, number: int) -> None:
        order.append("end")
        lock.close()

    def pins() -> Any:
        order.append("claim")
        return _pins()

    make_safe(VirtualClock(), 20, lock.path, pins, end=end)
    assert order == ["end", "claim"]


def test_a_line_that_stays_high_is_not_called_off(tmp_path: Path) -> None:
    factory = _pins()

    def pins() -> Any:
        factory.pin(20)._change_state = lambda value: factory.pin(20).__dict__.update(_state=True)  # noqa: SLF001 - the mock pin's own hook
        return factory

    steps = make_safe(VirtualClock(), 20, tmp_path / "no.lock", pins, pinctrl="/bin/true")
    assert [(step.is_done, step.way) for step in steps] == [(False, "GPIO 20"), (True, "pinctrl")]
    assert "still reads high" in steps[0].text


def test_a_tool_that_hangs_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    allowed_s: list[float | None] = []

    def hangs(command: list[str], *, timeout: float | None = None, **_: object) -> None:
        allowed_s.append(timeout)
        raise subprocess.TimeoutExpired(command, timeout or 0.0)

    monkeypatch.setattr(subprocess, "run", hangs)
    steps = make_safe(VirtualClock(), 20, tmp_path / "no.lock", _no_pins, pinctrl="/bin/true")
    assert allowed_s == [5]
    assert not steps[-1].is_done
    assert "emergency stop" in steps[-1].text
