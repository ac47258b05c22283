"""Kills real-time series at random moments and looks at what they leave behind.

`python -m tests.faults.kill_series 300` kills 300 times and writes the table of `KILLS.md`; fewer
than 100 only print. A second number is that of the runs in a series. Each series is a process of
its own that is killed by SIGKILL, resumed, killed again, until it is whole; then the next series
begins.
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
from datetime import UTC, datetime
from pathlib import Path

import adafruit_bme280.advanced  # noqa: F401 - loaded here, so that each process need not
import scipy.optimize
import scipy.special  # noqa: F401

from rig.errors import BadInputError
from rig.procedures.series.log import COUNTED, Ended, Planned, SeriesLog
from rig.runfile.reader import read_run
from tests.bench.heading import Table
from tests.faults.quick_series import main as make_series

RUNS = int(sys.argv[2]) if len(sys.argv) > 2 else 4
LONGEST_S = 1.0 + 2.0 * RUNS
"""A process is killed after so long at most; a cycle takes some four seconds."""
WORKERS = 4
"""Series at the same time; each takes about a third of a core."""
TABLE = Table(
    "tests/faults/KILLS.md",
    "kills",
    (
        "rig/control/recorder.py",
        "rig/procedures/series/cut_runs.py",
        "rig/procedures/runs.py",
        "rig/procedures/series/log.py",
        "rig/runfile/reader.py",
        "rig/runfile/writer.py",
        "tests/faults/kill_series.py",
        "tests/faults/quick_series.py",
    ),
)


def start(folder: Path) -> int:
    """A process that makes what is left of the series."""
    process = os.fork()
    if process:
        return process
    code = 1
    try:
        os.dup2(os.open(folder.parent / "output.txt", os.O_WRONLY | os.O_CREAT | os.O_APPEND), 2)
        make_series(folder, RUNS)
        code = 0
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(code)


def wait(process: int, seconds: float) -> int | None:
    """Exit status once it has ended; None when it still runs after this time."""
    deadline_s = time.monotonic() + seconds
    while time.monotonic() < deadline_s:
        done, status = os.waitpid(process, os.WNOHANG)
        if done:
            return status
        time.sleep(0.005)  # noqa: TID251 - a process is waited for, not a rig
    done, status = os.waitpid(process, os.WNOHANG)  # it may have ended in the last of these
    return status if done else None


def check(folder: Path) -> tuple[str, int]:
    """Look at a folder whose process is dead.

    Returns:
        State that the last run was cut off in ("whole" when it was not), and the runs that count.

    Raises:
        AssertionError: a file is not readable, or a run is counted twice or lost.
    """
    whole, state = set(), "whole"
    for path in sorted(folder.rglob("*.run.jsonl")):
        try:
            run = read_run(path)
        except BadInputError as error:
            # Killed between the making of the file and its first line: it must say just that.
            if "before its first line was written" not in str(error):
                raise
            state = "before its first line"
            continue
        is_cut = all("cut off" in problem for problem in run.problems)
        assert is_cut, run.problems
        if run.end is not None and run.end.outcome in COUNTED:
            whole.add(str(path.relative_to(folder)))
            state = "whole"
        else:
            states = [e.detail["state"] for e in run.events if e.event == "state"]
            state = states[-1] if states else "before its first state"
    if not (folder / "series.jsonl").exists():
        return "before the series", 0
    with SeriesLog(folder) as log:
        log.settle(datetime.now(UTC))
        planned = log.entries[0] if log.entries else None
        if not isinstance(planned, Planned):
            return "before the series", 0
        series = log.series(planned)
        assert set(series.counted.values()) == whole, "a run is lost or counted twice"
        assert len(series.counted) + len(series.remaining) == RUNS
        told = Counter(e.run_id for e in log.entries if isinstance(e, Ended))
        assert max(told.values(), default=1) == 1, "an end is told twice"
        return state, len(series.counted)


def kill_many(n_kills: int, seed: int) -> tuple[Counter[str], int]:
    """Kill so often, then let a series end; returns where runs were cut off, and whole series."""
    draw = random.Random(seed)
    where: Counter[str] = Counter()
    n_whole, n_kept = 0, 0
    root = Path(tempfile.mkdtemp())
    folder = root / "series 0"
    while where.total() < n_kills or n_whole == 0 or folder.exists():
        is_last = where.total() >= n_kills
        process = start(folder)
        status = wait(process, 120.0 if is_last else draw.uniform(0.02, LONGEST_S))
        if status is None:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
            state, counted = check(folder)
            where[state] += 1
            assert counted >= n_kept, "a run that counted is lost"
            n_kept = counted
            continue
        state, n_kept = check(folder)
        if n_kept == RUNS:
            n_whole += 1
            n_kept = 0
            shutil.rmtree(folder)
            folder = root / f"series {n_whole}"
        else:
            where_from = (root / "output.txt").read_text()
            assert "MachineFaultError" in where_from or "StoppedError" in where_from, where_from
    shutil.rmtree(root)
    return where, n_whole


def lines_of(n: int) -> Iterator[str]:
    """Kill so often; the lines of the table in Markdown."""
    shares = [n // WORKERS + (i < n % WORKERS) for i in range(WORKERS)]
    began_s = time.monotonic()
    with ProcessPoolExecutor(WORKERS) as pool:
        found = list(pool.map(kill_many, shares, range(1, 1 + WORKERS)))
    where = sum((counter for counter, _ in found), Counter[str]())
    n_whole, seconds = sum(whole for _, whole in found), time.monotonic() - began_s
    yield (
        f"{n} kills in series of {RUNS} runs; {n_whole} series were made whole in"
        f" {seconds / 60:.0f} min. Every file was readable after every kill, no run was counted"
        " twice or lost."
    )
    yield ""
    yield from ("| the last run was cut off in | kills |", "| --- | ---: |")
    yield from (f"| {state} | {count} |" for state, count in where.most_common())


def main() -> None:
    """Kill and tell."""
    n = int(sys.argv[1])
    TABLE.show(lines_of(n), seed=f"1 … {WORKERS}", write=n >= 100)


if __name__ == "__main__":
    main()
