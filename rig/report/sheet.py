"""The sheet for match day: a form to print, which works without the program.

Its front says what to throw and how to check it; its back has all bags, each with the reading of
the pick at which that bag is the better choice.
"""

from collections.abc import Sequence
from datetime import date
from importlib.resources import files
from math import radians, sin
from textwrap import fill
from typing import Any, NamedTuple

from rig.quantities.figures import fixed
from rig.quantities.shown import System, system
from rig.study.answer import words
from rig.study.answer.answer import Answer, Pick
from rig.study.answer.check import kept_between, use_at_deg

BOARD_MM = 1219.0
"""Length of a board for play, 48 in, as the games' own rules have it."""
MOST_ROWS = 24
READINGS = 3
CAUTION = (
    "The slide angle is the start of slow sliding on a tilted board. It ranks bags; it does not"
    " promise where a thrown bag stops. Keep fingers out from under a raised board, and prop it."
)


class Row(NamedTuple):
    """A bag face on the back of the sheet."""

    bag: str
    face: str
    angle: str
    span: str
    chance: str
    height: str
    """Of the board's upper edge over the lower at this angle."""
    use_at: str
    """Median of the pick's readings at which this one lies on its target."""


class Sheet(NamedTuple):
    """All that is on the sheet, in words."""

    title: str
    study: str
    facts: tuple[str, ...]
    simulated: bool
    pick: Row | None
    second: Row | None
    said: str
    steps: tuple[str, ...]
    rule: str
    rows: tuple[Row, ...]
    left_out: int
    caution: str = CAUTION


def height_mm(angle_deg: float, length_mm: float = BOARD_MM) -> float:
    """Height of a board's upper edge over its lower edge at an inclination: length × sin."""
    return length_mm * sin(radians(angle_deg))


def sheet_of(
    answer: Answer, study: str, today: date, *, simulated: bool, units: System = "metric"
) -> Sheet:
    """The sheet's words.

    Args:
        answer: for the day's air.
        study: its name.
        today: date of printing.
        simulated: no slide is from a real board.
        units: of the reader.
    """
    targets = {one.face: one for one in answer.targets}
    best = answer.picks[0] if answer.picks else None
    rows = tuple(_row(one, best, targets[one.face].angle_deg, units) for one in answer.picks)
    age = (today - date.fromisoformat(answer.as_of[:10])).days
    wanted = ", ".join(
        f"{one.face} {words.target_words(one.angle_deg, one.tolerance_deg)}"
        for one in answer.targets
    )
    return Sheet(
        title="Match day",
        study=study,
        facts=(
            f"Printed {today.isoformat()}; newest slide or treatment {answer.as_of[:10]}"
            + (f", {age} {'day' if age == 1 else 'days'} ago." if age > 0 else "."),
            f"For {words.air_words(answer.air, units)}.",
            f"Target: {wanted}." if wanted else "No target.",
        ),
        simulated=simulated,
        pick=rows[0] if rows else None,
        second=rows[1] if len(rows) > 1 else None,
        said=words.pick_sentence(answer),
        steps=_steps(units),
        rule=_rule(answer, best),
        rows=rows[:MOST_ROWS],
        left_out=max(len(rows) - MOST_ROWS, 0),
    )


def _row(one: Pick, best: Pick | None, target_deg: float, units: System) -> Row:
    at_deg = use_at_deg((best or one).angle_deg, one.angle_deg, target_deg)
    return Row(
        bag=one.bag,
        face=one.face,
        angle=f"{fixed(one.angle_deg, 1)}°",
        span=words.span(one.lower_deg, one.upper_deg),
        chance=words.percent(one.p_within),
        height=system(units)["mm"].text(height_mm(one.angle_deg)),
        use_at=f"{fixed(at_deg, 1)}°",
    )


def _steps(units: System) -> tuple[str, ...]:
    length = system(units)["mm"].text(BOARD_MM)
    return (
        "Level the board across. Lay a phone with a level on it along the slide, switched to"
        f" degrees; or measure the height of the upper edge over the lower one on a board of"
        f" {length}: the back of this sheet has it for each bag.",
        "Put the pick on, the stated face down, its marked edge downhill, always in the same place."
        " Wait ten seconds.",
        "Raise the upper edge slowly and evenly, about one degree in three seconds, with no finger"
        " under the board. Read the angle when the bag starts to slide. Do it"
        f" {READINGS} times and write the readings down.",
        "A board in the sun is warmer than the air and so drier at its surface: shade it for a"
        " quarter of an hour first.",
    )


def _rule(answer: Answer, best: Pick | None) -> str:
    if best is None:
        return ""
    target = next(one for one in answer.targets if one.face == best.face)
    low, high = kept_between(target.angle_deg, target.tolerance_deg)
    return (
        f"Take the median of the three. Between {fixed(low, 1)}° and {fixed(high, 1)}°: use"
        f" {words.name_of(best)}. Otherwise the whole list shifts by your median less"
        f" {fixed(best.angle_deg, 1)}°: on the back, use the bag whose last column is nearest to"
        " your median."
    )


def sheet_text(sheet: Sheet, columns: int = 80) -> str:
    """The sheet as plain text for a terminal of so many columns."""
    from rig.analysis.columns import format_table

    def folded(text: str, mark: str = "") -> str:
        return fill(
            text,
            min(columns, 80),
            initial_indent=mark,
            subsequent_indent=" " * len(mark),
            break_on_hyphens=False,
        )

    lines = [f"{sheet.title} · {sheet.study}", *(["SIMULATED"] if sheet.simulated else [])]
    lines += [*sheet.facts, "", sheet.said]
    if sheet.second is not None:
        lines.append(f"Second choice: {sheet.second.bag}, {sheet.second.face}.")
    lines = [folded(line) for line in [*lines, ""]]
    lines += [folded(step, f"{i}. ") for i, step in enumerate(sheet.steps, start=1)]
    lines += ["", folded(sheet.rule)]
    if sheet.rows:
        lines += ["", format_table([_HEAD, *_cells(sheet.rows)], columns)]
    if sheet.left_out:
        lines.append(f"{sheet.left_out} more bag faces are left out here.")
    return "\n".join([*lines, "", folded(sheet.caution)])


_HEAD = ("bag", "face down", "slides at", "range", "chance", "upper edge", "if pick reads")


def _cells(rows: Sequence[Row]) -> list[tuple[str, ...]]:
    return [tuple(row) for row in rows]


def sheet_html(sheet: Sheet, paper: str = "A4") -> str:
    """The sheet as one self-contained page of two printed sides.

    Args:
        sheet: its words.
        paper: `A4` or `letter`.
    """
    import jinja2

    pages: Any = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    template = pages.from_string((files("rig.report") / "sheet.html.j2").read_text("utf-8"))
    text: str = template.render(sheet=sheet, paper=paper, head=_HEAD, readings=READINGS)
    return text
