"""One page from a document and figures: self-contained, to read, print and hand on."""

import os
from collections.abc import Iterator, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from rig.quantities.figures import figure
from rig.quantities.said import worded
from rig.quantities.shown import Kind, System, system
from rig.report import tables
from rig.report.style import Picture, own_ids
from rig.report.tables import Column
from rig.study.answer.words import percent

DASH = "–"
MOST_PANELS = 12
"""Ways to a target at the front; the tables have all bag faces."""
MOST_SERIES = 100
"""Rows of series, the newest; more belong into a table of their own."""


class Value:
    """A part of the document that knows where in it it stands.

    Templates go through a document with it, so that each number on the page carries the key of
    the JSON value that it shows.
    """

    def __init__(self, value: Any, key: str = "") -> None:
        self.value = value
        self.key = key

    def __getattr__(self, name: str) -> "Value":
        if name.startswith("__") or not isinstance(self.value, dict):
            raise AttributeError(name)
        return self[name]

    def __getitem__(self, name: str | int) -> "Value":
        if isinstance(self.value, dict) and name not in self.value:
            raise AttributeError(f"{self.key} has no {name!r}")
        return Value(self.value[name], f"{self.key}.{name}" if self.key else str(name))

    def __iter__(self) -> Iterator["Value"]:
        return (self[i] for i in range(len(self.value)))

    def __len__(self) -> int:
        return len(self.value)

    def __bool__(self) -> bool:
        return bool(self.value)

    def __str__(self) -> str:
        return "" if self.value is None else str(self.value)

    def __html__(self) -> str:
        from markupsafe import escape

        return str(escape(str(self)))

    def __eq__(self, other: object) -> bool:
        return bool(self.value == (other.value if isinstance(other, Value) else other))

    __hash__ = None  # type: ignore[assignment]


def render(
    document: dict[str, Any],
    pictures: Sequence[Picture],
    *,
    study: Path,
    folder: Path,
    units: System = "metric",
) -> str:
    """The page as HTML.

    Args:
        document: as `build` makes it.
        pictures: the figures.
        study: the folder that holds the run files.
        folder: where the page will lie; links to run files start there.
        units: how lengths, temperatures and masses are shown.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup, escape

    shown = system(units)
    environment = Environment(
        loader=FileSystemLoader(str(files("rig.report"))),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )

    def number(node: Value, spec: str = ".2f", kind: Kind | None = None) -> Markup | str:
        if node.value is None:
            return DASH
        as_figure = figure if kind is None else shown[kind].figure
        text = as_figure(node.value, spec)
        return Markup('<data value="{}" data-key="{}">{}</data>').format(
            repr(node.value), node.key, text
        )

    def chance(node: Value) -> Markup:
        return Markup('<data value="{}" data-key="{}">{}</data>').format(
            repr(node.value), node.key, percent(node.value)
        )

    def cell(row: Value, column: Column) -> Markup | str:
        parts = [_at(row, key) for key in column.keys]
        if parts[0] is None:
            return DASH
        if column.spec == "chance":
            return chance(parts[0])
        shown_parts = [
            number(part, column.spec, column.kind) if column.spec else words(part)
            for part in parts
            if part is not None
        ]
        form = column.form if len(shown_parts) == len(parts) else "{}"
        return escape(form).format(*shown_parts)

    def words(node: Value) -> str:
        return worded(node.value or "", units)

    def link(node: Value) -> str:
        from urllib.parse import quote

        return quote(os.path.relpath(study / str(node), folder).replace(os.sep, "/"))

    environment.filters |= {
        "num": number,
        "link": link,
        "words": words,
        "head": lambda text: text.format_map({name: kind.unit for name, kind in shown.items()}),
    }
    environment.globals |= {"cell": cell, "filled": filled, "tables": tables}
    drawn = {one.name: one for one in pictures}
    safe = {
        one.name: Markup(own_ids(one.svg, one.name))  # noqa: S704 - drawn here, names are safe
        for one in pictures
    }
    return environment.get_template("page.html.j2").render(
        doc=Value(document),
        drawn=drawn,
        svg=safe,
        most_panels=MOST_PANELS,
        most_series=MOST_SERIES,
        units={name: kind.unit for name, kind in shown.items()},
        style=Markup(files("rig.report").joinpath("page.css").read_text("utf-8")),  # noqa: S704
    )


def _at(row: Value, key: str) -> Value | None:
    """A value of a row; None where there is none."""
    for name in key.split("."):
        within = row.value
        place: str | int = int(name) if isinstance(within, list) else name
        if place not in (range(len(within)) if isinstance(within, list) else within):
            return None
        row = row[place]
    return None if row.value in (None, "") else row


def filled(rows: Value, columns: Sequence[Column]) -> list[Column]:
    """The columns that some row has a value for, of context those that tell rows apart."""
    found = []
    for column in columns:
        values = [_at(row, column.keys[0]) for row in rows]
        told = {None if one is None else one.value for one in values}
        if told != {None} and not (column.is_context and len(told) == 1):
            found.append(column)
    return found
