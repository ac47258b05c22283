"""Where a study stands: done and missing, in which climates, what comes next, how long it takes."""

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from shlex import quote
from statistics import median

from msgspec import Struct

from rig.errors import BadInputError
from rig.settings.method import MEASURED_DEG, QUICK_RATE_DEG_S
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.study import Study
from rig.study.plan.progress import PlanProgress, progress
from rig.study.plan.rows import PlanRow, plan_warnings, read_plan
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, slide_table

TYPICAL_ANGLE_DEG = 30.0
OVERHEAD_S = 25.0
"""For the time estimate before any run was made: to the slide, and back down to the start."""
MODEL_CLIMATES = 4
"""With fewer climates the climate model is provisional."""


class Block(Struct, frozen=True, kw_only=True):
    """One stage in one climate."""

    stage: str
    climate: str
    series_planned: int
    series_done: int
    runs_planned: int
    runs_done: int
    """Runs that count, at most those planned."""
    hours_left: float


class Status(Struct, frozen=True, kw_only=True):
    """A study's status, ready for JSON."""

    study: str
    bags: int
    boards: int
    runs: int
    """Run files that count."""
    runs_not_counting: int
    runs_outside_plan: int
    slides_by_hand: int
    blocks: list[Block]
    treatments_done: list[str]
    treatments_missing: list[str]
    missing_climates: list[str]
    """Sentences."""
    next_step: str
    minutes_per_run: float
    hours_left: float
    warnings: list[str]


def study_status(study: Study, table: SlideTable | None = None) -> Status:
    """Put the plan, the slides and the journal side by side.

    Args:
        study: opened afresh.
        table: its slides, if they were read already.

    Raises:
        BadInputError: the plan can't be used.
    """
    table = table or slide_table(study)
    records = table.of_rig
    rows = read_plan(study) if study.plan_path.exists() else []
    found = progress(study, rows, records)
    per_run = minutes_per_run(study, records)
    blocks = _blocks(study, found, per_run)
    treats = [row for row in rows if row.action == "treat"]
    planned = {row.row for row in rows}
    return Status(
        study=study.catalogue.name,
        bags=len(study.catalogue.bags),
        boards=len(study.catalogue.boards),
        runs=sum(record.valid for record in records),
        runs_not_counting=sum(not record.valid for record in records),
        runs_outside_plan=sum(record.series not in planned for record in records),
        slides_by_hand=sum(one.source == "hand" and one.valid for one in table.slides),
        blocks=blocks,
        treatments_done=[_treat_text(row) for row in treats if found.is_done(row)],
        treatments_missing=[_treat_text(row) for row in treats if not found.is_done(row)],
        missing_climates=missing_climates(study, found, records) if rows else [],
        next_step=_next_step(study, found),
        minutes_per_run=per_run,
        hours_left=sum(block.hours_left for block in blocks),
        warnings=[*table.problems, *(plan_warnings(rows, study) if rows else ())],
    )


def _treat_text(row: PlanRow) -> str:
    return f"{row.bag}: {row.treatment} ({row.stage})"


def minutes_per_run(study: Study, records: Sequence[Slide]) -> float:
    """Median time from run to run within a series; an estimate from the rate before that."""
    gaps = [
        (datetime.fromisoformat(b.at) - datetime.fromisoformat(a.at)).total_seconds()
        for a, b in pairwise(records)
        if a.series is not None and a.series == b.series and a.at and b.at
    ]
    if gaps:
        return median(gaps) / 60.0
    preferences = study.catalogue.preferences
    slow_deg = MEASURED_DEG if study.catalogue.settles else TYPICAL_ANGLE_DEG
    quick_s = (TYPICAL_ANGLE_DEG - slow_deg) / QUICK_RATE_DEG_S
    raising_s = quick_s + slow_deg / preferences.rate_deg_s
    return (preferences.dwell_s + raising_s + OVERHEAD_S) / 60.0


def plan_hours(study: Study, rows: Sequence[PlanRow], per_run_min: float) -> float:
    """Time that these rows take on the rig, in hours; treatments and acclimatising come on top."""
    runs = [row.runs for row in rows if row.is_series]
    return sum(series_minutes(study, n, per_run_min) for n in runs) / 60.0


def series_minutes(study: Study, runs: int, per_run_min: float) -> float:
    """Time of one series on the rig in minutes: the change by hand, a settling raise, the runs."""
    catalogue = study.catalogue
    return catalogue.preferences.change_min + (runs + catalogue.settles) * per_run_min


def _blocks(study: Study, found: PlanProgress, per_run: float) -> list[Block]:
    keys = dict.fromkeys((row.stage, row.climate) for row in found.rows if row.is_series)
    blocks = []
    for stage, climate in keys:
        rows = [
            row
            for row in found.rows
            if row.is_series and (row.stage, row.climate) == (stage, climate)
        ]
        planned = sum(row.runs for row in rows)
        left = [found.runs_left[row.row] for row in rows]
        blocks.append(
            Block(
                stage=stage,
                climate=climate,
                series_planned=len(rows),
                series_done=sum(n == 0 for n in left),
                runs_planned=planned,
                runs_done=planned - sum(left),
                hours_left=sum(series_minutes(study, n, per_run) for n in left if n) / 60.0,
            )
        )
    return blocks


def missing_climates(study: Study, found: PlanProgress, records: Sequence[Slide]) -> list[str]:
    """Which climates are still missing, in sentences: unmeasured, unmatched, or off the mark."""
    runs = [row for row in found.rows if row.action == "run"]
    sentences = []
    whole: dict[str, set[str]] = {}
    for stage in dict.fromkeys(row.stage for row in runs):
        climates = dict.fromkeys(row.climate for row in runs if row.stage == stage)
        for climate in climates:
            block = [row for row in runs if (row.stage, row.climate) == (stage, climate)]
            if all(found.is_done(row) for row in block):
                whole.setdefault(stage, set()).add(climate)
        absent = [name for name in climates if name not in whole.get(stage, set())]
        if absent:
            sentences.append(f"Still to measure in stage {stage!r}: {', '.join(absent)}.")
        unplanned = [name for name in study.catalogue.airs if name not in climates]
        if unplanned:
            sentences.append(
                f"Wanted, but not in the plan of stage {stage!r}: {', '.join(unplanned)}; `rig"
                " study plan --add` takes up what can still be measured."
            )
    for stage in whole:
        lost = whole[stage] - {row.climate for row in runs if row.stage == BASELINE}
        if stage != BASELINE and lost:
            sentences.append(
                f"Stage {stage!r} has no baseline in {', '.join(sorted(lost))}, so before and"
                " after don't match there."
            )
    missed = [row for row in found.missed if row.action != "check"]
    if missed:
        gone = ", ".join(dict.fromkeys(f"{row.bag} in {row.climate}" for row in missed))
        sentences.append(
            f"Given up because the bag was treated first: {gone}; without a baseline there, the"
            " comparison rests on the model."
        )
    sentences += _off_the_mark(study, found.rows, records)
    names = len({row.climate for row in runs})
    if names < MODEL_CLIMATES:
        sentences.append(
            f"The plan has {names} climate{'' if names == 1 else 's'}; with fewer than"
            f" {MODEL_CLIMATES}, answers for other air stay provisional."
        )
    return sentences


def _off_the_mark(study: Study, rows: Sequence[PlanRow], records: Sequence[Slide]) -> list[str]:
    """Sessions whose air was not the climate that the plan names."""
    climate_of = {row.row: row.climate for row in rows if row.is_series}
    off: dict[str, int] = {}
    for record in records:
        name = climate_of.get(record.series or "")
        if name is None or not record.valid:
            continue
        wanted = study.catalogue.airs[name]
        if not wanted.fits(record.temperature_c, record.relative_humidity_pct):
            off[name] = off.get(name, 0) + 1
    return [
        f"{count} run{'' if count == 1 else 's'} planned for {name} had other air; they count with"
        " the air they had."
        for name, count in off.items()
    ]


def _next_step(study: Study, found: PlanProgress) -> str:
    folder = quote(str(study.path))
    if not found.rows:
        return f"Make a plan: `rig study plan {folder}`."
    row = next((r for r in found.rows if not found.is_done(r) and r.action != "wipe"), None)
    if row is None:
        return f"The plan is done; `rig answer {folder}` says what came of it."
    if row.action == "treat":
        return (
            f"Treat {row.bag} with {row.treatment}, then `rig study treat {folder} --bag"
            f" {quote(row.bag)} --recipe {quote(str(row.treatment))}`."
        )
    check = ", a check of the material at another rate" if row.action == "check" else ""
    left = found.runs_left[row.row]
    runs = f"{left} run{'' if left == 1 else 's'}{check}"
    return (
        f"Session {row.session} in climate {row.climate}: put {row.bag}, {row.face} down, on"
        f" {row.board}, then `rig run --plan {folder}` ({runs})."
    )


def stage_to_plan_from(study: Study) -> int:
    """The stage (0 is the baseline) in which all treated bags are; earlier ones are over.

    Raises:
        BadInputError: they are in different stages.
    """
    reached = {study.stage_order(study.stage_at(n)) for n in study.catalogue.with_role("treated")}
    if len(reached) > 1:
        raise BadInputError(
            "Some of the treated bags have been treated for the next stage and some not; bring"
            " all to one stage before the plan is added to."
        )
    return next(iter(reached), 0)


def session_rows(study: Study, rows: Sequence[PlanRow], per_run: float) -> list[tuple[str, ...]]:
    """A table of the sessions under a row of titles."""
    table: list[tuple[str, ...]] = [("session", "stage", "climate", "series", "runs", "about")]
    for session, stage, climate in dict.fromkeys((r.session, r.stage, r.climate) for r in rows):
        chosen = [r for r in rows if (r.session, r.stage, r.climate) == (session, stage, climate)]
        if not session:
            names = ", ".join(dict.fromkeys(row.bag for row in chosen))
            table.append(("–", stage, f"treat {names}", "–", "–", "–"))
            continue
        series = sum(row.is_series for row in chosen)
        runs = sum(row.runs for row in chosen)
        hours = f"{plan_hours(study, chosen, per_run):.1f} h"
        table.append((session, stage, climate, str(series), str(runs), hours))
    return table
