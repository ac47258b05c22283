"""Does the angle drift as a series goes on? One slope over all series, each with its own level."""

from collections.abc import Iterable

from msgspec import Struct

from rig.statistics.trend import common_slope
from rig.study.rows import Row


class Trend(Struct, frozen=True, kw_only=True):
    """Drift of the slide angle with the number of the slide in its series."""

    slope_deg_per_slide: float
    u_slope_deg_per_slide: float
    df: int
    p: float
    n_series: int


def trend(rows: Iterable[Row]) -> Trend | None:
    """The common slope within series; None if no series has two numbered slides and an error."""
    series: dict[tuple[str, ...], list[tuple[float, float]]] = {}
    for row in rows:
        if row.slide_number is not None:
            key = (row.bag, row.face, row.board, row.stage, row.session, row.series)
            series.setdefault(key, []).append((float(row.slide_number), row.onset_angle_deg))
    found = common_slope(series.values())
    if found is None:
        return None
    return Trend(
        slope_deg_per_slide=found.slope,
        u_slope_deg_per_slide=found.u,
        df=found.df,
        p=found.p,
        n_series=found.n_series,
    )
