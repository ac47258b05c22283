"""`plan.csv`: what is measured in which order; a person may edit it, so it is checked when read."""

import csv
import io
from collections.abc import Callable, Sequence
from pathlib import Path
from shlex import quote
from typing import Literal, get_args

from msgspec import Struct

from rig.errors import BadInputError
from rig.files.cells import plain_cell, safe_cell
from rig.files.text import read_text
from rig.study.folder.study import Study

Action = Literal["wipe", "reference", "run", "check", "treat"]
COLUMNS = (
    "row",
    "session",
    "climate",
    "stage",
    "action",
    "board",
    "bag",
    "face",
    "runs",
    "treatment",
    "note",
)
NEEDED: dict[str, tuple[str, ...]] = {
    "wipe": ("row", "session", "climate", "stage", "board"),
    "reference": ("row", "session", "climate", "stage", "board", "bag", "face", "runs"),
    "run": ("row", "session", "climate", "stage", "board", "bag", "face", "runs"),
    "check": ("row", "session", "climate", "stage", "board", "bag", "face", "runs"),
    "treat": ("row", "stage", "bag", "treatment"),
}
"""The cells that must be filled, for each action."""
MOST_RUNS = 100


class PlanRow(Struct, frozen=True, kw_only=True):
    """One step of the plan. A row with runs is one series, named after the row in run files."""

    row: str
    session: str = ""
    climate: str = ""
    stage: str
    action: Action
    board: str = ""
    bag: str = ""
    face: str = ""
    runs: int = 0
    treatment: str = ""
    note: str = ""

    @property
    def is_series(self) -> bool:
        """True when the row is run on the rig."""
        return self.action in ("run", "reference", "check")


def plan_text(rows: Sequence[PlanRow]) -> str:
    """The rows as CSV with a line of titles."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        cells = [getattr(row, column) for column in COLUMNS]
        writer.writerow("" if cell == 0 else safe_cell(cell) for cell in cells)
    return buffer.getvalue()


def read_plan(study: Study) -> list[PlanRow]:
    """Read the study's plan and check it against its catalogue.

    Commas or semicolons between the cells, a byte-order mark, and blank lines are all right, for
    spreadsheet programs leave them.

    Raises:
        BadInputError: there is none, or a cell is not valid; the line and the column are named.
    """
    path = study.plan_path
    text = read_text(
        path,
        f"{study.path} has no plan yet; `rig study plan {quote(str(study.path))}` makes one.",
    )
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise BadInputError(
            f"{path}, line {line}: bytes are missing there, as after a power cut; restore the plan"
            f" from a copy such as plan-1.csv, or make a new one by `rig study plan --replace"
            f" {study.path}`."
        )
    rows = _parse(text, path, study)
    _check_order(rows, path, study)
    return rows


def _parse(text: str, path: Path, study: Study) -> list[PlanRow]:
    lines = text.splitlines()
    delimiter = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        table = [
            (reader.line_num, [plain_cell(cell.strip()) for cell in cells]) for cells in reader
        ]
    except csv.Error as error:
        raise BadInputError(f"{path}, line {reader.line_num}: {error}.") from None
    titles = table[0][1] if table else []
    while titles and not titles[-1]:
        titles = titles[:-1]
    for column in COLUMNS:
        if titles.count(column) != 1:
            how = "twice" if column in titles else "not"
            raise BadInputError(
                f"{path}, line 1: the title `{column}` is {how} there; the titles are"
                f" {', '.join(COLUMNS)}."
            )
    rows: list[PlanRow] = []
    lines_of: dict[str, int] = {}
    for number, cells in table[1:]:
        if any(cells):
            row = _row(number, dict(zip(titles, cells, strict=False)), path, study)
            if row.row in lines_of:
                raise BadInputError(
                    f"{path}, line {number}, column row: {row.row!r} is in line"
                    f" {lines_of[row.row]} already, and each row needs a name of its own."
                )
            lines_of[row.row] = number
            rows.append(row)
    return rows


def _row(number: int, cells: dict[str, str], path: Path, study: Study) -> PlanRow:
    def wrong(column: str, why: str) -> BadInputError:
        return BadInputError(f"{path}, line {number}, column {column}: {why}")

    action = cells.get("action", "")
    if action not in get_args(Action):
        known = ", ".join(get_args(Action))
        raise wrong("action", f"{action!r} is not an action; there are {known}.")
    for column in NEEDED[action]:
        if not cells.get(column):
            raise wrong(column, f"the cell is empty, and a {action} row needs it.")
    runs = cells.get("runs", "") if "runs" in NEEDED[action] else "0"
    if not (runs.isdecimal() and runs.isascii() and int(runs) <= MOST_RUNS) or (
        runs == "0" and "runs" in NEEDED[action]
    ):
        raise wrong("runs", f"{runs!r} is not a whole number from 1 to {MOST_RUNS}.")
    row = PlanRow(
        row=cells["row"],
        session=cells.get("session", ""),
        climate=cells.get("climate", ""),
        stage=cells["stage"],
        action=action,  # type: ignore[arg-type] # checked above
        board=cells.get("board", ""),
        bag=cells.get("bag", ""),
        face=cells.get("face", ""),
        runs=int(runs),
        treatment=cells.get("treatment", ""),
        note=cells.get("note", ""),
    )
    checks: dict[str, Callable[[], object]] = {
        "stage": lambda: study.stage_order(row.stage),
        "climate": lambda: study.check_climate(row.climate),
        "board": lambda: study.check_board(row.board),
        "bag": lambda: study.bag(row.bag),
        "face": lambda: study.check_face(row.bag, row.face),
        "treatment": lambda: study.check_treatment(row.treatment),
    }
    for column, check in checks.items():
        if column in NEEDED[action]:
            try:
                check()
            except BadInputError as error:
                raise wrong(column, str(error)) from None
    role = study.catalogue.bags[row.bag].role if row.bag else None
    if action == "treat" and role != "treated":
        raise wrong("bag", f"{row.bag} is a {role} bag, and those are never treated.")
    if action == "treat" and study.stage_order(row.stage) == 0:
        raise wrong("stage", "a treatment begins a stage `after 1` or later, not the baseline.")
    return row


def _check_order(rows: Sequence[PlanRow], path: Path, study: Study) -> None:
    """No bag goes back to an earlier stage, or to a later one without being treated for it."""
    reached: dict[str, int] = {}
    for row in rows:
        if not row.bag:
            continue
        stage, before = study.stage_order(row.stage), reached.get(row.bag, 0)
        where = f"{path}, row {row.row!r}, column stage:"
        if stage < before:
            raise BadInputError(
                f"{where} {row.bag} comes back to {row.stage!r} after a later stage, and a"
                " treatment cannot be undone; move the row up."
            )
        is_treated = study.catalogue.bags[row.bag].role == "treated"
        if row.action == "treat" and stage != before + 1:
            raise BadInputError(
                f"{where} the treatment of {row.bag} must begin the stage `after {before + 1}`,"
                f" not {row.stage!r}."
            )
        if row.action in ("run", "check") and is_treated and stage > before:
            raise BadInputError(
                f"{where} {row.bag} is run in {row.stage!r} before the row that treats it; put a"
                " treat row above."
            )
        reached[row.bag] = stage


def plan_warnings(rows: Sequence[PlanRow], study: Study) -> list[str]:
    """What an edited plan has lost that a sound comparison needs, in sentences."""
    found = [*_unequal_wear(rows, study), *_unwatched(rows, study)]
    if not any(row.action == "run" for row in rows):
        found.append("The plan has no run of a bag that is studied.")
    return found


def _unequal_wear(rows: Sequence[PlanRow], study: Study) -> list[str]:
    sentences = []
    for stage in dict.fromkeys(row.stage for row in rows):
        slides: dict[str, int] = {}
        for row in rows:
            if row.action == "run" and row.stage == stage:
                slides[row.bag] = slides.get(row.bag, 0) + row.runs
        if len(set(slides.values())) > 1:
            most, least = max(slides, key=slides.__getitem__), min(slides, key=slides.__getitem__)
            sentences.append(
                f"In stage {stage!r} the bags do not get equal wear: {most} slides"
                f" {slides[most]} times and {least} {slides[least]} times."
            )
    return sentences


def _unwatched(rows: Sequence[PlanRow], study: Study) -> list[str]:
    """Sessions that the reference bag does not begin and end, and treated bags without a wipe."""
    if not study.catalogue.preferences.reference_runs or study.catalogue.reference is None:
        return []
    sentences = []
    for session in dict.fromkeys(row.session for row in rows if row.is_series):
        series = [row for row in rows if row.session == session and row.action != "treat"]
        watched = [row for row in series if row.is_series]
        if watched[0].action != "reference" or watched[-1].action != "reference":
            sentences.append(
                f"Session {session} does not begin and end with the reference bag, so a drift of"
                " the board would not show."
            )
        for row, following in zip(series, [*series[1:], None], strict=True):
            is_measured = row.action in ("run", "check")
            follows_well = following is not None and following.action in ("wipe", "check")
            if is_measured and study.leaves_residue(row.bag, row.stage) and not follows_well:
                sentences.append(
                    f"After row {row.row} ({row.bag}, treated) the board is not wiped, so residue"
                    " may carry over."
                )
    return sentences
