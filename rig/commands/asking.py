"""A question to a study as it is typed: air, board, and the slide angle that is wanted."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rig.commands.options import say, settings_of, simulated
from rig.commands.quantities import name_option, quantity, quantity_option
from rig.errors import BadInputError
from rig.study.folder.ranges import ASKED_AIR_C, HUMIDITY_PCT

if TYPE_CHECKING:
    from rig.quantities.shown import System
    from rig.study.answer.answer import DayAir
    from rig.study.answer.ask import Asked
    from rig.study.folder.study import Study
    from rig.study.slides.look import Contents

LIVE_S = 10.0
"""A climate sensor that gives nothing for so long has nothing to give."""
"""Air that people play in."""

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
    typer.Option("--approach", metavar="dry|damp", help="How the bags came to this air."),
]
From = Annotated[str | None, typer.Option("--from", metavar="dry|damp", hidden=True)]
Board = Annotated[
    str | None,
    name_option("--board", "board", "Board to be played on. Default: each bag's usual one."),
]
Angle = Annotated[
    float | None,
    quantity_option("--angle", "°", 1, 59, "Slide angle wanted, instead of the study's targets."),
]
Mu = Annotated[
    float | None, typer.Option("--mu", metavar="M", min=0.01, max=2.0, help="As a coefficient.")
]
Like = Annotated[
    str | None,
    typer.Option("--like", metavar="BAG/FACE[@BOARD][:T,H]", help="As that bag, there, then."),
]
Tolerance = Annotated[
    float | None, quantity_option("--tolerance", "°", 0.05, 20, "How near is near enough.")
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
    name_option("--reader", "reader", "Who read them: the study may know that reader's bias."),
]


def asked(
    study: Path,
    *,
    temperature: str | None = None,
    humidity: str | None = None,
    board_temperature: str | None = None,
    live: tuple[Path | None, bool, int | None] | None = None,
    approach: str | None = None,
    board: str | None = None,
    angle: float | None = None,
    mu: float | None = None,
    like: str | None = None,
    tolerance: float | None = None,
    readings: list[str] | None = None,
    reader: str | None = None,
    calibration: Path | None = None,
    contents: "Contents | None" = None,
    units: "System" = "metric",
    dataset: Path | None = None,
) -> "Asked":
    """The question as it was typed, put to the study; see the options above.

    `live` names settings, twin and seed of the rig that reads the air when none was typed; without
    it the air of the newest slide counts.

    Raises:
        BadInputError: something typed is not valid, or no slide counts yet.
    """
    from math import atan, degrees

    from rig.calibration.file import load_calibration
    from rig.study.answer.ask import ask
    from rig.study.answer.typed import like_of, slides_of
    from rig.study.folder.study import open_study

    if dataset is not None:
        from functools import partial

        from rig.gather.read import told_by
    if sum(value is not None for value in (angle, mu, like)) > 1:
        raise BadInputError("Give one of --angle, --mu and --like.")
    if approach not in (None, "dry", "damp"):
        raise BadInputError(f"--approach takes `dry` or `damp`, not {approach!r}.")
    air, surface_c = _typed_air(temperature, humidity, board_temperature)
    opened = open_study(study)
    _check_board(opened, board)
    if air is None and surface_c is not None and live is None:
        raise BadInputError("--board-temperature needs --temperature and --humidity.")
    if air is None and live is not None:
        air = _read_air(study, live, surface_c, units)
    found = ask(
        opened,
        air=air,
        from_damp=None if approach is None else approach == "damp",
        board=board,
        angle_deg=degrees(atan(mu)) if mu is not None else angle,
        like=None if like is None else like_of(like),
        tolerance_deg=tolerance,
        readings=slides_of(readings or [], opened, board, air, reader),
        calibration=None if calibration is None else load_calibration(calibration),
        contents=contents,
        told=None if dataset is None else partial(told_by, dataset),
    )
    for problem in found.table.problems:
        say(problem)
    return found


def _check_board(study: "Study", board: str | None) -> None:
    """A board that is not in the catalogue is a new one, unless its name is near a known one."""
    from rig.files.names import nearest

    known = study.catalogue.boards
    if board is not None and board not in known:
        near = nearest(board, known)
        if near is not None:
            raise BadInputError(
                f"The study knows no board {board!r}; did you mean {near!r}? `rig study board`"
                " adds a new one."
            )
        say(f"{board} is a new board: boards differ, so the ranges are wider.")


def _typed_air(
    temperature: str | None, humidity: str | None, board_temperature: str | None
) -> "tuple[DayAir | None, float | None]":
    """The air as typed, None where none was, and the board's temperature in °C."""
    from rig.study.answer.ask import air_at

    if (temperature is None) != (humidity is None):
        raise BadInputError("Give both of the day's air, --temperature T and --humidity H.")
    surface_c = None
    if board_temperature is not None:
        surface_c = quantity("--board-temperature", board_temperature, "°C", -20, 80)
    if temperature is None or humidity is None:
        return None, surface_c
    air_c = quantity("--temperature", temperature, *ASKED_AIR_C)
    humidity_pct = quantity("--humidity", humidity, *HUMIDITY_PCT)
    return air_at(air_c, humidity_pct, surface_c), surface_c


def _read_air(
    study: Path,
    live: tuple[Path | None, bool, int | None],
    surface_c: float | None,
    units: "System",
) -> "DayAir":
    from rig.quantities.shown import system
    from rig.study.answer.ask import air_at

    air_c, humidity_pct = live_air(study, *live)
    warm = system(units)["c"].text(air_c, 1)
    say(f"Air by the rig's sensor: {warm}, {humidity_pct:.0f} %RH.")
    return air_at(air_c, humidity_pct, surface_c)


def live_air(study: Path, rig: Path | None, twin: bool, seed: int | None) -> tuple[float, float]:
    """Temperature (°C) and relative humidity (%) as the sensor of the study's rig reads them now.

    Raises:
        BadInputError: there is no rig to read them from.
    """
    from rig.clock import At, Task
    from rig.control.faults.table import told
    from rig.errors import RigError
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
        seed, home, rig = simulated(twin, seed, rig, study)
        opened = open_rig(settings_of(rig), twin=twin, seed=seed, home=home, settings_file=rig)
        with opened:
            return opened.run(look())
    except RigError as error:
        raise BadInputError(
            f"Give the day's air (--temperature T --humidity H), or read it on a rig: {told(error)}"
        ) from None


def part(answer: Any, *keys: str) -> dict[str, Any]:
    """Some keys of the object `answer` as plain values."""
    import msgspec

    plain = msgspec.to_builtins(answer)
    return {key: plain[key] for key in keys}
