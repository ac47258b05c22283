"""Rows of the dataset, from the same slide table and the same export as a single study's."""

from collections.abc import Sequence
from pathlib import PurePosixPath
from typing import Any

from rig.gather.schema import columns, month_of
from rig.gather.tokens import Tokens
from rig.study.export import row_of
from rig.study.folder.journal import Play
from rig.study.folder.study import Study
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable

Row = dict[str, Any]
Partition = tuple[str | None, str | None]
"""Rig and month."""


def rows_of(study: Study, study_id: str, table: SlideTable, tokens: Tokens) -> list[Row]:
    """The rows of a study, in order of time, `rig` and `month` among the values."""
    plays = study.journal.of(Play)
    every = None in table.blocked
    rows = []
    for slide in table.slides:
        if slide.source is None:
            continue
        bag = study.catalogue.bags.get(slide.bag or "")
        board = study.catalogue.boards.get(slide.board or "")
        more: Row = {
            "study_id": study_id,
            "bag_shared_as": None if bag is None else bag.shared_as,
            "board_shared_as": None if board is None else board.shared_as,
            "in_doubt": every or slide.bag in table.blocked,
            "treatment_lines": " ".join(str(one.line) for one in slide.treatments),
            "throws_before": sum(
                one.throws for one in plays if one.bag == slide.bag and one.at <= slide.at
            ),
        }
        rows.append(_row(study, slide, tokens) | more)
    return rows


def loose_rows(slides: Sequence[Slide], tokens: Tokens) -> list[Row]:
    """The rows of run files that stand on their own."""
    more: Row = {"in_doubt": False, "treatment_lines": "", "throws_before": 0}
    return [_row(None, slide, tokens) | more for slide in slides]


def by_partition(rows: Sequence[Row]) -> dict[Partition, list[Row]]:
    """The rows by rig and month, without those two."""
    found: dict[Partition, list[Row]] = {}
    for row in rows:
        mine = {name: row.get(name) for name in columns()}
        found.setdefault((row["rig"], month_of(row["started_at"])), []).append(mine)
    return found


def _row(study: Study | None, slide: Slide, tokens: Tokens) -> Row:
    row = row_of(study, slide)
    row |= {
        "slid": slide.slid,
        # The index has tokens for operators already, the journal has names.
        "operator": tokens.person(slide.operator) if slide.line is not None else slide.operator,
        "reader": tokens.person(slide.reader),
    }
    if not tokens.with_names:
        # Free text and folders' names may have people's names in them.
        row["run_file"] = row["run_file"] and PurePosixPath(row["run_file"]).name
        row["void"] = row["void"] and "taken out"
    return row
