"""The slide tables of several studies as one file: a row for each slide, units in the names."""

import csv
import io
import types
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec

from rig.analysis.row import RunResult
from rig.errors import BadInputError
from rig.files.cells import safe_cell
from rig.study.folder.durable import replace_file
from rig.study.folder.study import Study, open_study
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table

BEFORE: dict[str, type] = {
    "study": str,
    "rig": str,
    "started_at": str,
    "source": str,
    "operator": str,
    "role": str,
    "treatment": str,
    "bag_mass_g": float,
    "approach": str,
    "conditioned_h": float,
    "slides_before": int,
}
"""Columns before a run's results, and what they hold; `treatment` is what the plan means it for."""

AFTER: dict[str, type] = {
    "slide_id": str,
    "line": int,
    "reader": str,
    "model": str,
    "treatments": str,
    "void": str,
    "trace": str,
    "u_sensor_deg": float,
    "u_zero_deg": float,
    "u_tap_deg": float,
    "u_rate_deg": float,
    "u_random_deg": float,
}
"""Columns behind them; `treatments` is what was done by then as journalled, joined by `; `; those
from `trace` on are of slides that a phone measured."""


def columns() -> dict[str, type]:
    """Name and type (str, float, int or bool) of every column, in order."""
    hints = get_type_hints(RunResult)
    return BEFORE | {name: _plain(hints[name]) for name in RunResult.__struct_fields__} | AFTER


def _plain(hint: Any) -> type:
    """The type of a column from that of a result's field; lists become text."""
    if get_origin(hint) in (Union, types.UnionType):
        hint = next(arm for arm in get_args(hint) if arm is not type(None))
    if get_origin(hint) is Literal or get_origin(hint) is list:
        return str
    return hint if hint in (str, float, int, bool) else str


def export_rows(folders: Sequence[Path]) -> tuple[list[dict[str, Any]], list[str]]:
    """The rows of all studies, one after the other, and sentences about what can't be read.

    Flags are joined by spaces; `run_file` is the path within the study's folder.

    Raises:
        BadInputError: a folder is not a study, two are the same, or one has no run file.
    """
    rows: list[dict[str, Any]] = []
    problems: list[str] = []
    seen: set[Path] = set()
    for folder in folders:
        if folder.resolve() in seen:
            raise BadInputError(f"{folder} is named twice; its runs would count double.")
        seen.add(folder.resolve())
        study = open_study(folder)
        table = slide_table(study)
        if not table.slides:
            raise BadInputError(
                f"{folder} has no slide to export yet: no run file (*.run.jsonl) in"
                f" {study.runs_path}, and no reading by hand."
            )
        problems += table.problems
        rows += [row_of(study, slide) for slide in table.slides if slide.source is not None]
    return rows, problems


def row_of(study: Study | None, slide: Slide) -> dict[str, Any]:
    """A slide by the names of `columns`: what the file says, and what the table knows better."""
    row: dict[str, Any] = dict.fromkeys(columns())
    if slide.result is not None:
        row |= msgspec.to_builtins(slide.result)
    for name in row.keys() & set(Slide.__struct_fields__):
        row[name] = getattr(slide, name)
    return row | {
        "study": None if study is None else study.catalogue.name,
        "started_at": slide.at,
        "treatment": slide.planned_treatment,
        "treatment_stage": slide.stage,
        "treatments": "; ".join(one.name for one in slide.treatments),
        "flags": " ".join(slide.flags),
        "run_file": slide.run_file or None,
        "onset_method": row["onset_method"] if slide.result is not None else _by(slide),
        "void": slide.void or None,
    }


def _by(slide: Slide) -> str:
    return "by_hand" if slide.trace is None else "by_phone"


def csv_text(rows: Sequence[dict[str, Any]]) -> str:
    """The rows as CSV; an empty cell is "not known", texts are made safe by `safe_cell`."""
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(columns()), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        cells = {
            k: str(cell).lower() if isinstance(cell, bool) else safe_cell(cell)
            for k, cell in row.items()
        }
        writer.writerow(cells)
    return buffer.getvalue()


def write_table_csv(path: Path, rows: Sequence[dict[str, Any]]) -> None:
    """Write the rows as CSV, whole or not at all.

    Raises:
        BadInputError: it can't be written.
    """
    replace_file(path, csv_text(rows).encode())


def write_table_parquet(path: Path, rows: Sequence[dict[str, Any]]) -> None:
    """Write the rows as Parquet; columns keep their type also when they are empty.

    Raises:
        BadInputError: pyarrow is not installed, or the file can't be written.
    """
    try:
        # An extra, and without types.
        import pyarrow as pa  # type: ignore[import-untyped,import-not-found,unused-ignore]
        import pyarrow.parquet as pq  # type: ignore[import-untyped,import-not-found,unused-ignore]
    except ImportError as error:
        raise BadInputError(
            "Parquet needs pyarrow, which is not installed; `pip install 'rig[export]'` adds it,"
            " or write CSV."
        ) from error
    kinds = {str: pa.string(), float: pa.float64(), int: pa.int64(), bool: pa.bool_()}
    schema = pa.schema([(name, kinds[kind]) for name, kind in columns().items()])
    sink = pa.BufferOutputStream()
    pq.write_table(pa.Table.from_pylist(list(rows), schema=schema), sink)
    replace_file(path, sink.getvalue().to_pybytes())
