"""The sheet for match day: one page, printed, offline; and the same as plain text."""

from html import escape
from math import asin, degrees, radians, sin

from rig.analysis.table import format_table
from rig.quantities.figures import signed
from rig.quantities.said import worded
from rig.quantities.shown import System, system
from rig.study.choose import Choice
from rig.study.rows import mu_of

MOST_ROWS = 16
MOST_SETS = 8
"""More than these do not fit on the page; the sheet says how many faces it leaves out."""

BOARD_LENGTH_MM = 1219.0

READINGS = 3
"""By hand, of the pick. With three the pick is the best or within 0.3° of it on nine days of ten,
from four climates on; with none on eight, with five hardly more often (simulated studies)."""

CHECK = (
    "Level the board across. Then raise it slowly (about 1° per second) by a wedge pushed in under "
    "its upper end.",
    f"Slide the picked bag {READINGS} times from the same place, the stated face down, no hand on "
    "it. Read the angle at which it starts, each time.",
    "Give the readings to `rig choose --reading`: they shift the whole list for this board and "
    "hour. Without it: if their median lies inside the bag's range above, the pick may stand.",
    "Board in the sun is warmer than the air, so drier at its surface: measure its temperature, "
    "or shade it for a quarter of an hour first.",
)
CAUTION = (
    "The slide angle is the start of slow sliding on a tilted board. It is not the thrown bag: it "
    "ranks bags, it does not promise where one stops."
)
STYLE = """
@page { size: A4; margin: 10mm }
body { font: 9.5pt/1.25 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: auto }
h1 { font-size: 15pt; margin: 0 0 1mm } h2 { font-size: 11pt; margin: 2.5mm 0 0.5mm }
table { border-collapse: collapse; width: 100% } td, th { border-bottom: 0.3pt solid #888;
text-align: left; padding: 0.3mm 1.2mm; font-variant-numeric: tabular-nums }
tr.pick td { font-weight: bold; border: 1pt solid #000 }
ol { margin: 0; padding-left: 6mm } p { margin: 0.7mm 0 } .warn { border-left: 2mm solid #000;
padding-left: 2mm } table, ol, p { break-inside: avoid }
"""

Rows = list[tuple[str, ...]]


def height_mm(angle_deg: float, length_mm: float = BOARD_LENGTH_MM) -> float:
    """How high the upper edge of a board stands over the lower one at an inclination."""
    return length_mm * sin(radians(angle_deg))


def angle_of_height_deg(height: float, length_mm: float = BOARD_LENGTH_MM) -> float:
    """The inclination at which the upper edge stands this much (mm) over the lower one."""
    return degrees(asin(height / length_mm))


def _head(choice: Choice, units: System) -> list[str]:
    air, wish = choice.air, choice.wish
    warm = "" if air.temperature_c is None else f", {system(units)['c'].text(air.temperature_c)}"
    lines = [
        f"Board: {choice.board}. Air at its surface: {air.surface_humidity_pct:.0f} %RH{warm}.",
        f"Wish: {wish.angle_deg:.1f}° ± {wish.tolerance_deg:.1f}°"
        + (f" ({wish.text})." if wish.text else "."),
    ]
    if choice.board_shift_deg is not None:
        lines.append(
            f"Hand readings of the day moved the list by {signed(choice.board_shift_deg)}°."
        )
    return lines


def pick_sentences(choice: Choice) -> list[str]:
    """The answer: which bag and which set to throw, how sure that is, what would make it surer."""
    best, wish = choice.candidates[0], choice.wish
    side = "above" if best.miss_deg > 0.0 else "below"
    said = [
        f"Pick: {best.bag}, {best.face} face down. It should slide at {best.angle_deg:.1f}° "
        f"({best.lower_deg:.1f} to {best.upper_deg:.1f}°), {abs(best.miss_deg):.1f}° {side} the "
        f"wish; the chance to lie within {wish.tolerance_deg:.1f}° of it is "
        f"{best.chance_pct:.0f} %."
    ]
    if choice.sets:
        one = choice.sets[0]
        match = {
            True: "its bags match",
            False: f"its bags lie {one.spread_deg:.1f}° apart",
            None: "one bag of it was measured",
        }[one.matches]
        said.append(
            f"Set: {one.set}, {one.face} face down, {one.mean_deg:.1f}° in the mean; {match}."
        )
    if choice.board_shift_deg is None:
        said.append(
            f"Slide the pick {READINGS} times by hand on the day's board and give the readings to "
            "`rig choose --reading`: what the day itself adds can't be foreseen."
        )
    return said


def _candidates(choice: Choice, units: System) -> Rows:
    rows: Rows = [
        ("", "bag", "face down", "set", "slides at", "range (95 %)", "µ", "upper edge", "chance")
    ]
    for place, one in enumerate(choice.candidates[:MOST_ROWS], start=1):
        rows.append(
            (
                f"{place}",
                one.bag,
                one.face,
                one.set or "–",
                f"{one.angle_deg:.1f}°",
                f"{one.lower_deg:.1f}–{one.upper_deg:.1f}°",
                f"{mu_of(one.angle_deg):.3f}",
                system(units)["mm"].text(height_mm(one.angle_deg)),
                f"{one.chance_pct:.0f} %",
            )
        )
    return rows


def _sets(choice: Choice) -> Rows:
    rows: Rows = [("", "set", "face down", "bags", "mean", "spread", "match", "odd one out")]
    for place, one in enumerate(choice.sets, start=1):
        match = {True: "yes", False: "no", None: "–"}[one.matches]
        rows.append(
            (
                f"{place}",
                one.set,
                one.face,
                f"{one.n_bags}",
                f"{one.mean_deg:.1f}°",
                f"{one.spread_deg:.1f}°",
                match,
                one.odd_one_out or "–",
            )
        )
    return rows


def _footnotes(choice: Choice, units: System) -> list[str]:
    length = system(units)["mm"].text(BOARD_LENGTH_MM)
    notes = [
        f"Upper edge: its height over the lower edge on a board of {length}, sin(angle) × length.",
        f"Chance: to slide within {choice.wish.tolerance_deg:.1f}° of the wish.",
    ]
    left = len(choice.candidates) - MOST_ROWS
    return [*notes, f"{left} more faces are left out here."] if left > 0 else notes


def sheet_text(choice: Choice, title: str = "Match day", units: System = "metric") -> str:
    """The sheet as plain text."""
    blocks = [title, *_head(choice, units), *pick_sentences(choice)]
    if choice.provisional:
        blocks.append("PROVISIONAL: too few climates have been measured.")
    blocks += [f"! {worded(warning, units)}" for warning in choice.warnings]
    blocks += ["", format_table(_candidates(choice, units))]
    if choice.sets:
        blocks += ["", format_table(_sets(choice)[: MOST_SETS + 1])]
    blocks += ["", *_footnotes(choice, units), "", "Check the pick with one tilt of the board"]
    blocks += [f"{i}. {step}" for i, step in enumerate(CHECK, start=1)]
    return "\n".join([*blocks, "", CAUTION])


def sheet_html(
    choice: Choice, title: str = "Match day", paper: str = "A4", units: System = "metric"
) -> str:
    """The sheet as one self-contained page.

    Args:
        choice: the choice of the day.
        title: the heading.
        paper: `A4` or `letter`.
        units: how lengths and temperatures are shown.
    """
    said = [*_head(choice, units), *pick_sentences(choice)]
    parts = [f"<h1>{escape(title)}</h1>", *(f"<p>{escape(line)}</p>" for line in said)]
    if choice.provisional:
        parts.append("<p class=warn><b>Provisional</b>: too few climates have been measured.</p>")
    warnings = [worded(warning, units) for warning in choice.warnings]
    parts += [f"<p class=warn>{escape(warning)}</p>" for warning in warnings]
    parts += ["<h2>Bags</h2>", _table(_candidates(choice, units), pick=True)]
    if choice.sets:
        parts += ["<h2>Sets</h2>", _table(_sets(choice)[: MOST_SETS + 1])]
    parts += [f"<p><small>{escape(' '.join(_footnotes(choice, units)))}</small></p>"]
    parts += ["<h2>Check the pick with one tilt of the board</h2>", "<ol>"]
    parts += [f"<li>{escape(step)}</li>" for step in CHECK]
    parts += ["</ol>", f"<p><b>{escape(CAUTION)}</b></p>"]
    style = STYLE.replace("size: A4", f"size: {'letter' if paper == 'letter' else 'A4'}")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title><style>{style}</style></head>\n<body>\n"
        + "\n".join(parts)
        + "\n</body></html>\n"
    )


def _table(rows: Rows, pick: bool = False) -> str:
    head, *body = rows
    lines = ["<table><tr>" + "".join(f"<th>{escape(cell)}</th>" for cell in head) + "</tr>"]
    for place, row in enumerate(body):
        kind = " class=pick" if pick and place == 0 else ""
        cells = "".join(f"<td>{escape(cell)}</td>" for cell in row)
        lines.append(f"<tr{kind}>{cells}</tr>")
    return "\n".join([*lines, "</table>"])
