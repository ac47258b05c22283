"""Signals at random moments: `python -m tests.faults.signals_anywhere 150` writes `SIGNALS.md`.

Fewer than 100 only print. Each command runs on the twin in a process of its own, which is sent one
signal, or two in quick succession, at a random moment after its first line of code.
"""

import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

import adafruit_bme280.advanced  # noqa: F401 - loaded here, so that each process need not
import scipy.special
import scipy.stats  # noqa: F401

from rig.commands.main import main
from rig.control.process.signals import CAUGHT
from tests.bench.heading import Table, columns
from tests.faults.kill_series import wait
from tests.faults.watched import Watch, watch

COMMANDS = {
    "run": (["run", "--twin", "--repeat", "3", "--now", "--out", "runs"], 4.0),
    "run --plan": (["run", "--plan", "club", "--twin"], 8.0),
    "level": (["level", "--twin"], 5.0),
    "demo": (["demo", "--out", "demo"], 25.0),
    "panel": (["panel", "--twin", "--port", "0", "--out", "runs"], 3.0),
}
"""What is run, and within how many seconds the signal comes."""
STUDY = (
    ["study", "new", "club", "--name", "A club", "--runs", "2", "--wish", "18"],
    ["study", "board", "club", "shed board", "--material", "birch plywood"],
    ["study", "climate", "club", "mild", "--temperature", "20:3", "--humidity", "50:9"],
    ["study", "bag", "club", "Heron 1", "--set", "Heron", "--role", "control"],
    ["study", "bag", "club", "Knot 1", "--set", "Knot", "--role", "control"],
    ["study", "bag", "club", "Plover", "--role", "reference", "--face", "slick"],
    ["study", "plan", "club"],
)
WORKERS = 2
TABLE = Table(
    "tests/faults/SIGNALS.md",
    "signals",
    (
        *(f"rig/commands/{name}.py" for name in ("attended", "main", "run/series", "terminal")),
        "rig/control/process/signals.py",
        "tests/faults/signals_anywhere.py",
        "tests/faults/watched.py",
    ),
)


class End(NamedTuple):
    """How a process ended after its signal."""

    command: str
    problems: tuple[str, ...]
    took_s: float


def start(folder: Path, words: list[str]) -> int:
    """A process that runs a command in this folder."""
    process = os.fork()
    if process:
        return process
    code = 70
    try:
        os.setsid()
        os.chdir(folder)
        out = os.open("said", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(out, 1)
        os.dup2(out, 2)
        watch(folder / "motor")
        sys.argv = ["rig", *words]
        main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        os._exit(code)


def made_study(folder: Path) -> None:
    """A study whose plan is not begun."""
    for words in STUDY:
        status = wait(start(folder, words), 60.0)
        assert status == 0, (words, (folder / "said").read_text("utf-8"))


def one(command: str, draw: random.Random, study: Path) -> End | None:
    """Send a signal to a command; None when it was over before."""
    words, longest_s = COMMANDS[command]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if "--plan" in command:
            shutil.copytree(study, folder / "club")
        process = start(folder, words)
        while not (folder / "motor").exists():
            time.sleep(0.001)  # noqa: TID251 - a process is waited for, not a rig
        status = wait(process, draw.uniform(0.05, longest_s))
        if status is not None:
            return None
        sent_s = time.monotonic()
        for number in draw.sample(CAUGHT, draw.choice([1, 1, 2])):
            os.kill(process, number)
            time.sleep(0.002)  # noqa: TID251 - a process is waited for, not a rig
        status = wait(process, 30.0)
        took_s = time.monotonic() - sent_s
        return End(command, problems_of(command, process, status, folder), took_s)


def problems_of(what: str, process: int, status: int | None, folder: Path) -> tuple[str, ...]:
    """What is not as it should be at the end of a process that got a signal."""
    problems = []
    if status is None:
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)
        problems.append("it did not end")
    elif os.waitstatus_to_exitcode(status) != 130:
        problems.append(f"exit code {os.waitstatus_to_exitcode(status)}")
    said = (folder / "said").read_text("utf-8", "replace")
    for log in folder.glob("demo/log/*"):
        said = log.read_text("utf-8", "replace") + said
    if "Traceback" in said or "Exception ignored" in said:
        problems.append("traceback")
    if "rig: Ended by SIG" not in said:
        problems.append("no word of it")
    if Watch.read(folder / "motor").is_enabled:
        problems.append("driver on")
    if problems:
        print(what, problems, said[-3000:], sep="\n", file=sys.stderr, flush=True)
    return tuple(problems)


def some(n: int, seed: int) -> list[End]:
    """So many signals to each command."""
    draw, found = random.Random(seed), []
    with tempfile.TemporaryDirectory() as name:
        made_study(Path(name))
        for command in COMMANDS:
            left = n
            while left:
                end = one(command, draw, Path(name) / "club")
                if end is not None:
                    found.append(end)
                    left -= 1
    return found


def lines_of(n: int) -> Iterator[str]:
    """Send them; the lines of the table in Markdown."""
    each = max(1, n // len(COMMANDS) // WORKERS)
    with ProcessPoolExecutor(WORKERS) as pool:
        ends = [e for part in pool.map(some, [each] * WORKERS, range(1, 1 + WORKERS)) for e in part]
    n_bad = sum(bool(end.problems) for end in ends)
    yield f"{len(ends)} signals, {n_bad} of them with an end that is not as it should be."
    yield ""
    yield from columns("command", "signals", "longest until its end, s", "not as they should be")
    for command in COMMANDS:
        of = [end for end in ends if end.command == command]
        bad = Counter(problem for end in of for problem in end.problems)
        told = ", ".join(f"{what} (× {times})" for what, times in bad.items()) or "0"
        yield f"| `{command}` | {len(of)} | {max(end.took_s for end in of):.1f} | {told} |"


if __name__ == "__main__":
    wanted = int(sys.argv[1])
    TABLE.show(lines_of(wanted), seed=f"1 … {WORKERS}", write=wanted >= 100)
