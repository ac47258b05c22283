"""Faults of the processes behind the page: `python -m tests.faults.process_matrix` runs them all.

It writes the table of `PROCESSES.md`; with words it shows the cases whose name contains one, and
writes nothing. Run it on a computer with nothing else to do: it measures.
"""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import nullcontext, suppress
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from rig.errors import BadInputError
from rig.runfile.reader import read_run
from tests.bench.heading import Table, columns
from tests.faults.catalogue_processes import PROCESS_FAULTS, ProcessFault
from tests.faults.page_process import page_process
from tests.faults.watched import Watch
from tests.small_disk import small_disk

BRAKED_S = 1.0
"""From pressing Stop on the page to the last step pulse: half a second, and the braking."""
TRIES = 4
TABLE = Table(
    "tests/faults/PROCESSES.md",
    "processes",
    (
        *(f"rig/commands/{name}.py" for name in ("attended", "main", "panel", "terminal")),
        *(f"rig/control/{name}.py" for name in ("interlocks", "mover", "process/signals")),
        *(f"rig/panel/{name}.py" for name in ("guard", "link", "server", "stream", "web")),
        *(
            f"tests/faults/{name}.py"
            for name in ("catalogue_processes", "page_process", "process_matrix", "watched")
        ),
    ),
)


class NotReachedError(Exception):
    """The series did not come to the state: nothing was tested."""


class Case(NamedTuple):
    """What came of one fault in one state."""

    fault: str
    state: str
    rest_s: float
    is_confirmed: bool
    exit_code: int
    is_off: bool
    problems: tuple[str, ...]


def run_case(fault: ProcessFault, state: str, folder: Path) -> Case:
    """Let it happen in a state of a series, press Stop on the page, and end the program."""
    few = fault.most_inodes
    disk = nullcontext(None) if few is None else small_disk(folder / "disk", f"nr_inodes={few}")
    with disk as runs, page_process(folder, None if runs is None else runs / "runs") as page:
        if state != "parked":
            page.begin(ready=state != "placing")
            try:
                page.wait_until(state)
            except AssertionError as error:
                raise NotReachedError(f"{fault.name}, {state}: {page.said}") from error
        files = list(page.runs.rglob("*.run.jsonl"))
        fault.act(page)
        stopped = page.press_stop()
        page.end_stall()
        code = -9 if fault.ends_machine else page.end()
        is_off = not Watch.read(page.motor).is_enabled
        problems = [
            *([] if stopped.rest_s < BRAKED_S or not stopped.is_confirmed else ["confirmed, late"]),
            *([] if is_off or fault.ends_machine else ["driver on"]),
            *([] if code in (130, -9) else [f"exit code {code}"]),
            *(["traceback"] if "Traceback" in page.said else []),
            *_lost(files if page.runs.exists() else []),
        ]
        if problems:
            print(page.said[-2000:], file=sys.stderr)
        return Case(
            fault.name, state, stopped.rest_s, stopped.is_confirmed, code, is_off, tuple(problems)
        )


def tried(fault: ProcessFault, state: str) -> Case:
    """Run a case in a folder of its own.

    Where a busy computer kept its series from the state, before anything was done, begin again.
    """
    for _ in range(TRIES - 1):
        with tempfile.TemporaryDirectory() as folder, suppress(NotReachedError):
            return run_case(fault, state, Path(folder))
    with tempfile.TemporaryDirectory() as folder:
        return run_case(fault, state, Path(folder))


def _lost(files: list[Path]) -> Iterator[str]:
    """What was recorded must be readable, to its end or to where it was cut off."""
    for path in files:
        try:
            problems = read_run(path).problems
        except (BadInputError, OSError) as error:
            yield f"lost: {error}"
        else:
            yield from (f"damaged: {it}" for it in problems if "cut off" not in it)


def lines_of(cases: list[Case]) -> Iterator[str]:
    """The lines of the table in Markdown."""
    n_bad = sum(bool(case.problems) for case in cases)
    n_faults = len({case.fault for case in cases})
    yield f"{n_faults} faults, {len(cases)} cases, {n_bad} not as they should be."
    yield ""
    yield from columns("fault", "states", "at rest after, s", "page says", "exit", "driver")
    for name, group in groupby(cases, key=lambda case: case.fault):
        of = list(group)
        rests = [case.rest_s for case in of if case.rest_s > 0]
        rest = f"{max(rests):.2f}" if rests else "stood already"
        says = sorted({"confirmed" if case.is_confirmed else "not confirmed" for case in of})
        ends = sorted({str(case.exit_code) for case in of})
        bad = " / ".join(f"{c.state}: {'; '.join(c.problems)}" for c in of if c.problems)
        is_off = all(case.is_off for case in of)
        killed = ends == ["-9"]
        yield (
            f"| {name} | {', '.join(case.state for case in of)} | {rest} | {', '.join(says)}"
            f" | {', '.join(ends)} | {'off' if is_off else 'as it was' if killed else 'ON'}"
            f"{f' **{bad}**' if bad else ''} |"
        )


def main() -> int:
    """Run what is asked for; 1 if a case is not as it should be."""
    words = sys.argv[1:]
    found: list[Case] = []

    def lines() -> Iterator[str]:
        for fault in PROCESS_FAULTS:
            if words and not any(word in fault.name for word in words):
                continue
            for state in fault.states:
                found.append(case := tried(fault, state))
                print(case, file=sys.stderr, flush=True)
        yield from lines_of(found)

    TABLE.show(lines(), seed=4, write=not words)
    return any(case.problems for case in found)


if __name__ == "__main__":
    sys.exit(main())
