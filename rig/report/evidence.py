"""Everything that a study's page stands on, gathered once."""

from collections.abc import Sequence
from pathlib import Path
from statistics import fmean
from typing import NamedTuple

import msgspec

from rig.analysis.climate import absolute_humidity_g_m3, dew_point_c
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.home import home_records
from rig.analysis.row import RunResult
from rig.calibration.history import HomeRecord
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.study.ask import wish_from
from rig.study.choose import Choice, choose
from rig.study.climate_model import Air
from rig.study.compare import Comparison, compare
from rig.study.compare_levels import climates
from rig.study.droop import (
    Association,
    DroopSummary,
    droop_against_slide,
    slide_means,
    summarise_droop,
)
from rig.study.gather import Gathered, gather
from rig.study.journal import Droop
from rig.study.rows import Row
from rig.study.slides.look import Contents
from rig.study.slides.slide import Slide
from rig.study.status import Status, study_status
from rig.study.stopping import StagePath as TreatmentPath
from rig.study.stopping import paths


class SessionAir(msgspec.Struct, frozen=True, kw_only=True):
    """The air of one session, means over its runs that count; None where it was not recorded."""

    session: str
    climate: str
    date: str
    n_runs: int
    temperature_c: float | None
    relative_humidity_pct: float | None
    surface_humidity_pct: float | None
    absolute_humidity_g_m3: float | None
    dew_point_c: float | None


class Evidence(NamedTuple):
    """A study, its results and what they say."""

    gathered: Gathered
    comparison: Comparison
    paths: list[TreatmentPath]
    status: Status
    sessions: list[SessionAir]
    droops: list[DroopSummary]
    slide_deg: dict[tuple[str, str, str], float]
    droop_line: Association | None
    choice: Choice | None
    no_choice: str
    """Why there is no choice of the day."""
    example: RunAnalysis | None
    """One run in full: the one whose uncertainty is the median."""
    calibration: Calibration | None
    home_made_at: str
    home: list[HomeRecord]

    @property
    def results(self) -> list[RunResult]:
        """The rows of all runs that could be read, in order of time."""
        return [one.result for one in self.gathered.table.of_rig if one.result is not None]


def collect(
    folder: Path,
    calibration: Calibration | None = None,
    before: str | None = None,
    after: str | None = None,
    air: Air | None = None,
) -> Evidence:
    """Read a study and work out all that its page shows.

    Args:
        folder: the study.
        calibration: used instead of those in the run files.
        before: stage to compare with; the first one if not given.
        after: the stage in question; the last one if not given.
        air: to choose for; that of the last session if not given.

    Raises:
        BadInputError: it is no study, or has no run that can be used.
    """
    contents = Contents()
    gathered = gather(folder, calibration, contents)
    study, rows = gathered.study, gathered.rows
    slides_of_rig = gathered.table.of_rig
    comparison = compare(rows, gathered.bags, before, after, gathered.notes)
    sessions = session_airs(rows, slides_of_rig)
    droops = summarise_droop(study.journal.of(Droop))
    slides = slide_means(slides_of_rig)
    choice, why = _choice(gathered, comparison, air or _last_air(sessions))
    watched = [row for row in rows if row.bag != study.catalogue.reference]
    example = _example(folder, watched or rows, slides_of_rig, calibration, contents)
    made_at, records = home_records(one.home for one in slides_of_rig if one.home is not None)
    in_use = calibration or (None if example is None else example.run.header.calibration)
    return Evidence(
        gathered=gathered,
        comparison=comparison,
        paths=paths(study, rows, comparison.model),
        status=study_status(study, gathered.table),
        sessions=sessions,
        droops=droops,
        slide_deg=slides,
        droop_line=droop_against_slide(droops, slides),
        choice=choice,
        no_choice=why,
        example=example,
        calibration=in_use,
        home_made_at=made_at or "",
        home=records,
    )


def session_airs(rows: Sequence[Row], slides: Sequence[Slide]) -> list[SessionAir]:
    """The air of each session, in order of time."""
    names = climates(rows)
    known = {one.slide_id: (one.at, one.result) for one in slides if one.result}
    found = []
    for session in dict.fromkeys(row.session for row in rows):
        own = [row for row in rows if row.session == session]
        full = [known[row.run_id] for row in own if row.run_id in known]
        t = _mean([result.temperature_c for _, result in full])
        rh = _mean([result.relative_humidity_pct for _, result in full])
        water = dew = None
        if t is not None and rh is not None:
            water, dew = absolute_humidity_g_m3(t, rh), dew_point_c(t, rh)
        found.append(
            SessionAir(
                session=session,
                climate=names[session],
                date=full[0][0][:10] if full else "",
                n_runs=len(own),
                temperature_c=t,
                relative_humidity_pct=rh,
                surface_humidity_pct=_mean([row.surface_humidity_pct for row in own]),
                absolute_humidity_g_m3=water,
                dew_point_c=dew,
            )
        )
    return found


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return fmean(known) if known else None


def _last_air(sessions: Sequence[SessionAir]) -> Air | None:
    last = sessions[-1]
    if last.surface_humidity_pct is None:
        return None
    return Air(surface_humidity_pct=last.surface_humidity_pct, temperature_c=last.temperature_c)


def _choice(
    gathered: Gathered, comparison: Comparison, air: Air | None
) -> tuple[Choice | None, str]:
    if air is None:
        return None, "No humidity was recorded, so there is no air to choose for."
    try:
        wish = wish_from(gathered, comparison.model, air, None, None, None, None, None)
    except BadInputError:
        return None, "The study states no wish (wish_angle_deg in study.toml), so none is ranked."
    return choose(gathered.rows, gathered.bags, comparison.model, air, wish), ""


def _example(
    folder: Path,
    rows: Sequence[Row],
    slides: Sequence[Slide],
    calibration: Calibration | None,
    contents: Contents,
) -> RunAnalysis | None:
    """The run of the rig whose stated uncertainty is the median, analysed again in full."""
    files = {one.slide_id: folder / one.run_file for one in slides}
    own = [row for row in rows if not row.by_hand and row.u_run_deg and row.run_id in files]
    if not own:
        return None
    own.sort(key=lambda row: (row.u_run_deg or 0.0, row.order))
    return analyse_run(contents.run(files[own[len(own) // 2].run_id]), calibration)
