"""Means of one unit in one session, each level of grouping weighing its parts alike."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from rig.study.rows import BagFace, Row, unit_of


class Cell(NamedTuple):
    """One unit in one session: the mean over its series of the means over their runs."""

    unit: BagFace
    session: str
    angle_deg: float
    humidity_pct: float | None
    temperature_c: float | None
    damp_share: float | None
    n_series: int
    n_runs: int
    series_weight: float
    """Variance of the mean per variance of the series layer: 1/n for n series."""
    run_weight: float
    """The same for the runs' layer."""


def cells_of(rows: Iterable[Row]) -> list[Cell]:
    """One cell for each unit and session, in order of first appearance."""
    grouped: dict[tuple[BagFace, str], dict[str, list[Row]]] = {}
    for row in rows:
        series = grouped.setdefault((unit_of(row), row.session), {})
        series.setdefault(row.series, []).append(row)
    return [_cell(unit, session, list(s.values())) for (unit, session), s in grouped.items()]


def _cell(unit: BagFace, session: str, series: list[list[Row]]) -> Cell:
    k = len(series)
    runs = [row for one in series for row in one]
    return Cell(
        unit=unit,
        session=session,
        angle_deg=sum(sum(r.onset_angle_deg for r in one) / len(one) for one in series) / k,
        humidity_pct=mean_of([r.surface_humidity_pct for r in runs]),
        temperature_c=mean_of([r.temperature_c for r in runs]),
        damp_share=mean_of([r.damp_share for r in runs]),
        n_series=k,
        n_runs=len(runs),
        series_weight=1.0 / k,
        run_weight=sum(1.0 / len(one) for one in series) / k**2,
    )


def mean_of(values: Sequence[float | None]) -> float | None:
    """The mean of the known values, or None."""
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None


class Mean(NamedTuple):
    """One unit over its sessions, which weigh alike."""

    angle_deg: float
    humidity_pct: float | None
    sessions: tuple[str, ...]
    n_series: int
    n_runs: int
    weights: dict[str, float]
    """Variance of the mean per variance of each layer: `session`, `series`, `run`."""


def mean_over_sessions(cells: Sequence[Cell]) -> Mean:
    """The mean of the cells of one unit, at least one."""
    n = len(cells)
    return Mean(
        angle_deg=sum(cell.angle_deg for cell in cells) / n,
        humidity_pct=mean_of([cell.humidity_pct for cell in cells]),
        sessions=tuple(cell.session for cell in cells),
        n_series=sum(cell.n_series for cell in cells),
        n_runs=sum(cell.n_runs for cell in cells),
        weights={
            "session": 1.0 / n,
            "series": sum(cell.series_weight for cell in cells) / n**2,
            "run": sum(cell.run_weight for cell in cells) / n**2,
        },
    )
