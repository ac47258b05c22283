"""The matrix of a rig without a motor: `python -m tests.faults.matrix_by_hand [--write]`."""

import argparse
import sys
import tempfile
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

from tests.bench.heading import Table, columns
from tests.bench.inputs import CYCLE
from tests.faults.catalogue_hand import FAULTS
from tests.faults.harness import Outcome, run_case

TABLE = Table(
    "tests/faults/HAND.md",
    "faults by hand",
    (
        *CYCLE,
        *(f"rig/control/{name}.py" for name in ("hand_cycle", "pace", "placing")),
        *(f"tests/faults/{name}.py" for name in ("catalogue_hand", "harness", "injections")),
    ),
)


def run_all() -> list[Outcome]:
    """Run every case, each in a folder of its own."""
    found = []
    for fault in FAULTS:
        for state in fault.states:
            with tempfile.TemporaryDirectory() as folder:
                found.append(run_case(fault, state, Path(folder)))
            bad = "; ".join(found[-1].problems)
            print(f"{'BAD ' if bad else 'good'} {fault.name}, {state}: {bad}", file=sys.stderr)
    return found


def lines_of(rows: list[Outcome]) -> Iterator[str]:
    """The lines of the table in Markdown."""
    n_bad = sum(bool(row.problems) for row in rows)
    yield f"{len(FAULTS)} faults, {len(rows)} cases, {n_bad} not as they should be."
    yield ""
    yield from columns("fault", "states", "ends as", "cause", "valid")
    endings = {fault.name: fault.ending for fault in FAULTS}
    for name, group in groupby(rows, key=lambda row: row.fault):
        of = list(group)
        causes = ", ".join(sorted({f"`{row.cause}`" for row in of if row.cause})) or "–"
        bad = " / ".join(f"{row.state}: {'; '.join(row.problems)}" for row in of if row.problems)
        states = ", ".join(row.state for row in of)
        told = f"{sum(row.valid_runs for row in of)}{f' **{bad}**' if bad else ''}"
        yield f"| {name} | {states} | {endings[name]} | {causes} | {told} |"


def main() -> int:
    """Run all; 1 if a case is not as it should be."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults.matrix_by_hand")
    parser.add_argument("--write", action="store_true", help="into HAND.md")
    found = run_all()
    TABLE.show(lines_of(found), seed=3, write=parser.parse_args().write)
    return any(row.problems for row in found)


if __name__ == "__main__":
    sys.exit(main())
