"""Everything that a study's page stands on, gathered once."""

from collections.abc import Iterable, Sequence
from statistics import fmean
from typing import NamedTuple

from msgspec import Struct

from rig.analysis.climate import absolute_humidity_g_m3, dew_point_c
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.home import home_records
from rig.calibration.history import HomeRecord
from rig.calibration.model import Calibration
from rig.report.paths import WayToTarget, paths_of
from rig.report.weather import WeatherBand, bands_of
from rig.study.answer.answer import Answer
from rig.study.answer.ask import Asked
from rig.study.droop import (
    Association,
    DroopSummary,
    droop_against_slide,
    slide_means,
    summarise_droop,
)
from rig.study.folder.journal import Droop
from rig.study.folder.study import Study
from rig.study.model.data import facts_of, model_data
from rig.study.slides.slide import Slide


class SessionAir(Struct, frozen=True, kw_only=True):
    """The air of one session, means over its slides that count; None where it was not recorded."""

    session: str
    date: str
    n_slides: int
    temperature_c: float | None
    relative_humidity_pct: float | None
    surface_humidity_pct: float | None
    absolute_humidity_g_m3: float | None
    dew_point_c: float | None


class OneSlide(Struct, frozen=True, kw_only=True):
    """A slide within its series."""

    onset_angle_deg: float | None
    run_file: str
    valid: bool


class SeriesRow(Struct, frozen=True, kw_only=True):
    """Slides of a bag face in one session and stage without a change by hand."""

    date: str
    session: str
    bag: str
    face: str
    board: str
    stage: str
    by: str
    """The rig, or the reader by hand."""
    temperature_c: float | None
    relative_humidity_pct: float | None
    slides: tuple[OneSlide, ...]
    left_out: str
    """Why some of them don't count."""


class Evidence(NamedTuple):
    """A study, what was asked, and what it says."""

    asked: Asked
    answer: Answer
    paths: list[WayToTarget]
    """In the order of the answer's bag faces."""
    weather: list[WeatherBand]
    sessions: list[SessionAir]
    series: list[SeriesRow]
    droops: list[DroopSummary]
    slide_deg: dict[tuple[str, str, str], float]
    droop_line: Association | None
    example: RunAnalysis | None
    """One run in full: the one whose uncertainty is the median."""
    calibration: Calibration | None
    home_made_at: str
    home: list[HomeRecord]

    @property
    def study(self) -> Study:
        """The study that was asked."""
        return self.asked.study

    @property
    def slides(self) -> list[Slide]:
        """The slides that count."""
        return self.asked.table.valid


def collect(asked: Asked) -> Evidence:
    """Work out all that a study's page shows.

    Args:
        asked: the study and what is asked of it.
    """
    answer, study, table = asked.answer, asked.study, asked.table
    data = model_data(table.slides, facts_of(study))
    droops = summarise_droop(study.journal.of(Droop))
    means = slide_means(table.slides)
    example = _example(asked)
    made_at, records = home_records(one.home for one in table.of_rig if one.home is not None)
    return Evidence(
        asked=asked,
        answer=answer,
        paths=paths_of(asked, answer, data),
        weather=bands_of(asked, answer, data),
        sessions=session_airs(table.valid),
        series=series_rows(table.slides),
        droops=droops,
        slide_deg=means,
        droop_line=droop_against_slide(droops, means),
        example=example,
        calibration=asked.calibration
        or (None if example is None else example.run.header.calibration),
        home_made_at=made_at or "",
        home=records,
    )


def session_airs(slides: Iterable[Slide]) -> list[SessionAir]:
    """The air of each session, in order of time."""
    by_session: dict[str, list[Slide]] = {}
    for slide in slides:
        by_session.setdefault(slide.session or slide.at[:10], []).append(slide)
    found = []
    for session, own in by_session.items():
        t = _mean([slide.temperature_c for slide in own])
        rh = _mean([slide.relative_humidity_pct for slide in own])
        water = dew = None
        if t is not None and rh is not None:
            water, dew = absolute_humidity_g_m3(t, rh), dew_point_c(t, rh)
        found.append(
            SessionAir(
                session=session,
                date=own[0].at[:10],
                n_slides=len(own),
                temperature_c=t,
                relative_humidity_pct=rh,
                surface_humidity_pct=_mean([slide.surface_humidity_pct for slide in own]),
                absolute_humidity_g_m3=water,
                dew_point_c=dew,
            )
        )
    return found


def series_rows(slides: Iterable[Slide]) -> list[SeriesRow]:
    """Rows for all slides, also those that don't count.

    A reference bag, which is looked at again and again, has one row for a session.
    """
    groups: dict[tuple[object, ...], list[Slide]] = {}
    for one in slides:
        series = "" if one.role == "reference" else one.series
        key = (one.session, series, one.bag, one.face, one.board, one.stage, one.source)
        groups.setdefault(key, []).append(one)
    return [_series_row(group) for group in groups.values()]


def _series_row(group: Sequence[Slide]) -> SeriesRow:
    first = group[0]
    why = [
        slide.void or ", ".join(slide.flags) or slide.outcome for slide in group if not slide.valid
    ]
    return SeriesRow(
        date=first.at[:10],
        session=first.session or "",
        bag=first.bag or "",
        face=first.face or "",
        board=first.board or "",
        stage=first.stage or "",
        by=first.rig or first.reader or "",
        temperature_c=_mean([slide.temperature_c for slide in group]),
        relative_humidity_pct=_mean([slide.relative_humidity_pct for slide in group]),
        slides=tuple(
            OneSlide(
                onset_angle_deg=slide.onset_angle_deg, run_file=slide.run_file, valid=slide.valid
            )
            for slide in group
        ),
        left_out="; ".join(dict.fromkeys(why)),
    )


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return fmean(known) if known else None


def _example(asked: Asked) -> RunAnalysis | None:
    """The run of the rig whose stated uncertainty is the median, analysed again in full."""
    own = [slide for slide in asked.table.valid if slide.run_file and slide.u_onset_angle_deg]
    own = [slide for slide in own if slide.role != "reference"] or own
    if not own:
        return None
    own.sort(key=lambda slide: (slide.u_onset_angle_deg or 0.0, slide.at, slide.slide_id))
    path = asked.study.path / own[len(own) // 2].run_file
    return analyse_run(asked.contents.run(path), asked.calibration)
