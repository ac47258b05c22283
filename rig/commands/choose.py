"""`rig choose`: which bag faces and sets suit the day."""

from pathlib import Path
from typing import Annotated, Any

import typer

from rig.commands.options import Json, print_json

StudyFolder = Annotated[Path, typer.Argument(metavar="STUDY", help="The study's folder.")]
Temperature = Annotated[
    float | None, typer.Option("--temperature", metavar="T", help="Of the air, °C.")
]
Humidity = Annotated[
    float | None, typer.Option("--humidity", metavar="H", help="Relative, of the air, %.")
]
BoardTemperature = Annotated[
    float | None,
    typer.Option("--board-temperature", metavar="T", help="Of the board's surface, °C (sun)."),
]
Approach = Annotated[
    str | None,
    typer.Option("--from", metavar="dry|damp", help="How the bags came to this air."),
]
Board = Annotated[
    str | None, typer.Option("--board", metavar="D", help="Default: the most measured one.")
]
Angle = Annotated[
    float | None, typer.Option("--angle", metavar="A", help="Wished slide angle, degrees.")
]
Mu = Annotated[float | None, typer.Option("--mu", metavar="M", help="Wished coefficient.")]
Like = Annotated[
    str | None,
    typer.Option("--like", metavar="BAG/FACE[@BOARD][:T,H]", help="Like that bag, there, then."),
]
Tolerance = Annotated[
    float | None, typer.Option("--tolerance", metavar="DEG", help="How near is near enough.")
]
Readings = Annotated[
    list[str] | None,
    typer.Option(
        "--reading",
        metavar="BAG/FACE=A,A,…",
        help="Slide angles read by hand on the day's board; may be repeated.",
    ),
]
Reader = Annotated[
    str | None, typer.Option("--reader", metavar="NAME", help="Who read them (bias, scatter).")
]


def day_choice(study: Path, temperature: float | None, humidity: float | None, **rest: Any) -> Any:
    """The choice, from the climate that was typed."""
    from rig.errors import BadInputError
    from rig.study.ask import choice_of_the_day

    if temperature is None or humidity is None:
        raise BadInputError("Give the day's air: --temperature T --humidity H.")
    return choice_of_the_day(
        study, temperature_c=temperature, relative_humidity_pct=humidity, **rest
    )


def choose(
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
    json: Json = False,
) -> None:
    """Rank bag faces and sets for the day's air and a wish."""
    choice = day_choice(
        study,
        temperature,
        humidity,
        board_temperature_c=board_temperature,
        approach=approach,
        board=board,
        angle_deg=angle,
        mu=mu,
        like=like,
        tolerance_deg=tolerance,
        readings=reading or [],
        reader=reader,
    )
    if json:
        from rig.study.compare import plain

        print_json(plain(choice))
        return
    from rig.study.sheet import sheet_text

    print(sheet_text(choice, "Choice of the day"))
