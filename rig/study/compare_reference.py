"""The reference bag watches the board: residue of a treated bag moves its angle.

Within a session, the reference runs at the end are compared with those at the start; between
stages, its level is compared with that before the first treatment, corrected for the climate. Both
are tested against their own scatter, at 5 % for the whole study, and must exceed 0.4° to count.
"""

from collections.abc import Mapping, Sequence

from msgspec import Struct, structs

from rig.statistics.quantiles import t_p
from rig.statistics.satterthwaite import Satterthwaite
from rig.study.cells import cells_of
from rig.study.climate_model import JUDGED_DF, JUDGED_SESSION_SD_DEG, ClimateModel
from rig.study.rows import BagInfo, Row
from rig.study.variance import RESIDUAL, Layers

ALPHA = 0.05
MATTERS_DEG = 0.4
JUDGED_SERIES_SD_DEG = 0.3
TYPICAL_RUNS = 3


class ReferenceShift(Struct, frozen=True, kw_only=True):
    """How far the reference bag's angle moved."""

    board: str
    face: str
    kind: str
    """`within session` or `since before`."""
    session: str
    shift_deg: float
    u_shift_deg: float
    df: float
    p: float
    """Of a shift at least as large on an unchanged board; for this one test."""
    moved: bool = False


def reference_shifts(
    rows: Sequence[Row],
    bags: Mapping[str, BagInfo],
    layers: Mapping[str, Layers],
    model: ClimateModel | None,
    before: str,
) -> list[ReferenceShift]:
    """All shifts of the reference bags that can be worked out.

    Args:
        rows: all rows.
        bags: who is a reference bag.
        layers: variances for each face, from the other bags, for the scatter of series and runs.
        model: the climate model, for slopes and the scatter between sessions.
        before: the stage before treatment; sessions in which other bags were at that stage are
            the ones that later sessions are compared with.
    """
    own = [row for row in rows if row.bag in bags and bags[row.bag].role == "reference"]
    clean = {row.session for row in rows if row.stage == before and row not in own}
    shifts = []
    for place in dict.fromkeys((r.bag, r.face, r.board) for r in own):
        mine = [r for r in own if (r.bag, r.face, r.board) == place]
        noise = _noise(layers.get(place[1]), model)
        shifts += _within(mine, noise)
        shifts += _since(mine, clean, model)
    return _judge(shifts)


def _noise(layers: Layers | None, model: ClimateModel | None) -> Satterthwaite:
    """Variance of the mean of one series, run scatter in it, by the best that is known of it."""
    noise = Satterthwaite()
    if layers is not None and layers.variance("series") is not None:
        part = layers.combine({"series": 1.0, RESIDUAL: 1.0 / TYPICAL_RUNS})
        noise.add(part.variance, part.df)
    elif model is not None and model.fitted.df_own > 0:
        # The scatter of a bag in a session holds that of its series, and a little more.
        noise.add(model.fitted.variance_own, model.fitted.df_own)
    else:
        noise.add(JUDGED_SERIES_SD_DEG**2, JUDGED_DF)
    return noise


def _within(rows: list[Row], noise: Satterthwaite) -> list[ReferenceShift]:
    shifts = []
    for session in dict.fromkeys(row.session for row in rows):
        series: dict[str, list[Row]] = {}
        for row in sorted((r for r in rows if r.session == session), key=lambda r: r.order):
            series.setdefault(row.series, []).append(row)
        if len(series) < 2:
            continue
        ordered = list(series.values())
        first, last = ordered[0], ordered[-1]
        total = Satterthwaite()
        total.add(2.0 * noise.variance, noise.df)
        shift = _mean_angle(last) - _mean_angle(first)
        shifts.append(_shift(rows[0], "within session", session, shift, total))
    return shifts


def _since(rows: list[Row], clean: set[str], model: ClimateModel | None) -> list[ReferenceShift]:
    """Each later session's level against the mean of the sessions before treatment."""
    # The first series of a session alone is free of what happened in it.
    first: dict[str, str] = {}
    for row in sorted(rows, key=lambda r: r.order):
        first.setdefault(row.session, row.series)
    cells = cells_of(row for row in rows if row.series == first[row.session])
    old = [cell for cell in cells if cell.session in clean]
    if not old:
        return []
    shifts = []
    for cell in cells:
        if cell.session in clean:
            continue
        shift = cell.angle_deg - sum(c.angle_deg for c in old) / len(old)
        total = Satterthwaite()
        variance, df = (
            (JUDGED_SESSION_SD_DEG**2, JUDGED_DF)
            if model is None
            else (model.session_variance + model.fitted.variance_own, model.session_df)
        )
        total.add((1.0 + 1.0 / len(old)) * variance, df)
        known = [c.humidity_pct for c in old if c.humidity_pct is not None]
        if model is not None and model.slope_known and known and cell.humidity_pct is not None:
            moved = cell.humidity_pct - sum(known) / len(known)
            shift -= model.slope(cell.unit) * moved
            spread = float((model.fitted.loadings[0] ** 2).sum())
            total.add(moved**2 * spread * model.session_variance, model.session_df)
        shifts.append(_shift(rows[0], "since before", cell.session, shift, total))
    return shifts


def _shift(row: Row, kind: str, session: str, shift: float, total: Satterthwaite) -> ReferenceShift:
    return ReferenceShift(
        board=row.board,
        face=row.face,
        kind=kind,
        session=session,
        shift_deg=shift,
        u_shift_deg=total.u,
        df=total.df,
        p=t_p(shift / total.u, total.df) if total.u > 0 else 1.0,
    )


def _judge(shifts: list[ReferenceShift]) -> list[ReferenceShift]:
    limit = ALPHA / max(len(shifts), 1)
    return [
        structs.replace(s, moved=s.p < limit and abs(s.shift_deg) > MATTERS_DEG) for s in shifts
    ]


def _mean_angle(rows: list[Row]) -> float:
    return sum(row.onset_angle_deg for row in rows) / len(rows)
