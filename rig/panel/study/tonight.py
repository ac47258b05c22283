"""What comes next: the plan's session, or each face of the study's bags once."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from msgspec.structs import replace

from rig.errors import BadInputError
from rig.files.stamps import utc_text
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.study import Study
from rig.study.plan.evening import series_of
from rig.study.plan.progress import PlanProgress, next_rows, progress
from rig.study.plan.rows import PlanRow, read_plan
from rig.study.plan.status import minutes_per_run, plan_hours
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable

EVENING = timedelta(hours=16)
"""Slides so long ago belong to this evening still."""
BY_HAND = 3
"""Slides of a series by hand; common practice, no source."""


class Tonight(NamedTuple):
    """The series of the evening, and the treatment that the plan has next."""

    rows: list[PlanRow]
    """`runs` is what is left of each; a row with none left is done."""
    treat: tuple[str, list[str]] | None
    """Recipe and bags; None while something is to be measured first."""
    is_planned: bool
    minutes: float
    wipes: dict[str, str]
    """Rows before which the plan has a board wiped, and which."""


def tonight_of(
    study: Study, table: SlideTable, board: str | None, now: datetime, *, by_hand: bool
) -> Tonight:
    """What is next.

    Args:
        study: opened afresh.
        table: its slides.
        board: that is measured on, where no plan says it.
        now: the server's time.
        by_hand: without a rig; the plan is for the rig, so only its treatments count.
    """
    records = table.of_rig
    plan: PlanProgress | None = None
    if study.plan_path.exists():
        plan = progress(study, read_plan(study), records)
    rows: list[PlanRow] = []
    wipes: dict[str, str] = {}
    is_planned = plan is not None and not by_hand
    if is_planned:
        try:
            session = next_rows(study, records=records)
            rows = [row for row in session if row.is_series]
            wipes = {
                after.row: wipe.board for wipe, after in pairwise(session) if wipe.action == "wipe"
            }
        except BadInputError:
            rows = []  # a treatment comes first
    elif board is not None and study.catalogue.bags:
        runs = BY_HAND if by_hand else study.catalogue.preferences.runs_per_series
        bags = list(study.catalogue.bags)
        rows = [
            _left(row, table.slides, now) for row in series_of(study, bags, board, runs, None, now)
        ]
    minutes = 60.0 * plan_hours(study, [r for r in rows if r.runs], minutes_per_run(study, records))
    treat = None if any(row.runs for row in rows) else _treatment(study, plan)
    return Tonight(rows, treat, is_planned, minutes, wipes)


def _left(row: PlanRow, slides: Sequence[Slide], now: datetime) -> PlanRow:
    since = utc_text(now - EVENING)
    made = sum(
        slide.valid and (slide.bag, slide.face, slide.stage) == (row.bag, row.face, row.stage)
        for slide in slides
        if slide.at >= since
    )
    return replace(row, runs=0 if made >= min(row.runs, BY_HAND) else row.runs - made)


def _treatment(study: Study, plan: PlanProgress | None) -> tuple[str, list[str]] | None:
    """By the plan; without one, what the catalogue means for the bags."""
    if plan is not None:
        todo = [row for row in plan.rows if row.action == "treat" and not plan.is_done(row)]
        same = [r for r in todo if (r.treatment, r.stage) == (todo[0].treatment, todo[0].stage)]
        return (str(todo[0].treatment), [row.bag for row in same]) if todo else None
    meant: dict[str, list[str]] = {}
    for name in study.catalogue.with_role("treated"):
        recipe = study.catalogue.bags[name].treatment
        if recipe is not None and study.stage_at(name) == BASELINE:
            meant.setdefault(recipe, []).append(name)
    return next(iter(meant.items()), None)


def place_words(study: Study, row: PlanRow) -> str:
    """How the bag is put on."""
    edge = study.bag(row.bag).leading_edge
    downhill = f"{edge} downhill" if edge else "its marked edge downhill"
    return f"Put {row.bag} on, {row.face} face down, {downhill}."
