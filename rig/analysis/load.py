"""From paths to results: every run file found, analysed, and grouped."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from rig.analysis.budget.difference import Difference, difference, group_budget
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import Group, GroupResult, make_groups
from rig.analysis.material import MaterialCheck, material_checks, rated_slides, widened
from rig.analysis.placing import Equivalence, compare_ways
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.files.plain import plain
from rig.runfile.reader import find_runs, read_run

if TYPE_CHECKING:
    import pandas as pd

MOST_GROUPS = 6
"""With more groups than this the list of all pairs is too long to be useful."""


class Analysis(NamedTuple):
    """What came of all the files; `problems` are sentences about what could not be read."""

    runs: list[RunAnalysis]
    made: list[Group]
    problems: list[str]
    checks: Sequence[MaterialCheck] = ()
    n_unchecked: int = 0
    """Run files among them that were written without a check."""

    def __repr__(self) -> str:
        runs, groups = len(self.runs), len(self.made)
        return (
            f"<Analysis: {runs} {'run' if runs == 1 else 'runs'},"
            f" {groups} {'group' if groups == 1 else 'groups'}>"
        )

    def to_pandas(self) -> "pd.DataFrame":
        """A row for each run, with the keys of `rig analyse --json`; needs pandas."""
        import pandas as pd

        return pd.DataFrame([msgspec.to_builtins(run.result) for run in self.runs])

    @property
    def groups(self) -> list[GroupResult]:
        """The results of the groups."""
        return [group.result for group in self.made]

    def differences(self) -> list[Difference]:
        """Each pair of groups, the earlier less the later; none with very many groups."""
        if len(self.made) > MOST_GROUPS:
            return []
        return [difference(a, b) for a, b in combinations(self.made, 2)]

    def comparisons(self) -> list[Equivalence]:
        """Blade with hand placing, quick with whole raises; empty without both kinds."""
        return compare_ways(self.runs)

    def document(self, with_budget: bool = False) -> dict[str, Any]:
        """The results as plain values for JSON: `runs`, `groups`, `problems`.

        With the budgets each run and each group has its `budget`, and there are `differences`.
        """
        rows = []
        for analysis in self.runs:
            row = msgspec.to_builtins(analysis.result)
            if with_budget:
                budget = analysis.budget
                row["budget"] = None if budget is None else budget.lines()
            rows.append(row)
        groups = msgspec.to_builtins(self.groups)
        document = {"runs": rows, "groups": groups, "problems": self.problems}
        if with_budget:
            for row, group in zip(groups, self.made, strict=True):
                row["budget"] = group_budget(group).lines()
            document["differences"] = [plain(found) for found in self.differences()]
        if comparisons := self.comparisons():
            document["comparisons"] = [
                msgspec.to_builtins(found) | {"says": found.sentence()} for found in comparisons
            ]
        if self.checks:
            document["material_checks"] = [
                msgspec.to_builtins(check) | {"says": check.sentence()} for check in self.checks
            ]
        return document


def analyse(paths: Iterable[Path], calibration: Calibration | None = None) -> Analysis:
    """Analyse run files, and all run files in folders.

    Args:
        paths: files or folders.
        calibration: used instead of those in the run files.

    Raises:
        BadInputError: a path does not exist, no run file was found, or none could be used.
    """
    paths = list(paths)
    files = find_runs(paths)
    if not files:
        raise BadInputError(
            f"There is no run file (*.run.jsonl) in {', '.join(map(str, paths))}; name another "
            "file or folder."
        )
    runs: list[RunAnalysis] = []
    problems: list[str] = []
    for _, found in analyses(files, calibration):
        if isinstance(found, BadInputError):
            problems.append(str(found))
        else:
            problems.extend(found.run.problems)
            runs.append(found)
    return analysis_of(runs, problems)


def analyses(
    files: Iterable[Path], calibration: Calibration | None = None
) -> Iterator[tuple[Path, RunAnalysis | BadInputError]]:
    """Each file with what the analysis makes of it, or why it can't be used."""
    for path in files:
        try:
            yield path, analyse_run(read_run(path), calibration)
        except BadInputError as error:
            yield path, error


def analysis_of(runs: Sequence[RunAnalysis], problems: list[str]) -> Analysis:
    """Groups and checks of the material, of runs that were analysed one by one.

    Raises:
        BadInputError: there are none; it says the first problem.
    """
    if not runs:
        raise BadInputError(problems[0])
    checks = material_checks(rated_slides(one.result for one in runs))
    all_runs = widened(runs, checks)
    unchecked = sum(one.run.is_unchecked for one in runs)
    return Analysis(all_runs, make_groups(all_runs), problems, checks, unchecked)
