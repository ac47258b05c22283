"""The `rig study` commands that note what was done: treatments, weighings, wipes."""

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from rig.commands.options import Json, say
from rig.commands.quantities import name_argument, name_option, quantity
from rig.commands.study.options import Folder, Note, Operator, Replaces, When, report, when
from rig.errors import BadInputError
from rig.study.folder.ranges import MASS_G

if TYPE_CHECKING:
    from rig.study.folder.catalogue import Step

STEP_HELP = (
    "A step, such as 'soak: agent=softener, dose=20 ml per litre, temperature=30, time=45,"
    " drying=on a line' (°C, min); one for each, in order."
)


def treat(
    folder: Folder,
    bags: Annotated[
        list[str] | None, name_option("--bag", "bag", "Which bag was treated; may be repeated.")
    ] = None,
    sets: Annotated[
        list[str] | None,
        name_option("--set", "set", "All bags of a set but controls; may be repeated."),
    ] = None,
    recipe: Annotated[
        str | None, name_option("--recipe", "recipe", "Name of the treatment in the catalogue.")
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
    force: Annotated[
        bool, typer.Option("--force", help="Give up series that the plan wants before it.")
    ] = False,
    json: Json = False,
) -> None:
    """Note that bags were treated; or, without bags, add a recipe to the catalogue.

    With --recipe alone the recipe's steps count as done; with --step too, these do, and a recipe
    that the catalogue does not know yet is added.
    """
    from rig.study.folder.catalogue import Recipe
    from rig.study.folder.catalogue_file import add_table
    from rig.study.folder.journal import Treatment
    from rig.study.folder.study import open_study
    from rig.study.slides.table import slide_table
    from rig.study.treatments import any_thin, cautions, check_treatment, next_stage

    study = open_study(folder)
    done = tuple(_step(text) for text in steps or ())
    members = [bag for name in sets or () for bag in study.set_members(name)]
    named = [*(bags or ()), *(bag for bag in members if study.bag(bag).role == "treated")]
    is_new = recipe is not None and recipe not in study.catalogue.treatments and bool(done)
    if not named and not (recipe and done):
        raise BadInputError(
            "Name the bags with --bag or --set, or give a new recipe by --recipe NAME and --step."
        )
    if not named and recipe is not None:
        add_table(study.catalogue_path, "treatments", recipe, Recipe(steps=done, note=note))
        say(f"Added the recipe {recipe} to {study.catalogue_path}.")
        _caution(cautions(done))
        return
    if recipe is not None and not is_new:
        study.check_treatment(recipe)
        done = done or study.catalogue.treatments[recipe].steps
    if not done:
        raise BadInputError("Say what was done, by --recipe NAME or by --step.")
    if replaces is not None and len(named) > 1:
        raise BadInputError("A correction takes one --bag, for it replaces one line.")
    slides = slide_table(study).slides
    entries = []
    for name in dict.fromkeys(named):
        study.bag(name)
        old = next((t for t in study.journal.treatments_of(name) if t.line == replaces), None)
        entry = Treatment(
            at=when(at, folder) if at is not None or old is None else old.at,
            bag=name,
            stage=stage or (next_stage(study, name) if old is None else old.stage),
            recipe=recipe,
            steps=done,
            operator=operator,
            note=note,
            replaces=replaces,
        )
        check_treatment(study, entry, slides, without_baseline, force=force)
        entries.append(entry)
    if recipe is not None and is_new:
        add_table(study.catalogue_path, "treatments", recipe, Recipe(steps=done))
        say(f"Added the recipe {recipe} to {study.catalogue_path}.")
    entries = study.note(*entries)
    told = cautions(done, any_thin(study, named))
    report(entries, json, cautions=told)
    _caution(told)


def _step(text: str) -> "Step":
    """A step from a text such as `soak: agent=softener, time=45`."""
    from rig.study.folder.catalogue import Step

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


_APPROACHES: dict[str, Literal["from_dry", "from_damp", "unknown"]] = {
    "dry": "from_dry",
    "damp": "from_damp",
    "unknown": "unknown",
}
"""In the words of every command, and as the journal has them."""


def mass(
    folder: Folder,
    bag: Annotated[str, name_argument("bag", "BAG")],
    grams: Annotated[str, typer.Argument(metavar="G", help="Its mass in g.")],
    conditioned: Annotated[
        str | None, typer.Option("--conditioned", metavar="H", help="Hours in the climate.")
    ] = None,
    approach: Annotated[
        str,
        typer.Option(
            "--approach",
            metavar="dry|damp|unknown",
            help="How the bag came to this air: fabrics remember.",
        ),
    ] = "unknown",
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note a bag's mass before a series, and say whether it is in balance with the air."""
    from rig.study.folder.journal import Mass
    from rig.study.folder.study import open_study
    from rig.study.masses import balance

    study = open_study(folder)
    study.bag(bag)
    known = _APPROACHES.get(approach.removeprefix("from_"))
    if known is None:
        raise BadInputError(f"--approach takes `dry`, `damp` or `unknown`, not {approach!r}.")
    entry = Mass(
        at=when(at, folder),
        bag=bag,
        mass_g=quantity("The mass", grams, *MASS_G),
        conditioned_h=(
            None if conditioned is None else quantity("--conditioned", conditioned, "h", 0, 8760)
        ),
        approach=known,
        operator=operator,
        note=note,
        replaces=replaces,
    )
    (entry,) = study.note(entry)
    report([entry], json)
    say(balance(open_study(folder).journal, entry))


def wipe(
    folder: Folder,
    board: Annotated[str, name_argument("board", "BOARD")],
    how: Annotated[str, typer.Option("--how", help="Such as damp cloth, then dry.")] = "",
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note that a board was wiped; the plan's next wipe of it counts as done."""
    from rig.study.folder.journal import Wipe
    from rig.study.folder.study import open_study
    from rig.study.plan.progress import open_wipe

    study = open_study(folder)
    study.check_board(board)
    series = open_wipe(study, board) if study.plan_path.exists() else None
    entry = Wipe(
        at=when(at, folder),
        board=board,
        how=how,
        series=series,
        operator=operator,
        note=note,
        replaces=replaces,
    )
    report(study.note(entry), json)


def play(
    folder: Folder,
    throws: Annotated[
        int, typer.Option("--throws", min=1, max=100_000, help="Of each bag, at a guess.")
    ],
    bags: Annotated[
        list[str] | None, typer.Option("--bag", help="Which bag was thrown; may be repeated.")
    ] = None,
    sets: Annotated[
        list[str] | None, typer.Option("--set", help="All bags of a set; may be repeated.")
    ] = None,
    at: When = None,
    operator: Operator = None,
    note: Note = "",
    replaces: Replaces = None,
    json: Json = False,
) -> None:
    """Note that bags were played with: throws break a bag in as slides do."""
    from rig.study.folder.journal import Play
    from rig.study.folder.study import open_study

    study = open_study(folder)
    named = [*(bags or ()), *(name for one in sets or () for name in study.set_members(one))]
    if not named:
        raise BadInputError("Say what was thrown, by --bag or --set.")
    if replaces is not None and len(named) > 1:
        raise BadInputError("A correction takes one --bag, for it replaces one line.")
    entries = []
    for name in dict.fromkeys(named):
        study.bag(name)
        entries.append(
            Play(
                at=when(at, folder),
                bag=name,
                throws=throws,
                operator=operator,
                note=note,
                replaces=replaces,
            )
        )
    report(study.note(*entries), json)


def withdraw(
    folder: Folder,
    line: Annotated[int, typer.Argument(metavar="LINE", min=1, help="Number of the line.")],
    why: Annotated[str, typer.Option("--why", help="The reason, kept beside it.")] = "",
    operator: Operator = None,
    json: Json = False,
) -> None:
    """Say that a line of the journal does not count; it stays in the file, with the reason."""
    from rig.study.folder.journal import Withdrawal
    from rig.study.folder.study import open_study

    if not why:
        raise BadInputError("Say why with --why, for whoever reads the journal later.")
    study = open_study(folder)
    entry = Withdrawal(at=when(None, folder), replaces=line, note=why, operator=operator)
    report(study.note(entry), json)


def _caution(sentences: list[str]) -> None:
    for sentence in sentences:
        say(f"Caution: {sentence}")
