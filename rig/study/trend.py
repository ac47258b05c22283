"""Does the angle drift as a series goes on? One slope over all series, each with its own level."""

from collections.abc import Iterable
from math import sqrt

from msgspec import Struct

from rig.study.quantiles import t_p
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
    s_xx = s_xy = s_yy = 0.0
    n = used = 0
    for runs in series.values():
        if len(runs) < 2:
            continue
        x_mean = sum(x for x, _ in runs) / len(runs)
        y_mean = sum(y for _, y in runs) / len(runs)
        s_xx += sum((x - x_mean) ** 2 for x, _ in runs)
        s_xy += sum((x - x_mean) * (y - y_mean) for x, y in runs)
        s_yy += sum((y - y_mean) ** 2 for _, y in runs)
        n, used = n + len(runs), used + 1
    df = n - used - 1
    if df < 1 or s_xx == 0.0:
        return None
    slope = s_xy / s_xx
    u = sqrt(max(s_yy - slope * s_xy, 0.0) / df / s_xx)
    p = t_p(slope / u, df) if u > 0 else (1.0 if slope == 0 else 0.0)
    return Trend(slope_deg_per_slide=slope, u_slope_deg_per_slide=u, df=df, p=p, n_series=used)
