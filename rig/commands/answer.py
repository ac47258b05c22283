"""`rig answer`: what a study says by now."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.asking import (
    Angle,
    Approach,
    Board,
    BoardTemperature,
    Humidity,
    StudyFolder,
    Temperature,
    Tolerance,
    asked,
)
from rig.commands.options import COLUMNS, Json, Units, columns, print_json, system_of


def answer(
    study: StudyFolder,
    temperature: Temperature = None,
    humidity: Humidity = None,
    board_temperature: BoardTemperature = None,
    approach: Approach = None,
    board: Board = None,
    angle: Angle = None,
    tolerance: Tolerance = None,
    everything: Annotated[
        bool, typer.Option("--all", help="All bag faces, effects and unknowns.")
    ] = False,
    dataset: Annotated[
        Path | None,
        typer.Option(
            "--with", metavar="DATASET", help="Take other owners' slides along (`rig gather`)."
        ),
    ] = None,
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Say what to throw, which bags are done, what each treatment did, and what to do next.

    In the air of the newest slide, unless --temperature and --humidity say another.
    """
    import msgspec

    from rig.study.answer.lines import lines_of

    system = system_of(units)
    found = asked(
        study,
        temperature=temperature,
        humidity=humidity,
        board_temperature=board_temperature,
        approach=approach,
        board=board,
        angle=angle,
        tolerance=tolerance,
        units=system,
        dataset=dataset,
    )
    if json:
        print_json(msgspec.to_builtins(found.answer))
        return
    name, width = found.study.catalogue.name, min(COLUMNS, columns())
    lines = lines_of(found.answer, name, system, everything=everything, width=width)
    print("\n".join(lines))
