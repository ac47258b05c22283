"""Does the angle drift as a series goes on? One slope over all series, each with its own level."""

from collections.abc import Iterable
from math import sqrt

from msgspec import Struct

from rig.study.anova import regress
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
    x: list[float] = []
    y: list[float] = []
    used = 0
    for runs in series.values():
        if len(runs) > 1:
            x_mean = sum(number for number, _ in runs) / len(runs)
            y_mean = sum(angle for _, angle in runs) / len(runs)
            x += [number - x_mean for number, _ in runs]
            y += [angle - y_mean for _, angle in runs]
            used += 1
    df = len(x) - used - 1
    if df < 1 or not any(x):
        return None
    fitted = regress(y, x)
    slope = fitted.coefficients[1]
    # The series' own levels, taken off above, have cost degrees of freedom too.
    u = fitted.standard_errors[1] * sqrt(fitted.df / df)
    p = t_p(slope / u, df) if u > 0 else (1.0 if slope == 0 else 0.0)
    return Trend(slope_deg_per_slide=slope, u_slope_deg_per_slide=u, df=df, p=p, n_series=used)
