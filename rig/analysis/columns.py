"""Rows as text for a terminal: folded where they are too wide, and in blocks where they must be."""

import re
from collections.abc import Sequence
from textwrap import wrap

Row = Sequence[str]

GAP = "  "
_GLUED = re.compile(r" (?=±)|(?<=±) | (?=[°%])")
"""Spaces at which no line ends."""
_NUMBER = re.compile(r"[-+−±]?[\d.]|–$")


def format_table(rows: Sequence[Row], columns: int | None = None) -> str:
    """Columns side by side, the titles underlined.

    Args:
        rows: of cells, titles first.
        columns: of the terminal. A wider table has its texts folded; where even that does not fit,
            the columns that are left over follow below, with the first one again.
    """
    if columns is None or width_of(rows) <= columns:
        return _block(rows, _natural(rows))
    if _width(_least(rows)) <= columns:
        return _block(rows, _narrowed(rows, columns))
    return "\n\n".join(_block(part, _narrowed(part, columns)) for part in _parts(rows, columns))


def picked(rows: Sequence[Row], titles: Sequence[str]) -> list[Row]:
    """The columns of these titles."""
    places = [rows[0].index(title) for title in titles]
    return [[row[k] for k in places] for row in rows]


def width_of(rows: Sequence[Row]) -> int:
    """Columns that a table takes as it is."""
    return _width(_natural(rows))


def _natural(rows: Sequence[Row]) -> list[int]:
    return [max(map(len, column)) for column in zip(*rows, strict=True)]


def _width(widths: Sequence[int]) -> int:
    return sum(widths) + len(GAP) * (len(widths) - 1)


def _words(cell: str) -> str:
    """The cell with what belongs together held together; a number with its range is one word."""
    return cell.replace(" ", "\xa0") if _NUMBER.match(cell) else _GLUED.sub("\xa0", cell)


def _least(rows: Sequence[Row]) -> list[int]:
    """Widths of the longest words."""
    return [
        max(len(word) for cell in column for word in _words(cell).split(" "))
        for column in zip(*rows, strict=True)
    ]


def _narrowed(rows: Sequence[Row], columns: int) -> list[int]:
    """Widths that fit; the widest column gives way first."""
    least = _least(rows)
    widths = _natural(rows)
    while _width(widths) > columns and widths != least:
        spare = [(width, k) for k, width in enumerate(widths) if width > least[k]]
        widths[max(spare)[1]] -= 1
    return widths


def _parts(rows: Sequence[Row], columns: int) -> list[list[Row]]:
    """The first column with as many of the others as there is room for, again and again."""
    widths = _natural(rows)
    groups: list[list[int]] = []
    for k in range(1, len(widths)):
        room = columns if groups else 0
        if groups and _width([widths[i] for i in (0, *groups[-1], k)]) <= room:
            groups[-1].append(k)
        else:
            groups.append([k])
    return [[[row[k] for k in (0, *group)] for row in rows] for group in groups]


def _block(rows: Sequence[Row], widths: Sequence[int]) -> str:
    lines: list[str] = []
    for number, row in enumerate(rows):
        cells = [_folded(cell, width) for cell, width in zip(row, widths, strict=True)]
        height = max(map(len, cells))
        for line in range(height):
            parts = (cell[line] if line < len(cell) else "" for cell in cells)
            lines.append(GAP.join(p.ljust(w) for p, w in zip(parts, widths, strict=True)))
        if number == 0:
            lines.append(GAP.join("─" * width for width in widths))
    return "\n".join(line.rstrip() for line in lines)


def _folded(cell: str, width: int) -> list[str]:
    if len(cell) <= width:
        return [cell]
    lines = wrap(_words(cell), width, break_long_words=False, break_on_hyphens=False)
    return [line.replace("\xa0", " ") for line in lines]
