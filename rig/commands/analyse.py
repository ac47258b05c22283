"""`rig analyse`: run files to friction coefficients."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import CalibrationFile, Json, columns, print_json, print_table, say, tell

if TYPE_CHECKING:
    from rig.analysis.load import Analysis
    from rig.analysis.table import Rows
    from rig.study.slides.again import Again

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
    """Turn run files into slide angles and friction coefficients with uncertainties.

    Lifts with a phone are measured again from their traces, beside what the journal says of them.
    """
    from rig.analysis.load import Analysis
    from rig.analysis.table import write_csv
    from rig.calibration.file import load_calibration
    from rig.runfile.reader import find_runs
    from rig.study.slides.again import lifts_of, traces_in
    from rig.study.slides.analysed import analyse as analyse_paths

    lifts = lifts_of(paths)
    paths = [one for one in paths if not traces_in(one) or (one.is_dir() and find_runs([one]))]
    found, notes = Analysis([], [], []), list[str]()
    if paths:
        found, notes = analyse_paths(
            paths, None if calibration is None else load_calibration(calibration)
        )
    results = [run.result for run in found.runs]
    for sentence in [*found.problems, *notes]:
        say(sentence)
    if table is not None:
        write_csv(table, results)
    if json:
        again = {"lifts": [one.document() for one in lifts]} if lifts else {}
        print_json(found.document(with_budget=budget) | again)
        return
    if results:
        _print_runs(found, budget, everything)
    if results and lifts:
        print()
    _print_lifts(lifts)


def _print_runs(found: "Analysis", budget: bool, everything: bool) -> None:
    from rig.analysis.table import group_rows, run_rows

    results = [run.result for run in found.runs]
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


def _print_lifts(lifts: "Sequence[Again]") -> None:
    """What the journal says and what the traces say now."""
    from rig.quantities.figures import fixed

    if not lifts:
        return
    rows = [("bag", "at", "noted °", "again ± u °", "°/s", "line")]
    for one in lifts:
        header, reading, slide = one.header, one.reading, one.slide
        about = header if reading is None else reading
        again = "–"
        if slide is not None:
            again = f"{fixed(slide.angle_deg, 2)} ± {fixed(slide.layers.u_deg, 2)}"
        rows.append(
            (
                "–" if about is None else f"{about.bag}, {about.face}",
                "–" if about is None else f"{about.at[:16]}Z",
                "–" if one.noted is None else fixed(one.noted.angle_deg, 2),
                again,
                "–" if one.found is None else fixed(one.found.rate_deg_s, 1),
                "–" if reading is None else str(reading.line),
            )
        )
        if one.problem:
            say(f"{one.trace.name}: {one.problem}")
    tell("Lifts with a phone, measured again from their traces")
    print_table(rows)
    if differ := sum(one.differs for one in lifts):
        tell(
            f"{differ} {'differs' if differ == 1 else 'differ'} from the journal, which stays as it"
            " is: `rig study reading STUDY --again` adds lines that replace the older ones."
        )


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
