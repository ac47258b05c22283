"""From paths to results: every run file found, analysed, and grouped."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import GroupResult, group_runs
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.reader import find_runs, read_run


class Analysis(NamedTuple):
    """What came of all the files; `problems` are sentences about what could not be read."""

    runs: list[RunAnalysis]
    groups: list[GroupResult]
    problems: list[str]

    def document(self, with_budget: bool = False) -> dict[str, Any]:
        """The results as plain values for JSON: `runs`, `groups`, `problems`."""
        rows = []
        for analysis in self.runs:
            row = msgspec.to_builtins(analysis.result)
            if with_budget:
                budget = analysis.budget
                row["budget"] = None if budget is None else msgspec.to_builtins(budget.components)
            rows.append(row)
        return {
            "runs": rows,
            "groups": msgspec.to_builtins(self.groups),
            "problems": self.problems,
        }


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
    errors: list[BadInputError] = []
    for path in files:
        try:
            run = read_run(path)
            analysis = analyse_run(run, calibration)
        except BadInputError as error:
            errors.append(error)
            problems.append(str(error))
            continue
        problems.extend(run.problems)
        runs.append(analysis)
    if not runs:
        raise errors[0]
    return Analysis(runs, group_runs(runs), problems)
