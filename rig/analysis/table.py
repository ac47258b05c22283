"""Results as text for a terminal and as a tidy table for any statistics program."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from statistics import median

import msgspec

from rig.analysis.budget.difference import Difference
from rig.analysis.budget.parts import COMPARING, LAYERS, Budget
from rig.analysis.groups import GroupResult
from rig.analysis.row import RunResult
from rig.errors import BadInputError
from rig.files.cells import safe_cell
from rig.files.durable import replace_file

Rows = list[tuple[str, ...]]

MOST_DOF = 1000.0


def _figure(value: float | None, digits: int) -> str:
    return "–" if value is None else f"{value:.{digits}f}"


def _with_u(value: float | None, u: float | None, digits: int) -> str:
    return "–" if value is None else f"{value:.{digits}f} ± {_figure(u, digits)}"


def _in_itself(u: float | None) -> str:
    return "–" if u is None else f"± {u:.2f}"


def _name(*parts: str | None) -> str:
    return " ".join(part for part in parts if part) or "–"


def run_rows(results: Sequence[RunResult]) -> Rows:
    """One row per run under a row of titles; u is the standard uncertainty, for comparing.

    "In itself" is the angle's uncertainty with what all slides of the rig share.
    """
    titles = "run|bag|board|slide|angle ± u °|in itself °|at break °|µ static ± u|µ kinetic ± u"
    titles += "|T °C|RH %|flags"
    rows: Rows = [tuple(titles.split("|"))]
    for row in results:
        flags = " ".join(row.flags) + ("" if row.valid else " (not valid)")
        rows.append(
            (
                row.run_id,
                _name(row.bag, row.face),
                _name(row.board),
                "–" if row.slide_number is None else str(row.slide_number),
                _with_u(row.onset_angle_deg, row.u_onset_angle_deg, 2),
                _in_itself(row.u_onset_angle_absolute_deg),
                _figure(row.angle_at_break_deg, 2),
                _with_u(row.mu_static, row.u_mu_static, 4),
                _with_u(row.mu_kinetic, row.u_mu_kinetic, 4),
                _figure(row.temperature_c, 1),
                _figure(row.relative_humidity_pct, 0),
                flags.strip(),
            )
        )
    return rows


def group_rows(groups: Sequence[GroupResult]) -> Rows:
    """One row per group under a row of titles; ± is the 95 % interval."""
    titles = "bag|board|stage|°/s|T °C|RH %|runs|series|sessions"
    results = "angle °|µ static (95 %)|first|third|rest|trend p|holds for"
    rows: Rows = [tuple(f"{titles}|{results}".split("|"))]
    for group in groups:
        rows.append(
            (
                _name(group.bag, group.face),
                _name(group.board),
                _name(group.treatment_stage),
                _figure(group.rate_deg_s, 2),
                _figure(group.temperature_c, 1),
                _figure(group.relative_humidity_pct, 0),
                str(group.n_runs),
                str(group.n_series),
                str(group.n_sessions),
                _figure(group.mean_onset_angle_deg, 2),
                _with_u(group.mean_mu_static, group.expanded_mu_static, 4),
                _figure(group.first, 4),
                _figure(group.third, 4),
                _figure(group.rest, 4),
                _figure(group.trend_p, 3),
                group.scope,
            )
        )
    return rows


def budget_rows(budget: Budget) -> Rows:
    """One row per component under a row of titles, then the three layers and the whole."""
    titles = "component|u|unit|distribution|°/unit|u(θ) °|share %|dof|layer"
    rows: Rows = [tuple(titles.split("|"))]
    for part in budget.by_size():
        rows.append(
            (
                part.name,
                f"{part.u_value:.4g}",
                part.unit,
                part.distribution,
                f"{part.sensitivity:.3g}",
                f"{part.u_theta_deg:.4f}",
                f"{100.0 * budget.share(part):.1f}",
                _dof(part.dof),
                part.layer,
            )
        )
    whole = budget.u_onset_angle_deg()
    sums = [(f"all {layer}", budget.u_onset_angle_deg((layer,))) for layer in LAYERS]
    sums.append(("for comparing (run, series)", budget.u_onset_angle_deg(COMPARING)))
    for name, u in sums:
        share = f"{100.0 * (u / whole) ** 2:.1f}" if whole else ""
        rows.append((name, "", "", "", "", f"{u:.4f}", share, "", ""))
    rows.append(
        ("in itself (combined)", "", "", "", "", f"{whole:.4f}", "", _dof(budget.dof()), "")
    )
    return rows


def summary_rows(budgets: Sequence[Budget]) -> Rows:
    """One row per component of several runs, the largest first, then the layers and the whole.

    Medians over the runs; of a component that some of them lack, over those that have it.
    """
    parts: dict[tuple[str, str], list[float]] = {}
    for budget in budgets:
        for part in budget.components:
            parts.setdefault((part.name, part.layer), []).append(part.u_theta_deg)
    middle = {name: median(values) for name, values in parts.items()}
    rows: Rows = [("component", "u(θ) °", "layer")]
    rows += [
        (name, f"{u:.4f}", layer)
        for (name, layer), u in sorted(middle.items(), key=lambda one: -one[1])
    ]
    for name, layers in (
        *((f"all {layer}", (layer,)) for layer in LAYERS),
        ("for comparing (run, series)", COMPARING),
        ("in itself (combined)", LAYERS),
    ):
        u = median(budget.u_onset_angle_deg(layers) for budget in budgets)
        rows.append((name, f"{u:.4f}", ""))
    return rows


def difference_rows(found: Difference) -> Rows:
    """One row per component under a row of titles, then the whole; in units of µs."""
    titles = "component|u|unit|distribution|A: µs/unit|B: µs/unit|u(µA − µB)|share %|dof|layer"
    rows: Rows = [tuple(titles.split("|"))]
    for part in sorted(found.components, key=lambda part: -part.u_mu_static):
        rows.append(
            (
                part.name,
                f"{part.u_value:.4g}",
                part.unit,
                part.distribution,
                f"{part.sensitivity_a:.3g}",
                f"{part.sensitivity_b:.3g}",
                f"{part.u_mu_static:.5f}",
                f"{100.0 * part.share:.1f}",
                _dof(part.dof),
                f"{part.layer}, cancels" if part.cancels else part.layer,
            )
        )
    whole = f"{found.u_mu_static:.5f}"
    rows.append(("combined", "", "", "", "", "", whole, "", _dof(found.dof), ""))
    return rows


def _dof(dof: float) -> str:
    """Above a thousand the t distribution is normal to three digits."""
    return f"{dof:.1f}" if dof < MOST_DOF else "∞"


def csv_text(results: Sequence[RunResult]) -> str:
    """A tidy table: a row per run, the result keys as column names, flags joined by spaces."""
    buffer = io.StringIO()
    names = [info.encode_name for info in msgspec.structs.fields(RunResult)]
    writer = csv.DictWriter(buffer, names, lineterminator="\n")
    writer.writeheader()
    for result in results:
        row = msgspec.to_builtins(result)
        row["flags"] = " ".join(row["flags"])
        row["valid"] = "true" if row["valid"] else "false"
        writer.writerow({name: safe_cell(cell) for name, cell in row.items()})
    return buffer.getvalue()


def write_csv(path: Path, results: Sequence[RunResult]) -> None:
    """Write the tidy table whole or not at all.

    Raises:
        BadInputError: it can't be written.
    """
    try:
        replace_file(path, csv_text(results).encode())
    except OSError as error:
        raise BadInputError(
            f"Cannot write the table {path}: {error.strerror or error}; name a place you may "
            "write to."
        ) from error
