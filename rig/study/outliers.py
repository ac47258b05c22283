"""Outliers within a series, by Grubbs' test: shown, never dropped."""

from collections.abc import Iterable, Sequence
from math import sqrt

from msgspec import Struct

from rig.statistics.quantiles import t_quantile
from rig.study.rows import Row

LEAST = 6
"""Runs in a series below which the test says too little."""


class Outlier(Struct, frozen=True, kw_only=True):
    """A run that lies far from the others of its series."""

    run_id: str
    bag: str
    face: str
    series: str
    onset_angle_deg: float
    deviation_deg: float
    g: float
    critical: float


def grubbs_statistic(values: Sequence[float]) -> tuple[float, int]:
    """G = largest |xᵢ − mean| / s, and the place i of that value (Grubbs, Technometrics 1969)."""
    n = len(values)
    mean = sum(values) / n
    s = sqrt(sum((value - mean) ** 2 for value in values) / (n - 1))
    place = max(range(n), key=lambda i: abs(values[i] - mean))
    return (abs(values[place] - mean) / s if s > 0 else 0.0), place


def grubbs_critical(n: int, alpha: float = 0.05, sides: int = 2) -> float:
    """The value that G exceeds with probability `alpha` when there is no outlier."""
    t2 = t_quantile(1.0 - alpha / (sides * n), n - 2) ** 2
    return (n - 1) / sqrt(n) * sqrt(t2 / (n - 2 + t2))


def outliers(rows: Iterable[Row], alpha: float = 0.05) -> list[Outlier]:
    """At most one outlier of each series of six runs or more; `alpha` is for each series."""
    series: dict[tuple[str, ...], list[Row]] = {}
    for row in rows:
        key = (row.bag, row.face, row.board, row.stage, row.session, row.series)
        series.setdefault(key, []).append(row)
    found = []
    for runs in series.values():
        if len(runs) < LEAST:
            continue
        angles = [row.onset_angle_deg for row in runs]
        g, place = grubbs_statistic(angles)
        critical = grubbs_critical(len(runs), alpha)
        if g > critical:
            row = runs[place]
            found.append(
                Outlier(
                    run_id=row.run_id,
                    bag=row.bag,
                    face=row.face,
                    series=row.series,
                    onset_angle_deg=row.onset_angle_deg,
                    deviation_deg=row.onset_angle_deg - sum(angles) / len(angles),
                    g=g,
                    critical=critical,
                )
            )
    return found
