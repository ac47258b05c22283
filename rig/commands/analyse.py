"""`rig analyse`: run files to friction coefficients."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import Json, print_json, say


def analyse(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH...", help="Run files or folders.")],
    budget: Annotated[
        bool, typer.Option("--budget", help="Also print what the uncertainty is made of.")
    ] = False,
    calibration: Annotated[
        Path | None,
        typer.Option("--calibration", metavar="FILE", help="Use this one, not the runs' own."),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option("--table", metavar="FILE", help="Also write a CSV, one row for each run."),
    ] = None,
    json: Json = False,
) -> None:
    """Turn run files into slide angles and friction coefficients with uncertainties."""
    from rig.analysis.load import analyse as analyse_paths
    from rig.analysis.table import budget_text, groups_text, runs_text, write_table
    from rig.calibration.file import load_calibration

    found = analyse_paths(paths, None if calibration is None else load_calibration(calibration))
    for problem in found.problems:
        say(problem)
    if table is not None:
        write_table(table, found.runs)
    if json:
        print_json(found.as_document())
        return
    print(runs_text(found.runs))
    print()
    print(groups_text(found.groups))
    if budget:
        for result in found.runs:
            print()
            print(budget_text(result))
