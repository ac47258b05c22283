"""Which thread holds Python's lock while pulses run: `python -m tests.bench.interpreter [RUNS]`.

Writes the table of TIMING.md.

A probe thread wakes every half millisecond. A wake that is late was waited for: whoever got the
processor's time meanwhile, by the kernel's clock of each thread, held the lock. The same probe runs
at the same time in a process that does nothing, so that what the computer itself is late shows.
A series is made on the twin in real time behind a page that is watched. Simulating the sensor and
the board costs time that no rig takes; it is timed by itself.
"""

import json
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from rig.twin.chips.fake_bus import FakeBus
from rig.twin.world import World
from tests.bench.heading import Table, columns
from tests.panel.client import Client
from tests.panel.rig_example import served_rig, wait_for

TABLE = Table(
    "tests/bench/TIMING.md",
    "interpreter",
    (
        *(f"rig/clock/{name}.py" for name in ("real", "tasks")),
        *(f"rig/control/{name}.py" for name in ("cycle", "machine", "mover", "recorder", "senses")),
        *(f"rig/panel/{name}.py" for name in ("server", "view")),
        "rig/devices/stepper.py",
        "rig/runfile/writer.py",
        "tests/bench/interpreter.py",
    ),
)
EVERY_S = 0.5e-3
LATE_S = 1e-3
NAMES_S = 0.2
SETTLE_S = 1.0


class Wake(NamedTuple):
    """A wake of the probe that came late."""

    late_s: float
    thread: str
    """Which other thread of the process got most of the time; empty if none got half of it."""
    took_s: float


class Probe:
    """Wakes again and again in a thread of its own; open it with `with`.

    Args:
        counts: whether this moment is one that counts.
    """

    def __init__(self, counts: Callable[[], bool] = lambda: True) -> None:
        self.late: list[Wake] = []
        self.wakes = 0
        self._counts = counts
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._work, name="probe")

    def __enter__(self) -> "Probe":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ends.set()
        self._thread.join()

    def _work(self) -> None:
        clocks: dict[int, str] = {}
        named_s = float("-inf")
        while not self._ends.is_set():
            now_s = time.monotonic()
            if now_s - named_s > NAMES_S:
                clocks, named_s = _clocks(), now_s
            before = _used(clocks)
            due_s = time.monotonic() + EVERY_S
            time.sleep(EVERY_S)  # noqa: TID251 - the lock is waited for, not a rig
            late_s = time.monotonic() - due_s
            if not self._counts():
                continue
            self.wakes += 1
            if late_s > LATE_S:
                after = _used(clocks)
                took = {
                    clock: after[clock] - used for clock, used in before.items() if clock in after
                }
                most = max(took, key=lambda clock: took[clock], default=None)
                if most is None or took[most] < late_s / 2:
                    self.late.append(Wake(late_s, "", 0.0))
                else:
                    self.late.append(Wake(late_s, clocks[most], took[most]))


def _clocks() -> dict[int, str]:
    """The kernel's clock of every other thread of this process, and the thread's name."""
    return {
        # As <linux/posix-timers.h> makes it: of a thread, scheduled time.
        (~one.native_id << 3) | 6: one.name
        for one in threading.enumerate()
        if one.native_id is not None and one is not threading.current_thread()
    }


def _used(clocks: dict[int, str]) -> dict[int, float]:
    found = {}
    for clock in clocks:
        try:
            found[clock] = time.clock_gettime(clock)
        except OSError:  # it has ended
            continue
    return found


class Simulated:
    """Times what simulates the rig, call by call."""

    def __init__(self) -> None:
        self.longest_s: dict[str, float] = defaultdict(float)
        self._depth = threading.local()

    def watch(self, kind: Any, name: str, label: str) -> None:
        """Time a method of a class from now on, calls from within another one left out."""
        plain = getattr(kind, name)

        def timed(*args: Any, **more: Any) -> Any:
            if getattr(self._depth, "is_in", False):
                return plain(*args, **more)
            self._depth.is_in, begun_s = True, time.thread_time()
            try:
                return plain(*args, **more)
            finally:
                self._depth.is_in = False
                took_s = time.thread_time() - begun_s
                self.longest_s[label] = max(self.longest_s[label], took_s)

        setattr(kind, name, timed)


IDLE = """
import json, sys, threading
from tests.bench.interpreter import Probe
with Probe() as probe:
    sys.stdin.readline()
print(json.dumps([probe.wakes, [late for late, *_ in probe.late]]))
"""


def measure(runs: int, folder: Path) -> tuple[Probe, tuple[int, list[float]], dict[str, float]]:
    """Make a series under the probe; what it saw, and what one in an idle process saw meanwhile."""
    simulated = Simulated()
    for name in ("read_i2c_block_data", "read_byte_data", "write_byte_data"):
        simulated.watch(FakeBus, name, "the angle and climate sensors")
    simulated.watch(World, "on_step", "the board at a pulse")
    idle = subprocess.Popen(
        [sys.executable, "-c", IDLE], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with served_rig(folder, presses=True) as rig:
        client = Client(rig.port)
        client.watch_once()
        time.sleep(SETTLE_S)  # noqa: TID251 - the spare server begins
        with Probe(lambda: bool(rig.machine.is_moving)) as probe:
            asked = client.post("/series", {"runs": str(runs), "bag": "Heron 1", "ready": True})
            assert asked.status == 202, asked.data
            wait_for(lambda: rig.served.viewer.is_busy, "the series")
            while rig.served.viewer.is_busy:  # seldom, since this thread is no part of the program
                time.sleep(1.0)  # noqa: TID251 - a twin in real time is watched
        outcomes = rig.outcomes()
    said, _ = idle.communicate("\n", timeout=60.0)
    assert outcomes == ["slid"] * runs, outcomes
    wakes, late = json.loads(said)
    return probe, (wakes, late), dict(simulated.longest_s)


def lines_of(runs: int) -> Iterator[str]:
    """Measure; the lines of the table in Markdown."""
    with tempfile.TemporaryDirectory() as folder:
        probe, (idle_wakes, idle_late), simulated = measure(runs, Path(folder))
    by_thread: dict[str, list[float]] = defaultdict(list)
    for wake in probe.late:
        by_thread[wake.thread].append(wake.took_s if wake.thread else wake.late_s)
    per = 1e4 / max(probe.wakes, 1)
    yield (
        f"{runs} runs; {probe.wakes} wakes while the board moved, {len(probe.late)} of them more"
        f" than {1e3 * LATE_S:g} ms late; {idle_wakes} in the idle process, {len(idle_late)} late."
    )
    yield ""
    yield from columns(
        "held by", "over 1 ms, in 10,000 wakes", "median of these, ms", "longest, ms"
    )
    rows = sorted(by_thread.items(), key=lambda pair: -max(pair[1]))
    for name, found in rows:
        label = f"thread `{name}`" if name else "no thread of the process: the computer was late"
        yield _row(label, len(found) * per, found)
    yield _row("idle process beside it", len(idle_late) * 1e4 / max(idle_wakes, 1), idle_late)
    yield ""
    for what, longest_s in sorted(simulated.items()):
        yield f"Longest call that simulates {what}, in processor time: {1e3 * longest_s:.2f} ms."


def _row(label: str, often: float, found: list[float]) -> str:
    if not found:
        return f"| {label} | 0 | – | – |"
    middle = sorted(found)[len(found) // 2]
    return f"| {label} | {often:.1f} | {1e3 * middle:.2f} | {1e3 * max(found):.2f} |"


def main() -> None:
    """Measure and write the table."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    TABLE.show(lines_of(runs), seed=3, write=True)


if __name__ == "__main__":
    main()
