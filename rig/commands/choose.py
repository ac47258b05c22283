"""`rig choose`: which bag faces and sets suit the day."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Twin,
    Units,
    print_json,
    say,
    settings_of,
    system_of,
)
from rig.commands.quantities import name_option, quantity, quantity_option

if TYPE_CHECKING:
    from rig.quantities.shown import System

LIVE_S = 10.0
"""A climate sensor that gives nothing for so long has nothing to give."""

StudyFolder = Annotated[Path, typer.Argument(metavar="STUDY", help="The study's folder.")]
Temperature = Annotated[
    str | None, typer.Option("--temperature", metavar="T", help="Of the air, °C.")
]
Humidity = Annotated[
    str | None, typer.Option("--humidity", metavar="H", help="Relative, of the air, %.")
]
BoardTemperature = Annotated[
    str | None,
    typer.Option("--board-temperature", metavar="T", help="Of the board's surface, °C (sun)."),
]
Approach = Annotated[
    str | None,
    typer.Option("--from", metavar="dry|damp", help="How the bags came to this air."),
]
Board = Annotated[
    str | None, name_option("--board", "board", "Default: the most measured one.", metavar="D")
]
Angle = Annotated[
    float | None, quantity_option("--angle", "°", 0, 60, "Wished slide angle, degrees.")
]
Mu = Annotated[float | None, quantity_option("--mu", "", 0, 2, "Wished coefficient.")]
Like = Annotated[
    str | None,
    typer.Option("--like", metavar="BAG/FACE[@BOARD][:T,H]", help="Like that bag, there, then."),
]
Tolerance = Annotated[
    float | None, quantity_option("--tolerance", "°", 0, 45, "How near is near enough.")
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
    str | None,
    name_option("--reader", "reader", "Who read them (bias, scatter).", metavar="NAME"),
]


def live_air(rig: Path | None, twin: bool, seed: int) -> tuple[float, float]:
    """Temperature (°C) and relative humidity (%) as the rig's sensor reads them now.

    Raises:
        BadInputError: there is no rig to read them from.
    """
    from rig.clock import At, Task
    from rig.control.faults import told
    from rig.errors import BadInputError, RigError
    from rig.opening import open_rig
    from rig.procedures.runs import raise_failures, start_watching

    def look() -> Task[tuple[float, float]]:
        machine = opened.machine
        start_watching(machine)
        end_s = machine.clock.time_s() + LIVE_S
        while (now := machine.clock.time_s()) < end_s:
            yield At(now + 0.2)
            raise_failures(machine)
            live = machine.live
            if live.temperature_c is not None and live.relative_humidity_pct is not None:
                return live.temperature_c, live.relative_humidity_pct
        raise BadInputError("The climate sensor gave no reading.")

    try:
        opened = open_rig(settings_of(rig), twin=twin, seed=seed, settings_file=rig)
        with opened:
            return opened.run(look())
    except RigError as error:
        raise BadInputError(
            f"Give the day's air (--temperature T --humidity H), or read it on a rig: {told(error)}"
        ) from None


def day_choice(
    study: Path,
    temperature: str | None,
    humidity: str | None,
    live: tuple[Path | None, bool, int],
    board_temperature: str | None = None,
    units: "System" = "metric",
    **rest: Any,
) -> Any:
    """The choice, in the climate that was typed or, without one, in that of the rig."""
    from rig.errors import BadInputError
    from rig.quantities.shown import system
    from rig.study.ask import choice_of_the_day

    if (temperature is None) != (humidity is None):
        raise BadInputError("Give both of the day's air, --temperature T and --humidity H.")
    surface_c = None
    if board_temperature is not None:
        surface_c = quantity("--board-temperature", board_temperature, "°C", -20, 80)
    if temperature is None or humidity is None:
        temperature_c, humidity_pct = live_air(*live)
        warm = system(units)["c"].text(temperature_c, 1)
        say(f"Air by the rig's sensor: {warm}, {humidity_pct:.0f} %RH.")
    else:
        temperature_c = quantity("--temperature", temperature, "°C", -20, 50)
        humidity_pct = quantity("--humidity", humidity, "%", 0, 100)
    choice = choice_of_the_day(
        study,
        temperature_c=temperature_c,
        relative_humidity_pct=humidity_pct,
        board_temperature_c=surface_c,
        **rest,
    )
    for note in choice.notes:
        say(note)
    return choice


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
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = 1,
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Rank bag faces and sets for a wish, in the air that was typed or that the rig reads now."""
    chosen = system_of(units)
    choice = day_choice(
        study,
        temperature,
        humidity,
        (rig, twin, seed),
        board_temperature=board_temperature,
        units=chosen,
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
        from rig.files.plain import plain

        print_json(plain(choice))
        return
    from rig.study.sheet import sheet_text

    print(sheet_text(choice, "Choice of the day", chosen))
