"""One process at a time on one rig, however the other one ended."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from rig.clock import RealClock
from rig.control.lock import RigLock, holder
from rig.control.safe import make_safe
from rig.errors import BadInputError, BusyError
from rig.opening import open_twin
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario

HOLD = """
import signal, sys
from pathlib import Path
from rig.control.lock import RigLock
if "stubborn" in sys.argv:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
RigLock(Path(sys.argv[1])).open()
print("held", flush=True)
signal.pause()
"""


@pytest.fixture
def other(tmp_path: Path):  # type: ignore[no-untyped-def] # starts processes that hold the lock
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


def test_a_second_process_is_told_who_uses_the_rig(tmp_path: Path, other) -> None:  # type: ignore[no-untyped-def]
    process = other()
    with pytest.raises(BusyError, match=f"number {process.pid}"):
        RigLock(tmp_path / "rig.lock").open()
    assert holder(tmp_path / "rig.lock") == process.pid


def test_a_process_that_was_killed_holds_nothing(tmp_path: Path, other) -> None:  # type: ignore[no-untyped-def]
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
        assert second.twin.world.pins == {}, "pins were claimed"
    with second:
        assert holder(tmp_path / "rig.lock") == os.getpid()


# -- rig safe ---------------------------------------------------------------------------------


def _pins():  # type: ignore[no-untyped-def] # a factory of simulated pins
    from gpiozero.pins.mock import MockFactory

    return MockFactory()


def _no_pins():  # type: ignore[no-untyped-def] # never returns
    raise BadInputError("The line is in use.")


def test_with_nobody_there_the_enable_line_is_driven_low(tmp_path: Path) -> None:
    steps = make_safe(RealClock(), 20, tmp_path / "rig.lock", _pins)
    assert [(step.way, step.is_done) for step in steps] == [("GPIO 20", True)]


@pytest.mark.parametrize(
    ("word", "says", "number"),
    [("", "ended", signal.SIGTERM), ("stubborn", "killed", signal.SIGKILL)],
)
def test_the_process_that_holds_the_rig_is_ended(
    tmp_path: Path, other, word: str, says: str, number: int
) -> None:  # type: ignore[no-untyped-def]
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


def test_a_process_of_somebody_else_is_told(tmp_path: Path, other) -> None:  # type: ignore[no-untyped-def]
    other()

    def refuse(process: int, number: int) -> None:
        raise PermissionError

    steps = make_safe(RealClock(), 20, tmp_path / "rig.lock", _pins, end=refuse)
    assert "another user" in steps[0].text
