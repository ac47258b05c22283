"""A run on one line."""

from textwrap import fill

from rig.analysis.row import RunResult
from rig.quantities.shown import System, system

WIDE = 80
"""Columns; on a narrower terminal a row has no kinetic coefficient and no air."""
GAP = "  "
Cells = list[tuple[str, int]]


def head(units: System = "metric", columns: int = WIDE) -> str:
    """The titles over the rows."""
    titles: Cells = [("slide", 5), ("angle ± u", 13), ("at break", 8), ("µ static", 8)]
    if columns >= WIDE:
        titles += [("µ kinetic", 9), (system(units)["c"].unit, 5), ("%RH", 4)]
    return _line(titles, "outcome, flags", columns)


def row_of(result: RunResult, units: System = "metric", columns: int = WIDE) -> str:
    """One run under `head`; ± is the standard uncertainty (k = 1)."""

    def figure(value: float | None, form: str, unit: str = "") -> str:
        return "–" if value is None else f"{value:{form}}{unit}"

    angle = figure(result.onset_angle_deg, ".2f")
    if result.u_onset_angle_deg is not None:
        angle += f" ± {result.u_onset_angle_deg:.2f}°"
    at_break = figure(result.angle_at_break_deg, ".2f", "°")
    cells: Cells = [(figure(result.slide_number, "d"), 5), (angle, 13), (at_break, 8)]
    cells.append((figure(result.mu_static, ".4f"), 8))
    if columns >= WIDE:
        warm = result.temperature_c
        cells += [
            (figure(result.mu_kinetic, ".3f"), 9),
            ("–" if warm is None else system(units)["c"].figure(warm, ".1f"), 5),
            (figure(result.relative_humidity_pct, ".0f"), 4),
        ]
    return _line(cells, " ".join((result.outcome or "interrupted", *result.flags)), columns)


def _line(cells: Cells, words: str, columns: int) -> str:
    """Cells flush right; the words behind them go on below where there is no room."""
    before = GAP.join(f"{text:>{width}}" for text, width in cells) + GAP
    return fill(
        words,
        columns,
        initial_indent=before,
        subsequent_indent=" " * len(before),
        break_long_words=False,
        break_on_hyphens=False,
    )
