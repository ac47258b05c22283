"""Signals at chosen places of the demo: `python -m tests.faults.signals_in_demo`.

The story is a short one, with three bags and one climate. A first run of it takes the time of each
command; then one process a place gets a signal before each of its commands, and twice within each
of the longest.
"""

import itertools
import json
import os
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from rig.commands import demo
from rig.control.process.signals import CAUGHT
from tests.bench.heading import Table, columns
from tests.commands.test_demo import SHORT
from tests.faults.kill_series import wait
from tests.faults.signals_anywhere import problems_of, start

PLACES = 40
WITHIN = (0.3, 0.7)
"""Parts of a command's time after which the signal comes."""
WORKERS = 2
WORDS = ["demo", "--out", "demo"]
TABLE = Table(
    "tests/faults/SIGNALS.md",
    "signals in the demo",
    (
        "rig/commands/demo.py",
        "rig/commands/main.py",
        "rig/commands/terminal.py",
        "rig/control/process/signals.py",
        "tests/faults/signals_anywhere.py",
        "tests/faults/signals_in_demo.py",
    ),
)


class Place(NamedTuple):
    """Where a signal comes."""

    command: int
    """Number of the command, from 0."""
    after_s: float | None
    """After its beginning; None: just before it."""


class Met(NamedTuple):
    """What became of a story that got a signal."""

    place: Place
    words: str
    number: int
    problems: tuple[str, ...]
    took_s: float


def begin(folder: Path, place: Place | None, number: int = 0) -> int:
    """A process that tells the story, notes the time of each command, and gets its signal."""
    demo.BAGS, demo.CLIMATES, demo.RUNS = SHORT, demo.CLIMATES[:1], 1  # type: ignore[assignment]
    run, numbers, notes = demo.run_step, itertools.count(), folder / "commands.json"
    times: list[tuple[str, float]] = []

    def signalled() -> None:
        (folder / "sent").write_text(f"{time.monotonic()}")
        os.kill(os.getpid(), number)

    def watched(step: demo.StoryStep, program: Any) -> None:
        command, began_s = next(numbers), time.monotonic()
        (folder / "begun").write_text(f"{command}")
        if place is not None and place.command == command:
            if place.after_s is None:
                signalled()
            else:
                threading.Timer(place.after_s, signalled).start()
        run(step, program)
        times.append((step.typed, time.monotonic() - began_s))
        notes.write_text(json.dumps(times))

    demo.run_step = watched
    try:
        return start(folder, WORDS)
    finally:
        demo.run_step = run


def tried(place: Place, words: str, number: int) -> Met:
    """Tell the story with a signal at a place."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        process = begin(folder, place, number)
        status = wait(process, 300.0)
        ended_s = time.monotonic()
        problems = problems_of(words, process, status, folder)
        if int((folder / "begun").read_text()) > place.command:
            problems += ("another command began",)
        sent = folder / "sent"
        took_s = ended_s - float(sent.read_text()) if sent.exists() else float("nan")
        return Met(place, words, number, problems, took_s)


def lines_of(n_places: int) -> Iterator[str]:
    """Send them; the lines of the table in Markdown."""
    with tempfile.TemporaryDirectory() as name:
        status = wait(begin(Path(name), None), 600.0)
        assert status == 0, (Path(name) / "said").read_text("utf-8")
        times = json.loads((Path(name) / "commands.json").read_text())
    places = places_of([s for _, s in times], n_places)
    words = [times[place.command][0] for place in places]
    numbers = list(itertools.islice(itertools.cycle(sorted(CAUGHT)), len(places)))
    with ProcessPoolExecutor(WORKERS) as pool:
        met = list(pool.map(tried, places, words, numbers))
    bad = [one for one in met if one.problems]
    before = sum(place.after_s is None for place in places)
    yield (
        f"{len(met)} signals, {before} of them before one of the {len(times)} commands and"
        f" {len(met) - before} within one; {len(bad)} with an end that is not as it should be;"
        f" longest until its end {max(one.took_s for one in met):.1f} s."
    )
    if bad:
        yield ""
        yield from columns("command", "after, s", "signal", "not as it should be")
        for one in bad:
            after = "before it" if one.place.after_s is None else f"{one.place.after_s:.2f}"
            yield f"| `{one.words}` | {after} | {one.number} | {', '.join(one.problems)} |"


def places_of(times_s: Sequence[float], n_places: int) -> list[Place]:
    """Before each command, and twice within each of the longest as far as the number goes."""
    places = [Place(command, None) for command in range(len(times_s))]
    for command in sorted(range(len(times_s)), key=lambda k: -times_s[k]):
        places += [Place(command, part * times_s[command]) for part in WITHIN]
    return places[:n_places]


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else PLACES
    TABLE.show(lines_of(wanted), seed="none", write=wanted >= PLACES)
