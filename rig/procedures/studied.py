"""Series as a study wants them: number, headers and method; the same for command and page."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

import msgspec

from rig.control.request import RunRequest
from rig.procedures.requests import plan_series
from rig.procedures.series.climate_gate import ClimateBand
from rig.procedures.series.log import SeriesOptions
from rig.settings.checks import check_rate
from rig.settings.model import Settings
from rig.study.folder.catalogue import ClimateWanted
from rig.study.folder.study import Study
from rig.study.plan.progress import run_fields
from rig.study.plan.rows import PlanRow
from rig.study.slides.slide import Slide

ANY_STEADY = ClimateBand()


class StudySeries(msgspec.Struct, frozen=True, kw_only=True):
    """One series."""

    runs: int
    fields: dict[str, Any]
    """Of its requests, by the header's names; `slide_number` is that of the first run."""
    options: SeriesOptions


def study_series(
    study: Study,
    row: PlanRow,
    records: Sequence[Slide],
    options: SeriesOptions | None = None,
    *,
    steady_s: float = ANY_STEADY.steady_s,
    timeout_s: float = ANY_STEADY.timeout_s,
) -> StudySeries:
    """What is left of a row, made as the study says.

    Args:
        study: opened afresh.
        row: of its plan, or of an evening; `runs` is what is left.
        records: the slides of the rig so far.
        options: the person's own; air among them goes before the planned climate's.
        steady_s: so long the planned air must have held.
        timeout_s: so long it is waited for.
    """
    options = msgspec.structs.replace(options or SeriesOptions(), quick=study.catalogue.settles)
    wanted = study.catalogue.airs.get(row.climate, ClimateWanted())
    if options.climate is None and not wanted.is_todays_air:
        band = ClimateBand(
            temperature_c=wanted.temperature_c,
            temperature_tolerance_k=wanted.temperature_tolerance_c,
            relative_humidity_pct=wanted.relative_humidity_pct,
            humidity_tolerance_pct=wanted.humidity_tolerance_pct,
            steady_s=steady_s,
            timeout_s=timeout_s,
        )
        options = msgspec.structs.replace(options, climate=band)
    runs = row.runs or study.catalogue.preferences.runs_per_series
    return StudySeries(runs=runs, fields=run_fields(study, row, records), options=options)


def series_requests(
    series: StudySeries,
    settings: Settings,
    *,
    source: Literal["rig", "twin"],
    started: datetime,
    operator: str | None = None,
) -> list[RunRequest]:
    """The runs of a series, with what the study knows of them.

    Raises:
        BadInputError: the pulses cannot make its rate.
    """
    rate_deg_s = series.fields.get("rate_deg_s", settings.motion.rate_deg_s)
    check_rate(settings, rate_deg_s, "`rate_deg_s` in study.toml")
    plain = plan_series(settings, series.runs, source=source, started=started, operator=operator)
    first = series.fields["slide_number"]
    return [
        msgspec.structs.replace(request, **(series.fields | {"slide_number": number}))
        for number, request in enumerate(plain, start=first)
    ]
