"""Series of a set of bags without a plan: each face once, untreated bags before treated ones."""

import random
from datetime import datetime

from rig.errors import BadInputError
from rig.study.folder.study import Study
from rig.study.plan.rows import PlanRow

UNPLANNED = ""
"""The climate of rows that wait for no air."""


def evening_rows(
    study: Study, sets: list[str], board: str | None, runs: int, session: str | None, now: datetime
) -> list[PlanRow]:
    """A series for each face of each bag of these sets, in an order drawn for each day.

    Args:
        study: with the bags.
        sets: names of sets.
        board: the study's only one if None.
        runs: of each series.
        session: name of the sitting; the day if None.
        now: of the rig.

    Raises:
        BadInputError: a set is unknown, or which board is meant.
    """
    boards = list(study.catalogue.boards)
    if board is None and len(boards) != 1:
        raise BadInputError(
            "Name the board with --board; the study has"
            f" {', '.join(boards) or 'none yet: add one with `rig study board`'}."
        )
    board = board or boards[0]
    study.check_board(board)
    bags = [bag for name in sets for bag in study.set_members(name)]
    return series_of(study, bags, board, runs, session, now)


def series_of(
    study: Study, bags: list[str], board: str, runs: int, session: str | None, now: datetime
) -> list[PlanRow]:
    """The same for bags that are named; see `evening_rows`."""
    day = f"{now:%Y-%m-%d}"
    stages = {bag: study.stage_at(bag) for bag in bags}
    faces = [(bag, face) for bag in bags for face in study.bag(bag).faces]
    random.Random(f"{study.catalogue.preferences.seed}/{day}").shuffle(faces)
    faces.sort(key=lambda one: study.leaves_residue(one[0], stages[one[0]]))
    return [
        PlanRow(
            row=f"{session or day} {now:%H%M}-{number:02d}",
            session=session or day,
            climate=UNPLANNED,
            stage=stages[bag],
            action="run",
            board=board,
            bag=bag,
            face=face,
            runs=runs,
        )
        for number, (bag, face) in enumerate(faces, start=1)
    ]
