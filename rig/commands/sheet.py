"""`rig sheet`: the form for match day."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.asking import (
    Angle,
    Approach,
    Board,
    BoardTemperature,
    From,
    Humidity,
    Like,
    Mu,
    Reader,
    Readings,
    StudyFolder,
    Temperature,
    Tolerance,
    asked,
)
from rig.commands.options import (
    RigFile,
    Seed,
    Twin,
    Units,
    columns,
    say,
    system_of,
    write_out,
)
from rig.errors import BadInputError


def sheet(
    study: StudyFolder,
    temperature: Temperature = None,
    humidity: Humidity = None,
    board_temperature: BoardTemperature = None,
    approach: Approach = None,
    came_from: From = None,
    board: Board = None,
    angle: Angle = None,
    mu: Mu = None,
    like: Like = None,
    tolerance: Tolerance = None,
    reading: Readings = None,
    reader: Reader = None,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    text: Annotated[bool, typer.Option("--text", help="Plain text on stdout.")] = False,
    units: Units = "metric",
    paper: Annotated[str, typer.Option("--paper", metavar="A4|letter")] = "A4",
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Default: report/sheet.html in the study."),
    ] = None,
) -> None:
    """Write a form to print: what to throw today, and how to check it by three slides."""
    from rig.files.time_here import now_in
    from rig.report.sheet import sheet_html, sheet_of, sheet_text

    if paper not in ("A4", "letter"):
        raise BadInputError(f"--paper takes `A4` or `letter`, not {paper!r}.")
    system = system_of(units)
    found = asked(
        study,
        temperature=temperature,
        humidity=humidity,
        board_temperature=board_temperature,
        live=(rig, twin, seed),
        approach=approach or came_from,
        board=board,
        angle=angle,
        mu=mu,
        like=like,
        tolerance=tolerance,
        readings=reading,
        reader=reader,
        units=system,
    )
    made = sheet_of(
        found.answer,
        found.study.catalogue.name,
        now_in(study).astimezone().date(),
        simulated=found.table.is_simulated,
        units=system,
    )
    if text:
        print(sheet_text(made, columns()))
        return
    path = out or study / "report" / "sheet.html"
    write_out(path, sheet_html(made, paper=paper).encode())
    say(f"The sheet is {path}; print it on {paper}, both sides.")
