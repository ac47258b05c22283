"""Levels rather than changes: cell means, faces, boards, sets, and treatment × climate."""

from collections.abc import Mapping, Sequence
from math import sqrt

from msgspec import Struct

from rig.statistics.quantiles import t_quantile
from rig.study.anova import Term, split_plot
from rig.study.cells import Cell, cells_of, mean_over_sessions
from rig.study.climate_model import ClimateModel
from rig.study.compare_changes import Place, changes
from rig.study.rows import BagFace, BagInfo, Row, unit_of
from rig.study.tukey import Pair, tukey_kramer, welch_pair
from rig.study.variance import RESIDUAL, Layers

SAME_CLIMATE_PCT = 8.0
"""Sessions whose surface humidities follow each other within this are one climate in tables."""


class CellMean(Struct, frozen=True, kw_only=True):
    """The slide angle of one bag's face in one climate, with a 95 % interval for that bag."""

    bag: str
    face: str
    board: str
    stage: str
    climate: str
    n_runs: int
    n_series: int
    n_sessions: int
    angle_deg: float
    u_angle_deg: float | None
    lower_deg: float | None
    upper_deg: float | None
    scope: str


class Contrast(Struct, frozen=True, kw_only=True):
    """A mean difference between faces or boards over bags, each bag with itself."""

    what: str
    first: str
    second: str
    where: str
    n_bags: int
    difference_deg: float
    lower_deg: float | None
    upper_deg: float | None


class SetPair(Struct, frozen=True, kw_only=True):
    """Two sets of bags on one face, board and stage; 5 % for the family of sets there.

    Two sets alone are compared by Welch's t, since one set may be more even than the other; more by
    Tukey–Kramer.
    """

    face: str
    board: str
    stage: str
    pair: Pair


def climates(rows: Sequence[Row]) -> dict[str, str]:
    """A name of the climate of each session; sessions of like surface humidity share one."""
    values: dict[str, list[float]] = {}
    for row in rows:
        values.setdefault(row.session, [])
        if row.surface_humidity_pct is not None:
            values[row.session].append(row.surface_humidity_pct)
    known = sorted((sum(v) / len(v), s) for s, v in values.items() if v)
    names = dict.fromkeys((s for s, v in values.items() if not v), "unknown air")
    cluster: list[tuple[float, str]] = []
    for value, session in [*known, (float("inf"), "")]:
        if cluster and (
            value - cluster[-1][0] > SAME_CLIMATE_PCT
            or value - cluster[0][0] > 2 * SAME_CLIMATE_PCT
        ):
            mean = sum(v for v, _ in cluster) / len(cluster)
            names.update((s, f"{mean:.0f} %RH") for _, s in cluster)
            cluster = []
        cluster.append((value, session))
    return names


def cell_means(
    rows: Sequence[Row], names: Mapping[str, str], layers: Mapping[str, Layers]
) -> list[CellMean]:
    """Every unit in every climate.

    Args:
        rows: all rows.
        names: climate of each session.
        layers: variances for each face.
    """
    grouped: dict[tuple[BagFace, str], list[Cell]] = {}
    for cell in cells_of(rows):
        grouped.setdefault((cell.unit, names[cell.session]), []).append(cell)
    return [
        _cell_mean(unit, climate, cells, layers.get(unit.face))
        for (unit, climate), cells in sorted(grouped.items())
    ]


def _cell_mean(unit: BagFace, climate: str, cells: list[Cell], layers: Layers | None) -> CellMean:
    mean = mean_over_sessions(cells)
    known = {n for n in mean.weights if layers is not None and layers.variance(n) is not None}
    u = half = None
    if layers is not None and RESIDUAL in known:
        part = layers.combine(mean.weights)
        u = part.u
        half = t_quantile(0.975, part.df) * u if part.df > 0 else None
    scope = (
        "this bag"
        if "session" in known
        else "this bag, these sittings"
        if "series" in known
        else "this mounting, this hour"
    )
    return CellMean(
        bag=unit.bag,
        face=unit.face,
        board=unit.board,
        stage=unit.stage,
        climate=climate,
        n_runs=mean.n_runs,
        n_series=mean.n_series,
        n_sessions=len(mean.sessions),
        angle_deg=mean.angle_deg,
        u_angle_deg=u,
        lower_deg=None if half is None else mean.angle_deg - half,
        upper_deg=None if half is None else mean.angle_deg + half,
        scope=scope,
    )


def corrected(rows: Sequence[Row], model: ClimateModel | None) -> list[float]:
    """The angles, moved to the mean surface humidity by the climate model's slopes."""
    if model is None or not model.slope_known:
        return [row.onset_angle_deg for row in rows]
    middle = float(model.fitted.x_mean[0])
    slopes = {unit: model.slope(unit) for unit in dict.fromkeys(map(unit_of, rows))}
    return [
        row.onset_angle_deg
        - (0.0 if (x := row.surface_humidity_pct) is None else slopes[unit_of(row)] * (x - middle))
        for row in rows
    ]


def levels_by_unit(rows: Sequence[Row], model: ClimateModel | None) -> dict[BagFace, float]:
    """The level of each unit at the mean humidity."""
    moved: dict[BagFace, list[Cell]] = {}
    for cell in cells_of(rows):
        moved.setdefault(cell.unit, []).append(cell)
    levels = {}
    for unit, cells in moved.items():
        mean = mean_over_sessions(cells)
        level = mean.angle_deg
        if model is not None and model.slope_known and mean.humidity_pct is not None:
            level -= model.slope(unit) * (mean.humidity_pct - float(model.fitted.x_mean[0]))
        levels[unit] = level
    return levels


def contrasts(levels: Mapping[BagFace, float]) -> list[Contrast]:
    """Faces and boards at each stage, paired within bags."""
    found = []
    for what, index in (("face", 1), ("board", 2)):
        names = sorted({unit[index] for unit in levels})
        rest = sorted({(*unit[1:index], *unit[index + 1 :]) for unit in levels})
        for i, first in enumerate(names):
            for second in names[i + 1 :]:
                for where in rest:
                    pairs = [
                        levels[other] - level
                        for unit, level in levels.items()
                        if unit[index] == first
                        and (*unit[1:index], *unit[index + 1 :]) == where
                        and (other := unit._replace(**{what: second})) in levels
                    ]
                    if pairs:
                        found.append(_contrast(what, first, second, ", ".join(where), pairs))
    return found


def _contrast(what: str, first: str, second: str, where: str, values: list[float]) -> Contrast:
    n = len(values)
    mean = sum(values) / n
    half = None
    if n > 1:
        s = sqrt(sum((v - mean) ** 2 for v in values) / (n - 1))
        half = t_quantile(0.975, n - 1) * s / sqrt(n)
    return Contrast(
        what=what,
        first=first,
        second=second,
        where=where,
        n_bags=n,
        difference_deg=mean,
        lower_deg=None if half is None else mean - half,
        upper_deg=None if half is None else mean + half,
    )


def set_pairs(levels: Mapping[BagFace, float], bags: Mapping[str, BagInfo]) -> list[SetPair]:
    """Sets against each other on each face, board and stage, over the means of their bags."""
    found = []
    for where in sorted({unit[1:] for unit in levels}):
        groups: dict[str, list[float]] = {}
        for unit, level in levels.items():
            name = bags[unit.bag].set if unit.bag in bags else None
            if unit[1:] == where and name is not None:
                groups.setdefault(name, []).append(level)
        pairs = welch_pair(groups) if len(groups) == 2 else tukey_kramer(groups)
        found += [
            SetPair(face=where[0], board=where[1], stage=where[2], pair=pair) for pair in pairs
        ]
    return found


def by_climate(
    rows: Sequence[Row],
    names: Mapping[str, str],
    bags: Mapping[str, BagInfo],
    stages: tuple[str, str],
    model: ClimateModel | None,
) -> dict[Place, list[Term]]:
    """Treatment × climate for the changes of each face and board, where two climates allow it."""
    table: dict[Place, list[tuple[float, str, str, str]]] = {}
    for climate in dict.fromkeys(names.values()):
        inside = [row for row in rows if names[row.session] == climate]
        for place, bag_changes in changes(inside, bags, *stages, model).items():
            table.setdefault(place, []).extend(
                (c.change_deg, c.group, c.bag, climate) for c in bag_changes
            )
    found = {}
    for place, lines in table.items():
        values, group, bag, climate_of = zip(*lines, strict=True)
        if len(set(climate_of)) > 1 and len(set(group)) > 1:
            found[place] = split_plot(values, group, bag, climate_of)
    return found
