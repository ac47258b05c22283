"""The whole matrix: `python -m tests.faults.matrix` runs every case and writes the table.

`python -m tests.faults.matrix NAME…` shows the cases whose name contains a word, and writes
nothing.
"""

import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from itertools import groupby
from pathlib import Path

from tests.bench.heading import Table, columns
from tests.bench.inputs import CYCLE
from tests.faults.catalogue import FAULTS
from tests.faults.harness import Outcome, run_case

TABLE = Table(
    "tests/faults/README.md",
    "faults",
    (
        *CYCLE,
        *(
            f"rig/control/{name}.py"
            for name in (
                "blade/axis",
                "blade/placing",
                "faults/computer",
                "faults/motion",
                "faults/placing",
                "faults/sensors",
                "placing",
                "progress_watch",
            )
        ),
        *(f"tests/faults/{name}.py" for name in ("catalogue", "catalogue_blade", "harness")),
        "tests/faults/injections.py",
    ),
)


def cases() -> list[tuple[int, str]]:
    """Number of the fault, and the state."""
    return [(i, state) for i, fault in enumerate(FAULTS) for state in fault.states]


def one(case: tuple[int, str]) -> Outcome:
    """Run a case in a folder of its own."""
    number, state = case
    with tempfile.TemporaryDirectory() as folder:
        return run_case(FAULTS[number], state, Path(folder))


def lines_of(rows: list[Outcome]) -> Iterator[str]:
    """The lines of the table in Markdown."""
    n_bad = sum(bool(row.problems) for row in rows)
    yield f"{len(FAULTS)} faults, {len(rows)} cases, {n_bad} not as they should be."
    yield ""
    yield from columns("fault", "states", "ends as", "cause", "last pulse, ms", "driver", "valid")
    endings = {fault.name: fault.ending for fault in FAULTS}
    for name, group in groupby(rows, key=lambda row: row.fault):
        of = list(group)
        causes = ", ".join(sorted({f"`{row.cause}`" for row in of if row.cause})) or "–"
        late = f"{max(row.late_ms for row in of):.0f}" if endings[name] == "fault" else "–"
        bad = " / ".join(f"{row.state}: {'; '.join(row.problems)}" for row in of if row.problems)
        yield (
            f"| {name} | {', '.join(row.state for row in of)} | {endings[name]} | {causes} | {late}"
            f" | {'off' if all(row.driver_off for row in of) else 'ON'}"
            f" | {sum(row.valid_runs for row in of)}{f' **{bad}**' if bad else ''} |"
        )


def run_all(wanted: list[tuple[int, str]]) -> list[Outcome]:
    """Run the cases, and tell of each on standard error."""
    found = []
    with ProcessPoolExecutor(max_workers=2) as pool:
        for row in pool.map(one, wanted):
            mark = "BAD " if row.problems else "good"
            told = f"{mark} {row.fault:<50} {row.state:<9} {row.cause:<24} {row.late_ms:8.0f} ms"
            print(told, *row.problems, sep="\n       ", file=sys.stderr)
            found.append(row)
    return found


def main() -> int:
    """Run what is asked for; 1 if a case is not as it should be."""
    words = sys.argv[1:]
    wanted = [c for c in cases() if not words or any(w in FAULTS[c[0]].name for w in words)]
    found: list[Outcome] = []

    def lines() -> Iterator[str]:
        found.extend(run_all(wanted))
        yield from lines_of(found)

    TABLE.show(lines(), seed=3, write=not words)
    return any(row.problems for row in found)


if __name__ == "__main__":
    sys.exit(main())
