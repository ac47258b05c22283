"""`rig study correct`: puts right what a run file or a line of the journal says wrongly."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import Json
from rig.commands.quantities import name_option
from rig.commands.study.options import Operator, report, when
from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.study.folder.study import Study


def correct(
    where: Annotated[
        list[str],
        typer.Argument(
            metavar="[STUDY] RUN...",
            help="Runs by their file or their id; the study may be left out before files.",
        ),
    ],
    bag: Annotated[str | None, name_option("--bag", "bag", "It was this bag.")] = None,
    face: Annotated[str | None, name_option("--face", "face", "It slid on this face.")] = None,
    board: Annotated[str | None, name_option("--board", "board", "It slid on this board.")] = None,
    void: Annotated[
        bool, typer.Option("--void", help="The runs, or the line, do not count.")
    ] = False,
    line: Annotated[
        int | None,
        typer.Option("--line", metavar="N", help="A line of the journal that is in doubt."),
    ] = None,
    confirm: Annotated[
        bool, typer.Option("--confirm", help="With --line: it is right as it stands.")
    ] = False,
    why: Annotated[str, typer.Option("--why", help="The reason, kept beside it.")] = "",
    operator: Operator = None,
    json: Json = False,
) -> None:
    """Note that runs had another bag, face or board, or don't count; run files stay as they are.

    `rig study withdraw` takes a correction back. A slide that does not count still wore the bag.
    """
    from rig.study.folder.journal import Confirmation, Correction, Withdrawal
    from rig.study.folder.study import open_study

    if not why:
        raise BadInputError("Say why with --why, for whoever reads the journal later.")
    folder, names = _places(where)
    study = open_study(folder)
    entry: Confirmation | Correction | Withdrawal
    if line is not None:
        if names or bag or face or board or confirm == void:
            raise BadInputError("--line takes a study and one of --confirm and --void, no runs.")
        kind = Confirmation(at=when(None, folder), confirms=line, note=why, operator=operator)
        gone = Withdrawal(at=when(None, folder), replaces=line, note=why, operator=operator)
        entry = kind if confirm else gone
    else:
        if not names or confirm or not (bag or face or board or void):
            raise BadInputError(
                "Name the runs, and what is right: --bag, --face, --board, or --void if they do"
                " not count."
            )
        runs = _runs(study, names)
        _check(study, runs, bag, face, board)
        entry = Correction(
            at=when(None, folder),
            runs=tuple(runs),
            bag=bag,
            face=face,
            board=board,
            void=void,
            note=why,
            operator=operator,
        )
    report(study.note(entry), json)


def _places(where: list[str]) -> tuple[Path, list[str]]:
    """The study's folder and the names of runs."""
    from rig.study.folder.study import study_above

    first = Path(where[0])
    if first.is_dir():
        return first, where[1:]
    folder = study_above(first.absolute().parent)
    if folder is None:
        raise BadInputError(
            f"{first} is neither a study nor a run file in one; name the study first."
        )
    return folder, where


def _runs(study: "Study", names: list[str]) -> dict[str, str | None]:
    """Id and bag of each run that was named."""
    from rig.runfile.writer import SUFFIX
    from rig.study.folder.study import unknown
    from rig.study.slides.table import slide_table

    rows = [row for row in slide_table(study).of_rig if row.source is not None]
    by_name = {Path(row.run_file).name.removesuffix(SUFFIX): row for row in rows}
    by_name |= {row.slide_id: row for row in rows}
    found: dict[str, str | None] = {}
    for name in names:
        short = Path(name).name.removesuffix(SUFFIX)
        if short not in by_name:
            raise unknown("run", name, by_name, "`rig study export` lists them")
        found[by_name[short].slide_id] = by_name[short].bag
    return found


def _check(
    study: "Study",
    runs: dict[str, str | None],
    bag: str | None,
    face: str | None,
    board: str | None,
) -> None:
    if bag is not None:
        study.bag(bag)
    if board is not None:
        study.check_board(board)
    if face is not None:
        for one in {bag or own for own in runs.values()}:
            if one is not None:
                study.check_face(one, face)
