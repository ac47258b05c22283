"""`rig sheet`: the page for match day."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.choose import (
    Angle,
    Approach,
    Board,
    BoardTemperature,
    Humidity,
    Like,
    Mu,
    Reader,
    Readings,
    StudyFolder,
    Temperature,
    Tolerance,
    day_choice,
)
from rig.commands.options import RigFile, Seed, Twin, Units, say, system_of


def sheet(
    study: StudyFolder,
    temperature: Temperature = None,
    humidity: Humidity = None,
    board_temperature: BoardTemperature = None,
    approach: Approach = None,
    board: Board = None,
    angle: Angle = None,
    mu: Mu = None,
    like: Like = None,
    tolerance: Tolerance = None,
    reading: Readings = None,
    reader: Reader = None,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = 1,
    text: Annotated[bool, typer.Option("--text", help="Plain text on stdout.")] = False,
    units: Units = "metric",
    paper: Annotated[str, typer.Option("--paper", metavar="A4|letter")] = "A4",
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Default: report/sheet.html in the study."),
    ] = None,
) -> None:
    """Write one printable page: what to throw today, and how to check it with one tilt."""
    from rig.errors import BadInputError
    from rig.study.sheet import sheet_html, sheet_text

    if paper not in ("A4", "letter"):
        raise BadInputError(f"--paper takes `A4` or `letter`, not {paper!r}.")
    system = system_of(units)
    choice = day_choice(
        study,
        temperature,
        humidity,
        (rig, twin, seed),
        board_temperature=board_temperature,
        units=system,
        approach=approach,
        board=board,
        angle_deg=angle,
        mu=mu,
        like=like,
        tolerance_deg=tolerance,
        readings=reading or [],
        reader=reader,
    )
    if text:
        print(sheet_text(choice, units=system))
        return
    path = out or study / "report" / "sheet.html"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(sheet_html(choice, paper=paper, units=system), encoding="utf-8")
    except OSError as error:
        raise BadInputError(f"{path} can't be written ({error.strerror}); name --out.") from None
    say(f"The sheet is {path}; print it on {paper}.")
