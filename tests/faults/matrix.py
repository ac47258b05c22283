"""The whole matrix: `python -m tests.faults.matrix` runs every case and writes the table.

`python -m tests.faults.matrix NAME…` shows the cases whose name contains a word, and writes
nothing.
"""

import sys
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from itertools import groupby
from pathlib import Path

from tests.faults.catalogue import FAULTS, HERE
from tests.faults.harness import Outcome, run_case

TABLE = HERE / "README.md"


def cases() -> list[tuple[int, str]]:
    """Number of the fault, and the state."""
    return [(i, state) for i, fault in enumerate(FAULTS) for state in fault.states]


def one(case: tuple[int, str]) -> Outcome:
    """Run a case in a folder of its own."""
    number, state = case
    with tempfile.TemporaryDirectory() as folder:
        return run_case(FAULTS[number], state, Path(folder))


def table(found: Iterable[Outcome]) -> str:
    """The summary as Markdown."""
    rows = list(found)
    lines = [
        "# Fault matrix",
        "",
        "Written by `python -m tests.faults.matrix`, which lets every fault happen in every state"
        " in which it can, on the twin in virtual time; the quick tests take a part of the same"
        " cases. Two runs are asked for and the fault comes in the first one.",
        "",
        f"{len(FAULTS)} faults, {len(rows)} cases,"
        f" {sum(bool(row.problems) for row in rows)} not as they should be;"
        " about a minute of computing.",
        "",
        "*Last pulse* is the latest over the states, after the fault could be seen (when a level"
        " changes, a time-out of the table passes, or the next reading is due); 50 ms are allowed,"
        " and a minus means before. *Valid* counts runs that were reported as valid. Every file"
        " was read back.",
        "",
        "| fault | states | ends as | cause | last pulse, ms | driver | valid |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    endings = {fault.name: fault.ending for fault in FAULTS}
    for name, group in groupby(rows, key=lambda row: row.fault):
        of = list(group)
        causes = ", ".join(sorted({f"`{row.cause}`" for row in of if row.cause})) or "–"
        late = f"{max(row.late_ms for row in of):.0f}" if endings[name] == "fault" else "–"
        bad = " / ".join(f"{row.state}: {'; '.join(row.problems)}" for row in of if row.problems)
        lines.append(
            f"| {name} | {', '.join(row.state for row in of)} | {endings[name]} | {causes} | {late}"
            f" | {'off' if all(row.driver_off for row in of) else 'ON'}"
            f" | {sum(row.valid_runs for row in of)}{f' **{bad}**' if bad else ''} |"
        )
    return "\n".join(lines) + "\n"


def main() -> int:
    """Run what is asked for; 1 if a case is not as it should be."""
    words = sys.argv[1:]
    wanted = [c for c in cases() if not words or any(w in FAULTS[c[0]].name for w in words)]
    began = time.monotonic()
    with ProcessPoolExecutor(max_workers=2) as pool:
        found = list(pool.map(one, wanted))
    seconds = time.monotonic() - began
    for row in found:
        mark = "BAD " if row.problems else "good"
        print(f"{mark} {row.fault:<50} {row.state:<9} {row.cause:<24} {row.late_ms:8.0f} ms")
        for problem in row.problems:
            print(f"       {problem}")
    bad = sum(bool(row.problems) for row in found)
    print(f"{len(found)} cases, {bad} not as they should be, {seconds:.0f} s")
    if not words:
        TABLE.write_text(table(found), "utf-8")
    return bad > 0


if __name__ == "__main__":
    sys.exit(main())
