"""Finds what a test leaves behind: what its process holds, and machines, pins and tasks."""

import gc
import os
import signal
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import wraps
from typing import Any

from gpiozero.pins.mock import MockFactory

from rig.clock import RealClock, VirtualClock
from rig.control.machine import Machine

PATIENCE_S = 5.0
"""For a thread or process that is ending already; costs nothing where nothing is left."""
LOOK_S = 0.01
CLOCK = RealClock()
CHANGE_BY_THEMSELVES = ("PYTEST_CURRENT_TEST", "KMP_DUPLICATE_LIB_OK")
"""Variables that pytest sets for each test, and threadpoolctl when it is imported."""

_watching: list["Held"] = []


class Held:
    """What this process holds now; objects that are made later are noted here as they come.

    What a fixture of a whole module or session holds is there before and counts for no test.
    """

    def __init__(self) -> None:
        self.threads = set(threading.enumerate())
        self.descriptors = _descriptors()
        self.children = _children()
        self.handlers = [signal.getsignal(number) for number in range(1, signal.NSIG)]
        self.folder = _folder()
        self.environment = _environment()
        self.made: list[Any] = []

    def left(self) -> list[str]:
        """What is held beyond that, a line each."""
        return [
            *(f"thread {t.name}" for t in threading.enumerate() if t not in self.threads),
            *(line for thing in self.made for line in _left_by(thing)),
            *(
                f"descriptor of {name} (× {n})"
                for name, n in (_descriptors() - self.descriptors).items()
            ),
            *(f"child process {child}" for child in _children() - self.children),
            *(
                f"handler of signal {number}"
                for number, handler in enumerate(self.handlers, start=1)
                if signal.getsignal(number) != handler
            ),
            *([f"working directory {_folder()}"] if _folder() != self.folder else []),
            *(
                f"environment variable {name}"
                for name, _ in sorted(set(_environment().items()) ^ set(self.environment.items()))
            ),
        ]


@contextmanager
def nothing_left(patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Whatever the block makes is gone at its end.

    Args:
        patience_s: how long to wait for what is still ending.

    Raises:
        AssertionError: something is left, named in a line each.
    """
    __tracebackhide__ = True
    held = Held()
    _watching.append(held)
    try:
        yield
    finally:
        _watching.remove(held)
    left = held.left()
    if left:
        gc.collect()
        deadline_s = CLOCK.time_s() + patience_s
        while (left := held.left()) and CLOCK.time_s() < deadline_s:
            CLOCK.pause_s(LOOK_S)
    assert not left, "left behind:\n" + "\n".join(left)


def _descriptors() -> Counter[str]:
    """How many descriptors there are of each file, socket, pipe and so on."""
    found: Counter[str] = Counter()
    with suppress(FileNotFoundError):  # only Linux has the folder
        for number in os.listdir("/proc/self/fd"):
            with suppress(FileNotFoundError):  # that of the listing itself
                found[os.readlink(f"/proc/self/fd/{number}")] += 1
    return found


def _children() -> set[int]:
    """Processes that this one has started and not waited for."""
    if not _is_parent(os.P_ALL, 0):
        return set()
    return {int(n) for n in os.listdir("/proc") if n.isdigit() and _is_parent(os.P_PID, int(n))}


def _is_parent(kind: int, process: int) -> bool:
    try:
        os.waitid(kind, process, os.WEXITED | os.WNOHANG | os.WNOWAIT)
    except ChildProcessError:
        return False
    return True


def _folder() -> str:
    try:
        return os.getcwd()
    except FileNotFoundError:
        return "that was deleted"


def _environment() -> dict[str, str]:
    found = dict(os.environ)
    for name in CHANGE_BY_THEMSELVES:
        found.pop(name, None)
    return found


def _left_by(thing: Any) -> list[str]:
    """What a clock, machine or pin factory still has in hand."""
    match thing:
        case VirtualClock():
            return [f"task {job.handle.name}" for job in thing._jobs if not job.handle.is_done]  # noqa: SLF001
        case RealClock():
            handles = [handle for handle, _, _ in thing._running]  # noqa: SLF001
            return [f"task {handle.name}" for handle in handles if not handle.is_done]
        case Machine():
            return ["open machine"] if thing.pin_factory is not None else []
        case _:
            pins = thing.pins.values()
            return [f"{p.info.name} high" for p in pins if p.function == "output" and p.state]


def _note_each(kind: type[Any]) -> None:
    """Have every new object of this class noted by whoever watches."""
    begin = kind.__init__

    @wraps(begin)
    def init(self: Any, *args: Any, **keywords: Any) -> None:
        begin(self, *args, **keywords)
        for held in _watching:
            held.made.append(self)

    kind.__init__ = init


for _kind in (VirtualClock, RealClock, Machine, MockFactory):
    _note_each(_kind)
