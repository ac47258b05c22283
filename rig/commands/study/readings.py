"""The `rig study` commands for what is read by hand: droop, and slide angles away from the rig."""

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from rig.commands.options import Json, say
from rig.commands.quantities import name_argument, name_option, quantity
from rig.commands.study.options import (
    Angles,
    Folder,
    Humidity,
    Measured,
    Note,
    Operator,
    Replaces,
    Session,
    Stage,
    Temperature,
    When,
    air,
    angles_of,
    report,
    session_of,
    when,
)
from rig.errors import BadInputError
from rig.study.folder.ranges import BOARD_C, OVERHANG_MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rig.study.folder.journal import Reading
    from rig.study.folder.study import Study


def droop(
    folder: Folder,
    bag: Annotated[str | None, name_argument("bag", "BAG")] = None,
    up: Annotated[str | None, name_option("--up", "face", "The face up.", metavar="FACE")] = None,
    angles: Angles = None,
    overhang: Annotated[
        str | None, typer.Option("--overhang", metavar="MM", help="Length over the edge, in mm.")
    ] = None,
    seams: Annotated[
        str | None, typer.Option("--seams", help="`along` or `across`, seen from the edge.")
    ] = None,
    reader: Annotated[str | None, name_option("--reader", "reader", "Who read it.")] = None,
    temperature: Temperature = None,
    humidity: Humidity = None,
    measured: Measured = False,
    session: Session = None,
    stage: Stage = None,
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note how far a flattened bag droops over an edge; without a bag, show all that was read.

    Even the fill out, lay the bag with part of it over a straight edge, read the angle of its tip
    below the horizontal; lay it again for each angle. It is common to let a 6-inch bag hang over by
    2 inches (51 mm) (common practice, no source).
    """
    from rig.study.folder.journal import Droop
    from rig.study.folder.study import open_study

    study = open_study(folder)
    if bag is None:
        from rig.commands.study.figures import show_droop

        show_droop(study, json)
        return
    if up is None or not angles or overhang is None:
        raise BadInputError("A droop reading needs --up, --overhang and --angle (once or more).")
    study.check_face(bag, up)
    if seams not in (None, "along", "across"):
        raise BadInputError(f"--seams takes along or across, not {seams!r}.")
    way: Literal["along", "across"] | None = seams  # type: ignore[assignment]
    time = when(at, folder)
    t, h = air(temperature, humidity)
    entry = Droop(
        at=time,
        bag=bag,
        face=up,
        overhang_mm=quantity("--overhang", overhang, *OVERHANG_MM),
        angles_deg=angles_of(angles),
        seams=way,
        reader=reader,
        temperature_c=t,
        relative_humidity_pct=h,
        climate_source=_source(t, h, measured),
        stage=_stage(study, bag, stage, time),
        session=session_of(study, session, time),
        operator=operator,
        note=note,
        replaces=replaces,
    )
    report(study.note(entry), json)


def reading(
    folder: Folder,
    bag: Annotated[str | None, name_argument("bag", "BAG")] = None,
    face: Annotated[str | None, name_argument("face", "FACE", "On the board.")] = None,
    board: Annotated[str | None, name_option("--board", "board", "The board lifted.")] = None,
    reader: Annotated[str | None, name_option("--reader", "reader", "Who read the angle.")] = None,
    angles: Angles = None,
    table: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE.csv", help="Take many at once, a line for each."),
    ] = None,
    again: Annotated[
        bool,
        typer.Option("--again", help="Measure lifts with a phone again; note what differs."),
    ] = False,
    temperature: Temperature = None,
    humidity: Humidity = None,
    measured: Measured = False,
    board_temperature: Annotated[
        str | None, typer.Option("--board-temperature", metavar="T", help="Of its surface, in °C.")
    ] = None,
    session: Session = None,
    stage: Stage = None,
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note slide angles read by hand, away from the rig; without a bag, each reader's bias.

    Readings and runs of the same bag, face, board, stage and session are compared. A table for
    --from has the columns at, reader, bag, face, board, angle_deg, and where known temperature_c,
    relative_humidity_pct, note; one bad line, and nothing is taken. With --again lifts with a phone
    are measured from their traces by this version; what differs is noted, and the older lines stay
    in the journal.
    """
    from rig.study.folder.journal import Reading
    from rig.study.folder.study import open_study

    study = open_study(folder)
    if again:
        if bag is not None or angles or table is not None or replaces is not None:
            raise BadInputError("--again takes bags and angles from the traces; leave them out.")
        _measure_again(study, operator, note, json)
        return
    if table is not None:
        from rig.study.slides.from_csv import readings_from

        if bag is not None or angles:
            raise BadInputError("--from brings bags and angles itself; leave them out.")
        many = readings_from(
            table, study, partial(when, folder=folder), partial(session_of, study, None)
        )
        _noted(study.note(*many), folder, json)
        return
    if bag is None:
        from rig.commands.study.figures import show_readers

        show_readers(study, json)
        return
    if face is None or board is None or reader is None or not angles:
        raise BadInputError(
            "A reading needs BAG, FACE, --board, --reader and --angle (once or more)."
        )
    study.check_face(bag, face)
    study.check_board(board)
    time = when(at, folder)
    t, h = air(temperature, humidity)
    entry = Reading(
        at=time,
        bag=bag,
        face=face,
        board=board,
        reader=reader,
        angles_deg=angles_of(angles),
        temperature_c=t,
        relative_humidity_pct=h,
        climate_source=_source(t, h, measured),
        board_temperature_c=(
            None
            if board_temperature is None
            else quantity("--board-temperature", board_temperature, *BOARD_C)
        ),
        stage=_stage(study, bag, stage, time),
        session=session_of(study, session, time),
        operator=operator,
        note=note,
        replaces=replaces,
    )
    _noted(study.note(entry), folder, json)
    if t is None or h is None:
        say(
            "Without --temperature and --humidity this reading says nothing about the air's effect."
        )


def _noted(entries: "Sequence[Reading]", folder: Path, json: bool) -> None:
    """Say what was noted, and ask about readings that lie far off."""
    from rig.study.folder.study import open_study
    from rig.study.slides.strays import strays
    from rig.study.slides.table import table_of

    report(entries, json)
    lines = {entry.line for entry in entries}
    # A reader is held against their own readings, so no run file need be read, nor can one fail.
    by_hand = table_of(open_study(folder), {})
    for stray in strays(by_hand.valid, str(folder)):
        if stray.slide.line in lines:
            say(stray.text)


def _measure_again(study: "Study", operator: str | None, note: str, json: bool) -> None:
    """Note which lifts come out otherwise by now."""
    from rig.quantities.figures import fixed
    from rig.study.slides.again import corrections, lifts_again

    lifts = lifts_again(study)
    if not lifts:
        raise BadInputError(f"The study {study.path} has no lift with a phone.")
    for one in lifts:
        if one.problem:
            say(f"{one.trace.name}: {one.problem}")
        if one.differs and one.noted and one.slide and one.reading:
            say(
                f"Line {one.reading.line}, {one.reading.bag}, {one.reading.face}:"
                f" {fixed(one.noted.angle_deg, 2)}° becomes {fixed(one.slide.angle_deg, 2)}°."
            )
    lines = corrections(lifts, operator, note)
    if not lines:
        say("Every lift comes out as it was noted; nothing is written.")
    report(study.note(*lines) if lines else [], json)


def _source(
    t: float | None, h: float | None, measured: bool
) -> Literal["typed", "measured"] | None:
    if t is None and h is None:
        return None
    return "measured" if measured else "typed"


def _stage(study: "Study", bag: str, stage: str | None, at: str) -> str:
    if stage is None:
        return study.stage_at(bag, at)
    study.stage_order(stage)
    return stage
