"""How far a plan is done, and what comes next, as plain data for whoever makes the runs."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

import msgspec

from rig.errors import BadInputError
from rig.sliding import check_rate_deg_s
from rig.study.folder.journal import Enough, Mass, Treatment, Wipe
from rig.study.folder.study import Study
from rig.study.plan.rows import PlanRow, read_plan
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table


class PlanProgress(msgspec.Struct, frozen=True, kw_only=True):
    """A plan against what was done."""

    rows: list[PlanRow]
    runs_left: dict[str, int]
    """For each row: runs still to make; 1 for a treatment or a wipe that is still to do."""
    missed: list[PlanRow] = []
    """Series that can't be made any more, for the bag has been treated since."""

    def is_done(self, row: PlanRow) -> bool:
        """Nothing of the row is left."""
        return not self.runs_left[row.row]


def progress(study: Study, rows: Sequence[PlanRow], records: Sequence[Slide]) -> PlanProgress:
    """Compare a plan with runs that count, and with the journal.

    A wipe without a note of it in the journal counts as done once a later row was run: it can't be
    made up for.
    """
    made = Counter(record.series for record in records if record.valid or record.is_early)
    begun = {record.series for record in records}
    wiped = {wipe.series for wipe in study.journal.of(Wipe)}
    enough = {entry.series for entry in study.journal.of(Enough)}
    treated = {(entry.bag, entry.stage) for entry in study.journal.of(Treatment)}
    left: dict[str, int] = {}
    missed: list[PlanRow] = []
    later_was_run = False
    for row in reversed(rows):
        if row.is_series:
            later_was_run = later_was_run or row.row in begun
            left[row.row] = 0 if row.row in enough else max(0, row.runs - made[row.row])
            if left[row.row] and _is_over(study, row):
                left[row.row] = 0
                missed.insert(0, row)
        elif row.action == "treat":
            left[row.row] = 0 if (row.bag, row.stage) in treated else 1
        else:
            left[row.row] = 0 if later_was_run or row.row in wiped else 1
    return PlanProgress(rows=list(rows), runs_left=left, missed=missed)


def _is_over(study: Study, row: PlanRow) -> bool:
    """The bag has been treated since the row's stage, so that stage never comes back."""
    if study.bag(row.bag).role != "treated":
        return False
    return study.stage_order(study.stage_at(row.bag)) > study.stage_order(row.stage)


def next_rows(
    study: Study,
    climate: str | None = None,
    records: Sequence[Slide] | None = None,
) -> list[PlanRow]:
    """What is left of the next session, in order; `runs` is what is left of each row.

    Args:
        study: opened afresh.
        climate: take the next session in this climate, within the stage that comes next.
        records: the study's runs if they were read already.

    Returns:
        Wipe, reference and run rows of one session; empty when the plan is done. The row's name is
        the series of its runs.

    Raises:
        BadInputError: the plan can't be used, a treatment comes first, or nothing is left in that
            climate.
    """
    if climate is not None:
        study.check_climate(climate)
    rows = read_plan(study)
    found = progress(study, rows, slide_table(study).of_rig if records is None else records)
    open_rows = [row for row in rows if not found.is_done(row)]
    first = next((row for row in open_rows if row.action != "wipe"), None)
    if first is None:
        return []
    if first.action == "treat":
        raise BadInputError(
            f"The plan's next step is the treatment of {first.bag} ({first.treatment!r}), which"
            f" begins the stage {first.stage!r}; do it, and note it with `rig study treat"
            f" {study.path} --bag {first.bag!r} --recipe {first.treatment!r}`."
        )
    if climate is not None:
        first = _in_climate(open_rows, first, climate)
    session = [row for row in open_rows if row.session == first.session and row.action != "treat"]
    return [
        msgspec.structs.replace(row, runs=found.runs_left[row.row] if row.is_series else 0)
        for row in session
    ]


def _in_climate(open_rows: list[PlanRow], first: PlanRow, climate: str) -> PlanRow:
    stage = [row for row in open_rows if row.is_series and row.stage == first.stage]
    chosen = next((row for row in stage if row.climate == climate), None)
    if chosen is None:
        still = ", ".join(dict.fromkeys(row.climate for row in stage))
        raise BadInputError(
            f"Nothing is left to run in the climate {climate!r} in stage {first.stage!r}; still"
            f" open: {still}."
        )
    return chosen


def open_wipe(study: Study, board: str) -> str | None:
    """Name of the plan's next row that wipes this board, if one is open.

    Raises:
        BadInputError: the plan can't be used.
    """
    found = progress(study, read_plan(study), slide_table(study).of_rig)
    for row in found.rows:
        if row.action == "wipe" and row.board == board and not found.is_done(row):
            return row.row
    return None


def run_fields(study: Study, row: PlanRow, records: Sequence[Slide]) -> dict[str, Any]:
    """What the study knows for the header of the runs of a row, by the header's own names.

    `slide_number` is that of the next run in the row's series; `slides_before` counts the real
    slides of this face, those before the study included;
    `bag_mass_g`, `approach` and `conditioned_h` are those of the last weighing.
    """
    bag, preferences = study.bag(row.bag), study.catalogue.preferences
    weighings = [mass for mass in study.journal.of(Mass) if mass.bag == row.bag]
    wipes = [wipe.at for wipe in study.journal.of(Wipe) if wipe.board == row.board]
    slides = sum(r.slid and (r.bag, r.face) == (row.bag, row.face) for r in records)
    fields: dict[str, Any] = {
        "bag": row.bag,
        "face": row.face,
        "leading_edge": bag.leading_edge,
        "set": bag.set,
        "bag_mass_g": weighings[-1].mass_g if weighings else bag.mass_g,
        "board": row.board,
        "board_cleaned_at": wipes[-1] if wipes else None,
        "treatment_stage": row.stage,
        "session": row.session,
        "series": row.row,
        "slide_number": 1 + sum(r.slid and r.series == row.row for r in records),
        "slides_before": bag.slides_before + slides,
        "approach": weighings[-1].approach if weighings else "unknown",
        "conditioned_h": weighings[-1].conditioned_h if weighings else None,
        "rate_deg_s": preferences.rate_deg_s,
        "dwell_s": preferences.dwell_s,
    }
    if row.action == "check":
        fields |= {"rate_deg_s": check_rate_deg_s(preferences.rate_deg_s), "purpose": "check"}
    if bag.length_mm is not None:
        fields["bag_length_mm"] = bag.length_mm
    return fields
