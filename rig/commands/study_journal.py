"""The `rig study` commands that note what was done and read by hand."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from rig.commands.options import Json, print_json, say
from rig.commands.quantities import quantity
from rig.commands.study_options import (
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
    session_of,
    when,
)
from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.study.catalogue import Step
    from rig.study.folder import Study
    from rig.study.journal import Entry

STEP_HELP = (
    "A step, such as 'soak: agent=softener, dose=20 ml per litre, temperature=30, time=45,"
    " drying=on a line' (°C, min); one for each, in order."
)


def treat(
    folder: Folder,
    bags: Annotated[
        list[str] | None, typer.Option("--bag", help="Which bag was treated; may be repeated.")
    ] = None,
    recipe: Annotated[
        str | None, typer.Option("--recipe", help="Name of the treatment in the catalogue.")
    ] = None,
    steps: Annotated[
        list[str] | None, typer.Option("--step", metavar="STEP", help=STEP_HELP)
    ] = None,
    at: When = None,
    stage: Annotated[
        str | None, typer.Option("--stage", help="The one it begins; the next if left out.")
    ] = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    without_baseline: Annotated[
        bool, typer.Option("--without-baseline", help="Take a bag that was never run before.")
    ] = False,
    json: Json = False,
) -> None:
    """Note that bags were treated; or, without --bag, add a recipe to the catalogue.

    With --bag and --recipe the recipe's steps count as done, unless --step says otherwise.
    """
    from rig.study.catalogue import Recipe
    from rig.study.catalogue_file import add_table
    from rig.study.folder import open_study
    from rig.study.journal import Treatment
    from rig.study.journal_file import append
    from rig.study.run_records import read_records
    from rig.study.treatments import THIN_MM, cautions, check_treatment, next_stage

    study = open_study(folder)
    done = tuple(_step(text) for text in steps or ())
    if not bags:
        if recipe is None or not done:
            raise BadInputError(
                "Name the bags with --bag, or give a new recipe by --recipe NAME and --step."
            )
        add_table(study.catalogue_path, "treatments", recipe, Recipe(steps=done, note=note))
        say(f"Added the recipe {recipe} to {study.catalogue_path}.")
        _caution(cautions(done))
        return
    if recipe is not None:
        study.check_treatment(recipe)
        done = done or study.catalogue.treatments[recipe].steps
    if not done:
        raise BadInputError("Say what was done, by --recipe NAME or by --step.")
    if replaces is not None and len(bags) > 1:
        raise BadInputError("A correction takes one --bag, for it replaces one line.")
    records, _ = read_records(study)
    entries = []
    for name in bags:
        study.bag(name)
        old = next((t for t in study.journal.treatments_of(name) if t.line == replaces), None)
        entry = Treatment(
            at=when(at) if at is not None or old is None else old.at,
            bag=name,
            stage=stage or (next_stage(study, name) if old is None else old.stage),
            recipe=recipe,
            steps=done,
            operator=operator,
            note=note,
            replaces=replaces,
        )
        check_treatment(study, entry, records, without_baseline)
        entries.append(entry)
    entries = [append(study.journal_path, entry) for entry in entries]
    thin = any((study.bag(name).fabric_thickness_mm or THIN_MM) < THIN_MM for name in bags)
    _report(entries, json)
    _caution(cautions(done, thin))


def _step(text: str) -> "Step":
    """A step from a text such as `soak: agent=softener, time=45`."""
    from rig.study.catalogue import Step

    action, _, rest = text.partition(":")
    values: dict[str, str] = {}
    key = ""
    for part in rest.split(",") if rest.strip() else ():
        name, equals, value = (piece.strip() for piece in part.partition("="))
        if equals:
            key = name
            if key in values or key not in ("agent", "dose", "temperature", "time", "drying"):
                why = "is there twice" if key in values else "is unknown"
                raise BadInputError(
                    f"--step {text!r}: {key!r} {why}; there are agent, dose, temperature, time"
                    " and drying."
                )
            values[key] = value
        elif key:
            values[key] += f", {part.strip()}"  # a comma within a value
        else:
            raise BadInputError(f"--step {text!r}: write what follows the colon as key=value.")
    if not action.strip() or "=" in action:
        raise BadInputError(f"--step {text!r}: begin with what is done, such as `soak:`.")
    warm, long = values.get("temperature"), values.get("time")
    return Step(
        action=action.strip(),
        agent=values.get("agent"),
        dose=values.get("dose"),
        temperature_c=None if warm is None else quantity("temperature", warm, "°C", -20, 250),
        time_min=None if long is None else quantity("time", long, "min", 0.01, 20160),
        drying=values.get("drying"),
    )


def mass(
    folder: Folder,
    bag: Annotated[str, typer.Argument(metavar="BAG")],
    grams: Annotated[str, typer.Argument(metavar="G", help="Its mass in g.")],
    conditioned: Annotated[
        str | None, typer.Option("--conditioned", metavar="H", help="Hours in the climate.")
    ] = None,
    approach: Annotated[
        str, typer.Option("--approach", help="from_dry, from_damp or unknown: fabrics remember.")
    ] = "unknown",
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note a bag's mass before a series, and say whether it is in balance with the air."""
    from rig.study.folder import open_study
    from rig.study.journal import Mass
    from rig.study.journal_file import append
    from rig.study.masses import balance

    study = open_study(folder)
    study.bag(bag)
    if approach not in ("from_dry", "from_damp", "unknown"):
        raise BadInputError(f"--approach takes from_dry, from_damp or unknown, not {approach!r}.")
    known: Literal["from_dry", "from_damp", "unknown"] = approach  # type: ignore[assignment]
    entry = Mass(
        at=when(at),
        bag=bag,
        mass_g=quantity("The mass", grams, "g", 50, 2000),
        conditioned_h=(
            None if conditioned is None else quantity("--conditioned", conditioned, "h", 0, 8760)
        ),
        approach=known,
        operator=operator,
        note=note,
        replaces=replaces,
    )
    entry = append(study.journal_path, entry)
    _report([entry], json)
    say(balance(open_study(folder).journal, entry))


def wipe(
    folder: Folder,
    board: Annotated[str, typer.Argument(metavar="BOARD")],
    how: Annotated[str, typer.Option("--how", help="Such as damp cloth, then dry.")] = "",
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note that a board was wiped; the plan's next wipe of it counts as done."""
    from rig.study.folder import open_study
    from rig.study.journal import Wipe
    from rig.study.journal_file import append
    from rig.study.plan_next import open_wipe

    study = open_study(folder)
    study.check_board(board)
    series = open_wipe(study, board) if study.plan_path.exists() else None
    entry = Wipe(
        at=when(at),
        board=board,
        how=how,
        series=series,
        operator=operator,
        note=note,
        replaces=replaces,
    )
    _report([append(study.journal_path, entry)], json)


def droop(
    folder: Folder,
    bag: Annotated[str | None, typer.Argument(metavar="[BAG]")] = None,
    up: Annotated[str | None, typer.Option("--up", metavar="FACE", help="The face up.")] = None,
    angles: Angles = None,
    overhang: Annotated[
        str | None, typer.Option("--overhang", metavar="MM", help="Length over the edge, in mm.")
    ] = None,
    seams: Annotated[
        str | None, typer.Option("--seams", help="`along` or `across`, seen from the edge.")
    ] = None,
    reader: Annotated[str | None, typer.Option("--reader", help="Who read it.")] = None,
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
    below the horizontal; lay it anew for each angle. It is common to let a 6-inch bag hang over by
    2 inches (51 mm) (common practice, no source).
    """
    from rig.study.folder import open_study
    from rig.study.journal import Droop
    from rig.study.journal_file import append

    study = open_study(folder)
    if bag is None:
        from rig.commands.study_figures import show_droop

        show_droop(study, json)
        return
    if up is None or not angles or overhang is None:
        raise BadInputError("A droop reading needs --up, --overhang and --angle (once or more).")
    study.check_face(bag, up)
    if seams not in (None, "along", "across"):
        raise BadInputError(f"--seams takes along or across, not {seams!r}.")
    way: Literal["along", "across"] | None = seams  # type: ignore[assignment]
    time = when(at)
    t, h = air(temperature, humidity)
    entry = Droop(
        at=time,
        bag=bag,
        face=up,
        overhang_mm=quantity("--overhang", overhang, "mm", 1, 300),
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
    _report([append(study.journal_path, entry)], json)


def reading(
    folder: Folder,
    bag: Annotated[str | None, typer.Argument(metavar="[BAG]")] = None,
    face: Annotated[str | None, typer.Argument(metavar="[FACE]", help="On the board.")] = None,
    board: Annotated[str | None, typer.Option("--board", help="The board lifted.")] = None,
    reader: Annotated[str | None, typer.Option("--reader", help="Who read the angle.")] = None,
    angles: Angles = None,
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

    Readings and runs of the same bag, face, board, stage and session are compared.
    """
    from rig.study.folder import open_study
    from rig.study.journal import Reading
    from rig.study.journal_file import append

    study = open_study(folder)
    if bag is None:
        from rig.commands.study_figures import show_readers

        show_readers(study, json)
        return
    if face is None or board is None or reader is None or not angles:
        raise BadInputError(
            "A reading needs BAG, FACE, --board, --reader and --angle (once or more)."
        )
    study.check_face(bag, face)
    study.check_board(board)
    time = when(at)
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
            else quantity("--board-temperature", board_temperature, "°C", -40, 90)
        ),
        stage=_stage(study, bag, stage, time),
        session=session_of(study, session, time),
        operator=operator,
        note=note,
        replaces=replaces,
    )
    _report([append(study.journal_path, entry)], json)
    if t is None or h is None:
        say(
            "Without --temperature and --humidity this reading says nothing about the air's effect."
        )


def withdraw(
    folder: Folder,
    line: Annotated[int, typer.Argument(metavar="LINE", min=1, help="Number of the line.")],
    why: Annotated[str, typer.Option("--why", help="The reason, kept beside it.")] = "",
    operator: Operator = None,
    json: Json = False,
) -> None:
    """Say that a line of the journal does not count; it stays in the file, with the reason."""
    from rig.study.folder import open_study
    from rig.study.journal import Withdrawal
    from rig.study.journal_file import append

    if not why:
        raise BadInputError("Say why with --why, for whoever reads the journal later.")
    study = open_study(folder)
    entry = Withdrawal(at=when(None), replaces=line, note=why, operator=operator)
    _report([append(study.journal_path, entry)], json)


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


def _report(entries: "Sequence[Entry]", json: bool) -> None:
    import msgspec

    if json:
        print_json({"lines": [msgspec.to_builtins(entry) for entry in entries]})
        return
    for entry in entries:
        text = msgspec.to_builtins(entry)
        what = text.get("bag") or text.get("board") or f"line {entry.replaces}"
        print(f"Journal line {entry.line}: {text['kind']} of {what}.")


def _caution(sentences: list[str]) -> None:
    for sentence in sentences:
        say(f"Caution: {sentence}")
