"""Random mutations beside the table: how much of the code could go wrong unnoticed?"""

import ast
import random
import time
from collections import Counter
from pathlib import Path
from typing import NamedTuple

from tests.guards import lines
from tests.guards.entry import ROOT
from tests.guards.operators import Mutation, faults, make
from tests.guards.runner import Copy, each
from tests.guards.syntax import Source

LEFT_OUT = (
    "rig/analysis/friction.py",
    "rig/analysis/onset.py",
    "rig/study/advice",
    "rig/study/anova",
    "rig/study/climate_",
    "rig/study/compare",
    "rig/study/outliers",
    "rig/study/power",
    "rig/study/precision",
    "rig/study/stopping",
    "rig/study/tukey",
    "rig/study/variance",
)
"""What is about to be replaced."""

MOST_TESTS_S = 20.0
"""A mutation may cost tests that take this long by themselves; slower ones are left out."""


LIMIT_S = 3.0 * MOST_TESTS_S


class Trial(NamedTuple):
    """One mutation and what became of it."""

    path: str
    mutation: Mutation
    tests: int
    killer: str
    """The test that failed; empty for a survivor."""

    def __str__(self) -> str:
        return f"{self.path}:{self.mutation}"


def main(number: int, seed: int | None, workers: int, package: str | None, again: bool) -> int:
    """Make so many mutations; prints the survivors; returns the exit code."""
    seed = random.SystemRandom().randrange(10**6) if seed is None else seed
    known = lines.load(workers, again=again)
    drawn = draw(number, seed, package)
    print(f"{len(drawn)} random mutations, seed {seed}")
    begun_s = time.monotonic()

    def work(copy: Copy, one: tuple[str, Mutation]) -> Trial:
        return _try(copy, known, *one)

    trials: list[Trial] = []
    for trial in each(work, drawn, workers):
        trials.append(trial)
        what = "killed" if trial.killer else f"survived {trial.tests} tests"
        print(f"{what}: {trial}", flush=True)
    _print_table(trials, time.monotonic() - begun_s)
    return 0 if all(trial.killer for trial in trials) else 1


def draw(number: int, seed: int, package: str | None) -> list[tuple[str, Mutation]]:
    """So many mutations out of all that can be made, each as likely as any other."""
    sources = {}
    for path in sorted((ROOT / "rig").rglob("*.py")):
        name = str(path.relative_to(ROOT))
        if not name.startswith(LEFT_OUT) and (package is None or package in Path(name).parts):
            sources[name] = Source(path.read_text("utf-8"))
    every = [(name, fault) for name, source in sources.items() for fault in faults(source)]
    chosen = random.Random(seed).sample(every, min(number, len(every)))
    return [(name, make(sources[name], fault)) for name, fault in chosen]


def _try(copy: Copy, known: lines.Lines, path: str, mutation: Mutation) -> Trial:
    tests = quickest_tests(known, path, mutation.line)
    with copy.changed(Path(path), mutation.text):
        ran = copy.run(tests, LIMIT_S, options=["-x"]) if tests else None
    if ran is not None and ran.code not in (-2, -1, 0, 1):
        # Tests that can't even be collected notice the fault, unless they are gone anyway.
        if copy.run(tests, LIMIT_S, options=["--collect-only"]).code != 0:
            raise SystemExit("The map of the tests is too old; measure it again with --map.")
    if ran is None or ran.code == 0:
        return Trial(path, mutation, len(tests), "")
    return Trial(path, mutation, len(tests), (ran.failed or ["process"])[0])


def quickest_tests(known: lines.Lines, path: str, line: int) -> list[str]:
    """The tests that meet the line, the quickest first."""
    source = Source((ROOT / path).read_text("utf-8"))
    found = known.tests(path, {line})
    names = _names_set_at(source, line)
    for name in names:
        for other in sorted((ROOT / "rig").rglob("*.py")):
            used = _lines_with(other.read_text("utf-8"), name)
            found |= known.tests(str(other.relative_to(ROOT)), used)
    folder = str(Path("tests", *Path(path).parts[1:-1])) + "/"
    if names or len(found) < 3:
        # A line that runs at import belongs to whichever test came first, and a default to none.
        found |= {test for test in known.seconds if test.startswith(folder)}
    ordered, spent_s = [], 0.0
    for test in sorted(found, key=lambda one: known.seconds.get(one, 0.0)):
        spent_s += known.seconds.get(test, 0.0)
        if spent_s > MOST_TESTS_S:
            break
        ordered.append(test)
    return ordered


def _names_set_at(source: Source, line: int) -> set[str]:
    """Names that the module or a class of it sets in this line, which runs at import."""
    names = set()
    for node in ast.walk(source.tree):
        if isinstance(node, ast.Module | ast.ClassDef):
            for inner in node.body:
                if not isinstance(inner, ast.Assign | ast.AnnAssign):
                    continue
                if inner.lineno <= line <= (inner.end_lineno or 0):
                    targets = inner.targets if isinstance(inner, ast.Assign) else [inner.target]
                    names |= {one.id for one in targets if isinstance(one, ast.Name)}
    return names


def _lines_with(text: str, name: str) -> set[int]:
    return {number for number, line in enumerate(text.splitlines(), 1) if name in line}


def _print_table(trials: list[Trial], seconds: float) -> None:
    killed: Counter[str] = Counter()
    every: Counter[str] = Counter()
    for trial in trials:
        parts = Path(trial.path).parts
        package = parts[1] if len(parts) > 2 else "top"
        every[package] += 1
        killed[package] += bool(trial.killer)
    print(f"\n{'package':<14}{'killed':>8}{'of':>6}")
    for package in sorted(every):
        print(f"{package:<14}{killed[package]:>8}{every[package]:>6}")
    share = 100.0 * killed.total() / max(every.total(), 1)
    print(f"{'all':<14}{killed.total():>8}{every.total():>6}   {share:.0f} %")
    print(f"in {seconds / 60:.0f} min")
