"""Slide angles read by hand, from a table that a spreadsheet wrote: all of it, or nothing."""

import csv
import io
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from rig.errors import BadInputError
from rig.files.names import safe_name
from rig.files.text import read_text
from rig.quantities.typed import number
from rig.study.folder.journal import Reading
from rig.study.folder.ranges import AIR_C, HUMIDITY_PCT, READ_DEG, Allowed
from rig.study.folder.study import Study

NEEDED = ("at", "reader", "bag", "face", "board", "angle_deg")
COLUMNS = (*NEEDED, "temperature_c", "relative_humidity_pct", "note")


class _Line(NamedTuple):
    at: str
    reader: str
    bag: str
    face: str
    board: str
    temperature_c: float | None
    relative_humidity_pct: float | None
    note: str


APART = timedelta(minutes=10)
"""Readings of a bag face that lie further apart are series of their own."""


def readings_from(
    path: Path,
    study: Study,
    utc_of: Callable[[str], str],
    session_of: Callable[[str], str],
) -> list[Reading]:
    """The readings in a file; lines of one bag face in a row, minutes apart, become one entry.

    Args:
        path: CSV in UTF-8 with the columns of `COLUMNS`, in any order; `;` may separate them, and
            then numbers may have a comma.
        study: whose bags, faces and boards they must be.
        utc_of: a time as typed, as the journal writes it.
        session_of: the sitting of such a time.

    Raises:
        BadInputError: names the line and what is wrong with it.
    """
    rows, has_decimal_comma = _rows(path)
    known = {
        (one.at, one.reader, one.bag, one.face, one.board, angle)
        for one in study.journal.of(Reading)
        for angle in one.angles_deg
    }
    lines: list[tuple[_Line, float]] = []
    for place, row in rows:
        try:
            line, angle_deg = _line(row, study, utc_of, has_decimal_comma)
        except BadInputError as error:
            raise BadInputError(
                f"{path}, line {place}: {error} Nothing was taken from the file."
            ) from None
        if (*line[:5], angle_deg) in known:
            raise BadInputError(
                f"{path}, line {place}: the journal has this reading already, so the file seems"
                " to have been read before. Nothing was taken from it."
            )
        lines.append((line, angle_deg))
    if not lines:
        raise BadInputError(f"{path} has no reading below its first line.")
    return [
        Reading(
            at=first.at,
            bag=first.bag,
            face=first.face,
            board=first.board,
            reader=first.reader,
            angles_deg=tuple(angles_deg),
            temperature_c=first.temperature_c,
            relative_humidity_pct=first.relative_humidity_pct,
            climate_source=(
                None if first.temperature_c is first.relative_humidity_pct is None else "typed"
            ),
            stage=study.stage_at(first.bag, first.at),
            session=session_of(first.at),
            note=first.note,
        )
        for first, angles_deg in _series(lines)
    ]


def _series(lines: Iterable[tuple[_Line, float]]) -> list[tuple[_Line, list[float]]]:
    """First line and angles of each series: what one typed command would note."""
    found: list[tuple[_Line, list[float]]] = []
    last: _Line | None = None
    for line, angle_deg in lines:
        is_next = last is not None and line == last._replace(at=line.at)
        if is_next and last is not None and _apart(last.at, line.at) <= APART:
            found[-1][1].append(angle_deg)
        else:
            found.append((line, [angle_deg]))
        last = line
    return found


def _apart(one: str, other: str) -> timedelta:
    return abs(datetime.fromisoformat(other) - datetime.fromisoformat(one))


def _rows(path: Path) -> tuple[list[tuple[int, dict[str, str]]], bool]:
    """Number and cells of each line that is not empty; whether numbers have a decimal comma."""
    text = read_text(path)
    head = text.partition("\n")[0]
    has_semicolons = ";" in head
    reader = csv.reader(io.StringIO(text), delimiter=";" if has_semicolons else ",")
    try:
        titles = [title.strip() for title in next(reader, [])]
        missing = [name for name in NEEDED if name not in titles]
        other = [name for name in titles if name not in COLUMNS]
        if missing or other or len(set(titles)) < len(titles):
            why = f"it lacks {', '.join(missing)}" if missing else f"{', '.join(other)} is unknown"
            raise BadInputError(
                f"{path}: its first line must name the columns {', '.join(COLUMNS)} (the last three"
                f" may be left out); {why}."
            )
        rows = [
            (reader.line_num, dict(zip(titles, map(str.strip, cells), strict=False)))
            for cells in reader
            if any(cell.strip() for cell in cells)
        ]
        return rows, has_semicolons
    except csv.Error as error:
        raise BadInputError(f"{path}, line {reader.line_num}: {error}.") from None


def _line(
    row: dict[str, str], study: Study, utc_of: Callable[[str], str], has_decimal_comma: bool
) -> tuple[_Line, float]:
    def number_in(name: str, within: Allowed) -> float | None:
        return _number(row, name, within, has_decimal_comma)

    for name in NEEDED:
        if not row.get(name):
            raise BadInputError(f"`{name}` is empty.")
    names = {name: safe_name(row[name], name) for name in ("reader", "bag", "face", "board")}
    study.check_face(names["bag"], names["face"])
    study.check_board(names["board"])
    line = _Line(
        at=utc_of(row["at"]),
        **names,
        temperature_c=number_in("temperature_c", AIR_C),
        relative_humidity_pct=number_in("relative_humidity_pct", HUMIDITY_PCT),
        note=row.get("note", ""),
    )
    if datetime.fromisoformat(line.at) < datetime.fromisoformat("2000-01-01T00:00:00+00:00"):
        raise BadInputError(f"`at` is {row['at']}, long before any such reading; correct it.")
    angle_deg = number_in("angle_deg", READ_DEG)
    assert angle_deg is not None  # noqa: S101 - it is not empty
    return line, angle_deg


def _number(
    row: dict[str, str], name: str, within: Allowed, has_decimal_comma: bool
) -> float | None:
    text = row.get(name, "")
    if not text:
        return None
    value = number(f"`{name}`", text, decimal_comma=has_decimal_comma)
    if value is None:
        raise BadInputError(f"`{name}` must be a number, not {text!r}.")
    if not within.low <= value <= within.high:
        raise BadInputError(
            f"`{name}` must lie between {within.low:g} and {within.high:g}, not {text}."
        )
    return value
