"""How soon an event reaches the page, and what watching does to the step pulses, in one run.

`python -m tests.bench.panel_latency [--rounds 6] [--browser] [--write]` serves a twin in real time,
moves its board up and down, and in turns lets nobody or ten watchers (in a process of their own;
with `--browser` one of them is Chromium) follow the page at 20 updates a second. Each step pulse is
stamped where the motor gets it. An event is a change of the machine's state; it counts as arrived
when the watcher has read it, and in the browser when the page shows it.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from rig.clock import Task, Until
from rig.runfile.model import State
from tests.bench.heading import Table, columns
from tests.panel.browser import Page, browser
from tests.panel.rig_example import Rig, served_rig, wait_for

UP_DEG, DOWN_DEG, RATE_DEG_S = 6.0, 1.0, 1.0
INPUTS = (
    *(f"rig/panel/{name}.py" for name in ("app", "link", "server", "stream", "view", "web")),
    "rig/devices/stepper.py",
    "tests/bench/panel_latency.py",
    "tests/bench/panel_watchers.py",
    "tests/panel/rig_example.py",
)
TICK_S = 0.5
"""Between two changes of state while the board moves."""
SHOWN: tuple[State, ...] = ("raising", "sliding")
Marks = list[tuple[float, str]]


class Bench:
    """One served rig whose pulses and states are stamped."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.machine = rig.machine
        self.pulses: list[float] = []
        self.marks: Marks = []
        self.took_s = 0.0
        """Seconds that the last round took."""
        # Stamped where the simulated motor takes the step: behind all that the program does.
        pin = rig.machine.stepper._devices[2].pin  # noqa: SLF001
        make, clock = pin._on_step, self.machine.clock  # noqa: SLF001

        def stamped() -> None:
            self.pulses.append(clock.time_s())
            make()

        pin._on_step = stamped  # noqa: SLF001

    def move(self, to_deg: float) -> Task[Any]:
        """Move the board; the moves of a run are made the same way."""
        machine = self.machine
        plan = machine.plan(to_deg, RATE_DEG_S)
        machine.stepper.enable()
        try:
            return (plan, (yield from machine.stepper.move(plan)))
        finally:
            machine.stepper.disable()

    def beat(self) -> Task[None]:
        """Change the state again and again, and note when; the pulses want signs of life too."""
        machine, never = self.machine, self.machine.clock.queue()
        turn = 0
        while True:
            state = SHOWN[turn % 2]
            self.marks.append((machine.clock.time_s(), state.capitalize()))
            machine.live.state = state
            turn += 1
            for _ in range(5):
                machine.beat()
                yield Until(never, machine.clock.time_s() + TICK_S / 5)

    def once(self) -> tuple[np.ndarray, Marks]:
        """Up and down once; lateness of each pulse in µs, and the states that were passed."""
        late: list[np.ndarray] = []
        begun_s = self.machine.clock.time_s()
        clock, machine = self.machine.clock, self.machine
        self.marks = []
        beating = clock.spawn(self.beat(), "beat")
        try:
            for to_deg in (UP_DEG, DOWN_DEG):
                self.pulses = []
                handle = clock.spawn(self.move(to_deg), "pulses")
                wait_for(partial(getattr, handle, "is_done"), "a move")
                done = handle.result()
                assert done is not None
                plan, result = done
                assert result.ended_by == "plan", result
                made = np.asarray(self.pulses)
                behind = made - plan.times_s
                # The train's own start is not told; its least late pulse is taken as on time.
                late.append((behind - behind.min()) * 1e6)
        finally:
            beating.cancel()
            wait_for(lambda: beating.is_done, "the last change")
            machine.live.state = "parked"
            self.took_s = clock.time_s() - begun_s
        return np.concatenate(late), self.marks


@contextmanager
def watchers(port: int, n: int) -> Iterator[list[dict[str, Any]]]:
    """So many watchers in another process; what they saw is in the list afterwards."""
    seen: list[dict[str, Any]] = []
    words = [sys.executable, "-m", "tests.bench.panel_watchers", str(port), str(n)]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        yield seen
    finally:
        out, _ = process.communicate("")
        seen += [json.loads(line) for line in out.splitlines()]


FOLLOW = """
window.seen = [];
const element = document.getElementById('state');
new MutationObserver(() => window.seen.push([Date.now() / 1000, element.textContent]))
  .observe(element, {childList: true, characterData: true, subtree: true});
"""


def delays_s(marks: Marks, seen: list[tuple[float, str]]) -> list[float]:
    """From each change to the first time that it was seen; one that never was is an error."""
    found = []
    for i, (at_s, word) in enumerate(marks[1:-1], 1):
        end_s = marks[i + 1][0] + TICK_S / 2
        found.append(min(s - at_s for s, w in seen if w == word and at_s <= s < end_s))
    return found


def main() -> None:
    """Print the tables, and write them if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=6)
    parser.add_argument("--watchers", type=int, default=10)
    parser.add_argument("--browser", action="store_true")
    parser.add_argument("--write", action="store_true", help="put the tables into PANEL.md")
    asked = parser.parse_args()
    name = "page and pulses, with a browser" if asked.browser else "page and pulses"
    table = Table("tests/bench/PANEL.md", name, INPUTS)
    table.show(lines_of(asked), seed=3, write=asked.write)


def lines_of(asked: argparse.Namespace) -> Iterator[str]:
    """Measure; the lines of the tables in Markdown."""
    late: dict[str, list[np.ndarray]] = {"nobody": [], "watched": []}
    delays: list[float] = []
    page_delays: list[float] = []
    updates: list[float] = []
    n = asked.watchers - asked.browser
    with tempfile.TemporaryDirectory() as folder, served_rig(Path(folder)) as rig, ExitStack() as s:
        wait_for(lambda: rig.served.viewer.look().angle_deg is not None, "an angle")
        bench = Bench(rig)
        page: Page | None = s.enter_context(browser(rig.url)) if asked.browser else None
        if page is not None:
            page.run(FOLLOW)
        for turn in range(2 * asked.rounds):
            is_watched = turn % 2 == 1
            if page is not None:
                page.driver.get(rig.url if is_watched else "about:blank")
                if is_watched:
                    page.run(FOLLOW)
            if not is_watched:
                rig.machine.clock.pause_s(1.0)
                late["nobody"].append(bench.once()[0])
                continue
            with watchers(rig.port, n) as seen:
                rig.machine.clock.pause_s(3.0)
                behind, marks = bench.once()
                rig.machine.clock.pause_s(0.5)
            late["watched"].append(behind)
            updates.append(sum(e.get("updates", 0) for e in seen) / n / bench.took_s)
            for number in range(n):
                mine = [
                    (e["at_s"], e["word"]) for e in seen if e["watcher"] == number and "at_s" in e
                ]
                delays += delays_s(marks, mine)
            if page is not None:
                shift_s = rig.machine.clock.utc_now().timestamp() - rig.machine.clock.time_s()
                shown = [(at_s - shift_s, word) for at_s, word in page.run("return window.seen")]
                page_delays += delays_s(marks, shown)
    yield from report(late, delays, page_delays, n)
    yield ""
    yield f"Each watcher got {sum(updates) / len(updates):.1f} updates a second."


def report(
    late: dict[str, list[np.ndarray]], delays: list[float], page_delays: list[float], n: int
) -> Iterator[str]:
    """The lines of the tables."""
    yield from columns(
        *("step pulses", "pulses", "median µs", "95 % µs", "99 % µs", "worst µs", "over 500 µs")
    )
    names = {"nobody": "nobody watches", "watched": f"{n + bool(page_delays)} watch"}
    for key, parts in late.items():
        all_late = np.concatenate(parts)
        cells = [f"{v:.0f}" for v in np.percentile(all_late, (50, 95, 99, 100))]
        share = 100 * float(np.mean(all_late > 500))
        yield f"| {names[key]} | {all_late.size} | {' | '.join(cells)} | {share:.2f} % |"
    yield ""
    yield from columns("event to", "events", "median ms", "95 % ms", "worst ms")
    for name, found in ((f"{n} watchers in another process", delays), ("Chromium", page_delays)):
        if found:
            cells = [f"{1e3 * v:.0f}" for v in np.percentile(found, (50, 95, 100))]
            yield f"| {name} | {len(found)} | {' | '.join(cells)} |"


if __name__ == "__main__":
    main()
