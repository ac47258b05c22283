"""`rig analyse`: run files to friction coefficients."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import Json, print_json, say

if TYPE_CHECKING:
    from rig.analysis.load import Analysis


def analyse(
    paths: Annotated[
        list[Path], typer.Argument(metavar="PATH...", help="Run files, folders, studies.")
    ],
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
    from rig.analysis.rate_study_text import study_text
    from rig.analysis.table import format_table, group_rows, run_rows, write_csv
    from rig.calibration.file import load_calibration
    from rig.study.slides.analysed import analyse as analyse_paths

    found, notes = analyse_paths(
        paths, None if calibration is None else load_calibration(calibration)
    )
    results = [run.result for run in found.runs]
    for sentence in [*found.problems, *notes]:
        say(sentence)
    if table is not None:
        write_csv(table, results)
    if json:
        print_json(found.document(with_budget=budget))
        return
    print(format_table(run_rows(results)))
    print()
    print(format_table(group_rows(found.groups)))
    for one in found.studies:
        print(f"\n{study_text(one)}")
    for comparison in found.comparisons():
        print(f"\n{comparison.sentence()}")
    if budget:
        _print_budgets(found)


def _print_budgets(found: "Analysis") -> None:
    """Of each run, of each group, and of the difference of each two groups."""
    from rig.analysis.budget.difference import group_budget, group_name
    from rig.analysis.table import budget_rows, difference_rows, format_table

    for run in found.runs:
        if run.budget is not None:
            print(f"\n{run.result.run_id}")
            print(format_table(budget_rows(run.budget)))
    for group in found.made:
        print(f"\n{group_name(group)}, mean of {group.result.n_runs}")
        print(format_table(budget_rows(group_budget(group))))
    for pair in found.differences():
        print(f"\nA: {pair.a}\nB: {pair.b}")
        print(
            f"µ static, A less B: {pair.difference_mu_static:+.4f}"
            f" ± {pair.expanded_mu_static:.4f} (95 %, k = {pair.k:.2f})"
        )
        print(format_table(difference_rows(pair)))
