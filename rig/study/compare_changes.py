"""Each bag as its own control: its change from one stage to another, on one face and one board."""

from collections.abc import Iterable, Mapping
from math import sqrt
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from rig.study.cells import Mean, cells_of, mean_over_sessions
from rig.study.climate_model import ClimateModel
from rig.study.rows import BagFace, BagInfo, Row


class Place(NamedTuple):
    """What is compared with each other: one face on one board."""

    face: str
    board: str


class BagChange(Struct, frozen=True, kw_only=True):
    """One bag's change, in degrees; a bag is one value, however many runs it has."""

    bag: str
    group: str
    before_deg: float
    after_deg: float
    climate_change_pct: float | None
    """Surface humidity after minus before."""
    correction_deg: float
    """Taken off the change: what the climate model gives for that difference of humidity."""
    change_deg: float
    """After minus before, corrected."""
    n_runs: int
    n_series: int
    n_sessions: int
    weights: dict[str, float]
    """Variance of the change per variance of the layers inside the bag."""
    session_weights: dict[str, float]
    """How much of each session's effect is in the change, the correction's share included."""


def changes(
    rows: Iterable[Row],
    bags: Mapping[str, BagInfo],
    before: str,
    after: str,
    model: ClimateModel | None,
) -> dict[Place, list[BagChange]]:
    """The changes of all bags that were measured at both stages, reference bags left out."""
    cells: dict[BagFace, list[int]] = {}
    listed = cells_of(row for row in rows if row.stage in (before, after))
    for i, cell in enumerate(listed):
        cells.setdefault(cell.unit, []).append(i)
    found: dict[Place, list[BagChange]] = {}
    for unit, own in cells.items():
        group = bags.get(unit.bag, BagInfo()).group(before, after)
        later = cells.get(unit._replace(stage=after))
        if unit.stage != before or group is None or later is None:
            continue
        first = mean_over_sessions([listed[i] for i in own])
        second = mean_over_sessions([listed[i] for i in later])
        change = _change(unit, after, group, first, second, model)
        found.setdefault(Place(unit.face, unit.board), []).append(change)
    return dict(sorted(found.items()))


def _change(
    unit: BagFace,
    after_stage: str,
    group: str,
    before: Mean,
    after: Mean,
    model: ClimateModel | None,
) -> BagChange:
    weights = {s: -1.0 / len(before.sessions) for s in before.sessions}
    for s in after.sessions:
        weights[s] = weights.get(s, 0.0) + 1.0 / len(after.sessions)
    moved = None
    if before.humidity_pct is not None and after.humidity_pct is not None:
        moved = after.humidity_pct - before.humidity_pct
    correction = 0.0
    if model is not None and model.slope_known and moved is not None:
        slopes = [model.slope(unit), model.slope(unit._replace(stage=after_stage))]
        correction = 0.5 * sum(slopes) * moved
        for s, place in model.fitted.sessions.items():
            share = moved * float(model.fitted.loadings[0, place])
            weights[s] = weights.get(s, 0.0) - share
    return BagChange(
        bag=unit.bag,
        group=group,
        before_deg=before.angle_deg,
        after_deg=after.angle_deg,
        climate_change_pct=moved,
        correction_deg=correction,
        change_deg=after.angle_deg - before.angle_deg - correction,
        n_runs=before.n_runs + after.n_runs,
        n_series=before.n_series + after.n_series,
        n_sessions=len(set(before.sessions) | set(after.sessions)),
        weights={k: v + after.weights[k] for k, v in before.weights.items()},
        session_weights=weights,
    )


def session_mismatch(treated: list[BagChange], controls: list[BagChange]) -> float:
    """How many session variances are left in the difference of two groups; 0 if all cancel."""
    total: dict[str, float] = {}
    for sign, group in ((1.0, treated), (-1.0, controls)):
        for one in group:
            for session, weight in one.session_weights.items():
                total[session] = total.get(session, 0.0) + sign * weight / len(group)
    return float(np.sum(np.square(list(total.values()))))


def humidity_mismatch(treated: list[BagChange], controls: list[BagChange]) -> float:
    """How much more the humidity changed for one group than for the other, in %RH."""

    def mean(group: list[BagChange]) -> float:
        known = [c.climate_change_pct for c in group if c.climate_change_pct is not None]
        return sum(known) / len(known) if known else 0.0

    return mean(treated) - mean(controls)


def sd_of_changes(group: list[BagChange]) -> float | None:
    """Standard deviation of the changes of a group, or None for fewer than two bags."""
    if len(group) < 2:
        return None
    mean = sum(c.change_deg for c in group) / len(group)
    return sqrt(sum((c.change_deg - mean) ** 2 for c in group) / (len(group) - 1))
