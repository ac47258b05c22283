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
    from rig.analysis.table import budget_rows, format_table, group_rows, run_rows, write_csv
    from rig.calibration.file import load_calibration

    found = analyse_paths(paths, None if calibration is None else load_calibration(calibration))
    results = [run.result for run in found.runs]
    for problem in found.problems:
        say(problem)
    if table is not None:
        write_csv(table, results)
    if json:
        print_json(found.document(with_budget=budget))
        return
    print(format_table(run_rows(results)))
    print()
    print(format_table(group_rows(found.groups)))
    if budget:
        for run in found.runs:
            if run.budget is not None:
                print(f"\n{run.result.run_id}")
                print(format_table(budget_rows(run.budget)))
