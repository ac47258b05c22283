"""`rig analyse`: run files to friction coefficients."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import CalibrationFile, Json, columns, print_json, print_table, say, tell

if TYPE_CHECKING:
    from rig.analysis.load import Analysis
    from rig.analysis.table import Rows

BRIEF_RUNS = ("bag", "board", "slide", "angle ± u °", "µ static ± u", "RH %", "flags")
BRIEF_GROUPS = ("bag", "board", "stage", "RH %", "runs", "angle °", "µ static (95 %)", "holds for")
"""What a narrow terminal shows."""


def analyse(
    paths: Annotated[
        list[Path], typer.Argument(metavar="PATH...", help="Run files, folders, studies.")
    ],
    budget: Annotated[
        bool, typer.Option("--budget", help="Also print what the uncertainty consists of.")
    ] = False,
    everything: Annotated[
        bool, typer.Option("--all", help="With --budget: of each run, group and difference.")
    ] = False,
    calibration: CalibrationFile = None,
    table: Annotated[
        Path | None,
        typer.Option("--table", metavar="FILE", help="Also write a CSV, one row for each run."),
    ] = None,
    json: Json = False,
) -> None:
    """Turn run files into slide angles and friction coefficients with uncertainties."""
    from rig.analysis.table import group_rows, run_rows, write_csv
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
    _print_brief(run_rows(results), BRIEF_RUNS)
    print()
    wide = _print_brief(group_rows(found.groups), BRIEF_GROUPS)
    if wide:
        say(f"--table and --json have all columns, and so has a terminal of {wide}.")
    for check in found.checks:
        print()
        tell(check.sentence())
    for comparison in found.comparisons():
        print()
        tell(comparison.sentence())
    if budget:
        _print_summary(found)
        if everything or len(results) == 1:
            _print_budgets(found)


def _print_brief(rows: "Rows", titles: Sequence[str]) -> int:
    """A table, and of one that is too wide for the terminal the chosen columns; then its width."""
    from rig.analysis.columns import picked, width_of

    wide = width_of(rows)
    if wide <= columns():
        print_table(rows)
        return 0
    boards = {row[rows[0].index("board")] for row in rows[1:]}
    print_table(picked(rows, [one for one in titles if one != "board" or len(boards) > 1]))
    return wide


def _print_summary(found: "Analysis") -> None:
    """Of all runs together."""
    from rig.analysis.table import summary_rows

    budgets = [run.budget for run in found.runs if run.budget is not None]
    if not budgets:
        return
    print()
    tell(
        "Uncertainty of the slide angle of one run, standard (k = 1): medians of"
        f" {len(budgets)} {'run' if len(budgets) == 1 else 'runs'}"
    )
    print_table(summary_rows(budgets))
    if len(budgets) > 1:
        tell("--all adds the budget of each run, each group and each difference.")


def _print_budgets(found: "Analysis") -> None:
    """Of each run, of each group, and of the difference of each two groups."""
    from rig.analysis.budget.difference import group_budget, group_name
    from rig.analysis.table import budget_rows, difference_rows

    for run in found.runs:
        if run.budget is not None:
            print(f"\n{run.result.run_id}")
            print_table(budget_rows(run.budget))
    for group in found.made:
        print(f"\n{group_name(group)}, mean of {group.result.n_runs}")
        print_table(budget_rows(group_budget(group)))
    for pair in found.differences():
        print(f"\nA: {pair.a}\nB: {pair.b}")
        print(
            f"µ static, A less B: {pair.difference_mu_static:+.4f}"
            f" ± {pair.expanded_mu_static:.4f} (95 %, k = {pair.k:.2f})"
        )
        print_table(difference_rows(pair))
