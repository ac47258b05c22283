"""Each kind of leak is really made here, and the check that every test ends with must see it."""

import os
import select
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from statistics import median

import pytest
from gpiozero import DigitalOutputDevice
from gpiozero.pins.mock import MockFactory

from rig.clock import RealClock, Task, Until, VirtualClock
from rig.opening import open_twin
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from tests import leaks
from tests.leaks import nothing_left

Undo = Callable[[], object]
Leak = Callable[[Path], Undo]


def thread(folder: Path) -> Undo:
    may_end = threading.Event()
    left = threading.Thread(target=may_end.wait, name="forgotten")
    left.start()

    def undo() -> None:
        may_end.set()
        left.join()

    return undo


def task(folder: Path, clock: VirtualClock | RealClock | None = None) -> Undo:
    used = clock or VirtualClock()

    def waits() -> Task[None]:
        yield Until(used.queue())

    def nothing() -> Task[None]:
        yield from ()

    used.spawn(waits(), "forgotten")
    return lambda: used.run(nothing())


def task_on_the_real_clock(folder: Path) -> Undo:
    return task(folder, RealClock())


def pin(folder: Path) -> Undo:
    line = DigitalOutputDevice(20, pin_factory=MockFactory())
    line.on()
    undo: Undo = line.close
    return undo


def machine(folder: Path) -> Undo:
    opened = ExitStack()
    opened.enter_context(open_twin(Settings(), draw_scenario(3), 3))
    return opened.close


def file(folder: Path) -> Undo:
    return (folder / "a").open("w").close


def file_twice(folder: Path) -> Undo:
    return (folder / "held").open().close


def a_socket(folder: Path) -> Undo:
    return socket.socket().close


def pipe(folder: Path) -> Undo:
    ends = os.pipe()

    def undo() -> None:
        for end in ends:
            os.close(end)

    return undo


def epoll(folder: Path) -> Undo:
    return select.epoll().close


def child(folder: Path) -> Undo:
    process = subprocess.Popen(["/bin/sleep", "1000"])

    def undo() -> None:
        process.kill()
        process.wait()

    return undo


def dead_child(folder: Path) -> Undo:
    """It ends by itself, but nobody waits for it."""
    return subprocess.Popen(["/bin/true"]).wait


def handler(folder: Path) -> Undo:
    before = signal.signal(signal.SIGUSR1, signal.SIG_IGN)
    return lambda: signal.signal(signal.SIGUSR1, before)


def working_directory(folder: Path) -> Undo:
    before = Path.cwd()
    os.chdir(folder)
    return lambda: os.chdir(before)


def deleted_working_directory(folder: Path) -> Undo:
    gone = folder / "gone"
    gone.mkdir()
    undo = working_directory(gone)
    gone.rmdir()
    return undo


def environment(folder: Path) -> Undo:
    os.environ["RIG_FORGOTTEN"] = "1"
    return lambda: os.environ.pop("RIG_FORGOTTEN")


def changed_environment(folder: Path) -> Undo:
    os.environ["RIG_HELD"] = "other"
    return lambda: os.environ.update(RIG_HELD="1")


LEAKS: dict[Leak, str] = {
    thread: "thread forgotten",
    task: "task forgotten",
    task_on_the_real_clock: "task forgotten",
    pin: "GPIO20 high",
    machine: "open machine",
    file: "descriptor of .*/a ",
    file_twice: "descriptor of .*/held ",
    a_socket: "descriptor of socket:",
    pipe: r"descriptor of pipe:.* \(× 2\)",
    epoll: "descriptor of anon_inode:.*eventpoll",
    child: "child process",
    dead_child: "child process",
    handler: f"handler of signal {signal.SIGUSR1:d}",
    working_directory: "working directory",
    deleted_working_directory: "working directory that was deleted",
    environment: "environment variable RIG_FORGOTTEN",
    changed_environment: "environment variable RIG_HELD",
}


@pytest.mark.parametrize(("leak", "told"), LEAKS.items(), ids=[leak.__name__ for leak in LEAKS])
def test_each_leak_is_seen_beside_what_was_held_before(
    leak: Leak, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RIG_HELD", "1")
    (tmp_path / "held").touch()
    with (tmp_path / "held").open(), socket.socket(), ExitStack() as later:
        later.callback(child(tmp_path))
        with ExitStack() as made:
            with pytest.raises(AssertionError, match=rf"(?m)^{told}"), nothing_left(0.0):
                made.callback(leak(tmp_path))
        with nothing_left(0.0):
            leak(tmp_path)()


def test_what_is_still_ending_gets_its_time(monkeypatch: pytest.MonkeyPatch) -> None:
    may_end = threading.Event()

    class Waits(RealClock):
        def pause_s(self, seconds: float) -> None:
            may_end.set()
            super().pause_s(seconds)

    monkeypatch.setattr(leaks, "CLOCK", Waits())
    try:
        with nothing_left():
            threading.Thread(target=may_end.wait).start()
    finally:
        may_end.set()


def test_every_test_is_checked(request: pytest.FixtureRequest) -> None:
    assert "_leaves_nothing_behind" in request.fixturenames


@pytest.mark.timing
def test_the_check_costs_a_test_less_than_a_millisecond() -> None:
    spent_s = []
    for _ in range(100):
        began_s = time.process_time()
        with nothing_left():
            pass
        spent_s.append(time.process_time() - began_s)
    assert median(spent_s) < 1e-3
