"""From what a person types to a choice of the day: air, wish, board, hand readings."""

from collections.abc import Sequence
from pathlib import Path

import msgspec

from rig.analysis.climate import surface_humidity_pct
from rig.errors import BadInputError
from rig.files.names import safe_name
from rig.quantities.typed import quantity
from rig.study.choose import (
    READING_SD_DEG,
    Choice,
    HandReading,
    Wish,
    choose,
    wish_like,
    wish_of_mu,
)
from rig.study.climate_model import Air, ClimateModel, fit_climate
from rig.study.gather import Gathered, gather
from rig.study.journal import Reading
from rig.study.readings import ReaderBias, RigAngle, reader_biases
from rig.study.rows import Row, unit_of

APPROACHES = {"dry": 0.0, "damp": 1.0}


def air_of(
    temperature_c: float,
    relative_humidity_pct: float,
    board_temperature_c: float | None = None,
    approach: str | None = None,
) -> Air:
    """The air at the board's surface.

    Raises:
        BadInputError: a value that no match is played in, or an unknown approach.
    """
    for name, value, low, high in (
        ("temperature", temperature_c, -20.0, 50.0),
        ("relative humidity", relative_humidity_pct, 0.0, 100.0),
        ("board temperature", board_temperature_c, -20.0, 80.0),
    ):
        if value is not None and not low <= value <= high:
            raise BadInputError(f"A {name} of {value:g} can't be; give {low:g} to {high:g}.")
    if approach is not None and approach not in APPROACHES:
        raise BadInputError(f"The bags came from `dry` or from `damp`, not from {approach!r}.")
    surface = relative_humidity_pct
    if board_temperature_c is not None:
        surface = surface_humidity_pct(temperature_c, relative_humidity_pct, board_temperature_c)
    return Air(
        surface_humidity_pct=min(surface, 100.0),
        temperature_c=temperature_c,
        damp_share=None if approach is None else APPROACHES[approach],
    )


def parse_like(text: str) -> tuple[str, str, str | None, float | None, float | None]:
    """`BAG/FACE[@BOARD][:T,RH]` as bag, face, board, temperature (°C), humidity (%).

    Raises:
        BadInputError: it has another form.
    """
    name, _, air = text.partition(":")
    who, _, board = name.partition("@")
    bag, slash, face = who.rpartition("/")
    try:
        warm, damp = air.split(",") if air else (None, None)
    except ValueError:
        slash = ""
    if not slash or not bag or not face:
        raise BadInputError(
            f"{text!r} names no bag to be like; write BAG/FACE@BOARD:TEMPERATURE,HUMIDITY, such "
            "as 'Heron 1/slick@oak:23,50' (board and air may be left out)."
        )
    return (
        safe_name(bag, "bag"),
        safe_name(face, "face"),
        safe_name(board, "board") if board else None,
        None if warm is None else quantity("The temperature of --like", warm, "°C", -20, 50).value,
        None if damp is None else quantity("The humidity of --like", damp, "%", 0, 100).value,
    )


def parse_reading(text: str) -> tuple[str, str, list[float]]:
    """`BAG/FACE=ANGLE,ANGLE…` as bag, face and angles in degrees.

    Raises:
        BadInputError: it has another form.
    """
    who, _, values = text.partition("=")
    bag, slash, face = who.rpartition("/")
    try:
        angles = [float(part) for part in values.split(",")]
    except ValueError:
        angles = []
    if not slash or not bag or not angles or not all(0.0 < angle < 90.0 for angle in angles):
        raise BadInputError(
            f"{text!r} is no reading; write BAG/FACE=ANGLE,ANGLE in degrees, such as "
            "'Heron 1/slick=21.5,22,21'."
        )
    return safe_name(bag, "bag"), safe_name(face, "face"), angles


def hand_readings(
    texts: Sequence[str], gathered: Gathered, reader: str | None
) -> list[HandReading]:
    """The day's readings, with what the study knows of their reader.

    Raises:
        BadInputError: a reading has another form.
    """
    known = _bias_of(gathered, reader)
    readings = []
    for text in texts:
        bag, face, angles = parse_reading(text)
        reading = HandReading(
            bag=bag,
            face=face,
            angle_deg=sum(angles) / len(angles),
            n=len(angles),
            scatter_deg=READING_SD_DEG,
        )
        if known is not None and known.bias_deg is not None and known.u_bias_deg is not None:
            reading = HandReading(
                bag=bag,
                face=face,
                angle_deg=reading.angle_deg,
                n=reading.n,
                reader_bias_deg=known.bias_deg,
                u_reader_bias_deg=known.u_bias_deg,
                scatter_deg=known.scatter_deg or READING_SD_DEG,
            )
        readings.append(reading)
    return readings


def _bias_of(gathered: Gathered, reader: str | None) -> ReaderBias | None:
    if reader is None:
        return None
    rig = [
        RigAngle(**unit_of(row)._asdict(), session=row.session, onset_angle_deg=row.onset_angle_deg)
        for row in gathered.rows
        if not row.by_hand
    ]
    found = reader_biases(gathered.study.journal.of(Reading), rig)
    return next((one for one in found if one.reader == reader), None)


def wish_from(
    gathered: Gathered,
    model: ClimateModel,
    air: Air,
    board: str | None,
    angle_deg: float | None,
    mu: float | None,
    like: str | None,
    tolerance_deg: float | None,
) -> Wish:
    """The wish as typed, or else the study's.

    Raises:
        BadInputError: more than one wish, none at all, or one that can't be.
    """
    preferences = gathered.study.catalogue.preferences
    if sum(one is not None for one in (angle_deg, mu, like)) > 1:
        raise BadInputError("Give one wish: --angle, --mu or --like.")
    if angle_deg is None and mu is None and like is None:
        angle_deg, mu = preferences.wish_angle_deg, preferences.wish_mu_static
        mu = None if angle_deg is not None else mu
    if like is not None:
        wish = _like(gathered.rows, model, air, board, like)
    elif mu is not None:
        wish = wish_of_mu(mu)
    elif angle_deg is not None:
        if not 0.0 < angle_deg < 60.0:
            raise BadInputError(f"A wished angle must lie between 0 and 60°, not {angle_deg:g}°.")
        wish = Wish(angle_deg=angle_deg)
    else:
        raise BadInputError(
            "There is no wish: give --angle, --mu or --like, or set wish_angle_deg in study.toml."
        )
    tolerance = preferences.tolerance_deg if tolerance_deg is None else tolerance_deg
    if tolerance <= 0.0:
        raise BadInputError(f"A tolerance must be more than 0°, not {tolerance:g}°.")
    return Wish(
        angle_deg=wish.angle_deg,
        u_angle_deg=wish.u_angle_deg,
        tolerance_deg=tolerance,
        text=wish.text,
    )


def _like(rows: Sequence[Row], model: ClimateModel, air: Air, board: str | None, text: str) -> Wish:
    bag, face, its_board, temperature, humidity = parse_like(text)
    boards = [row.board for row in rows]
    usual = max(dict.fromkeys(boards), key=boards.count)
    its_air = air if humidity is None or temperature is None else air_of(temperature, humidity)
    return wish_like(model, rows, bag, face, its_board or board or usual, its_air)


def choice_of_the_day(
    folder: Path,
    *,
    temperature_c: float,
    relative_humidity_pct: float,
    board_temperature_c: float | None = None,
    approach: str | None = None,
    board: str | None = None,
    angle_deg: float | None = None,
    mu: float | None = None,
    like: str | None = None,
    tolerance_deg: float | None = None,
    readings: Sequence[str] = (),
    reader: str | None = None,
) -> Choice:
    """Everything from the study's folder to the ranking.

    Raises:
        BadInputError: something typed can't be, or the study can't be used.
    """
    air = air_of(temperature_c, relative_humidity_pct, board_temperature_c, approach)
    gathered = gather(folder)
    model = fit_climate(gathered.rows)
    wish = wish_from(gathered, model, air, board, angle_deg, mu, like, tolerance_deg)
    taken = hand_readings(readings, gathered, reader)
    choice = choose(gathered.rows, gathered.bags, model, air, wish, board, taken)
    return msgspec.structs.replace(choice, notes=tuple(gathered.notes))
