"""Which bag faces suit the day: predictions in the day's air, ranked by how far they miss the wish.

Hand readings of the day shift all predictions on their board together, as far as sessions are known
to shift them and the readings can be trusted: predictions and readings are joint normal, and the
predictions are conditioned on the readings.
"""

from collections.abc import Mapping, Sequence
from math import hypot, sqrt

import numpy as np
from msgspec import Struct

from rig.errors import BadInputError
from rig.statistics.quantiles import t_cdf, t_quantile
from rig.study.climate_model import Air, ClimateModel
from rig.study.rows import BagFace, BagInfo, Row, angle_of, stage_place

NEW_BOARD_SD_DEG = 1.5
"""How far boards differ, where this one was never measured (a judgement)."""
READING_SD_DEG = 0.5
READER_BIAS_SD_DEG = 0.3
"""Of one hand reading, and common to all readings of a reader, where they are not known."""


class Wish(Struct, frozen=True, kw_only=True):
    """The slide angle wanted, and how near is near enough."""

    angle_deg: float
    u_angle_deg: float = 0.0
    tolerance_deg: float = 0.5
    text: str = ""


class HandReading(Struct, frozen=True, kw_only=True):
    """The mean of some slides of one face, read by hand on the day's board."""

    bag: str
    face: str
    angle_deg: float
    n: int = 1
    reader_bias_deg: float = 0.0
    u_reader_bias_deg: float = READER_BIAS_SD_DEG
    scatter_deg: float = READING_SD_DEG


class Candidate(Struct, frozen=True, kw_only=True):
    """A face of a bag, as it is now, in the day's air."""

    bag: str
    face: str
    set: str | None
    stage: str
    angle_deg: float
    u_angle_deg: float
    lower_deg: float
    upper_deg: float
    miss_deg: float
    """Predicted angle minus the wish."""
    expected_miss_deg: float
    """Root mean square distance from the wish, uncertainty included; the ranking."""
    chance_pct: float
    """To lie within the tolerance of the wish."""
    slope_deg_per_pct: float


class SetChoice(Struct, frozen=True, kw_only=True):
    """Bags that are thrown together, one face up: do they match, and how far from the wish?"""

    set: str
    face: str
    n_bags: int
    mean_deg: float
    spread_deg: float
    """Largest minus smallest predicted angle."""
    sd_deg: float | None
    expected_miss_deg: float
    matches: bool | None
    """None for one bag; True if all lie within the tolerance of one angle."""
    odd_one_out: str | None
    """The bag without which the spread is less than half, if it is far beyond chance."""


class Choice(Struct, frozen=True, kw_only=True):
    """The choice of the day."""

    board: str
    air: Air
    wish: Wish
    candidates: list[Candidate]
    sets: list[SetChoice]
    board_shift_deg: float | None
    """What the day's readings move the predictions by, on average; None without readings."""
    provisional: bool
    warnings: list[str]
    notes: tuple[str, ...] = ()
    """What was left out of the study or is damaged in it, in sentences."""


def current_units(rows: Sequence[Row], board: str) -> list[BagFace]:
    """Each bag's faces on a board at the last stage in which they were measured there."""
    latest: dict[tuple[str, str], tuple[tuple[int, int], BagFace]] = {}
    for row in rows:
        if row.board == board:
            key = (stage_place(row.stage), row.order)
            unit = BagFace(row.bag, row.face, row.board, row.stage)
            if (row.bag, row.face) not in latest or key > latest[row.bag, row.face][0]:
                latest[row.bag, row.face] = (key, unit)
    return [unit for _, unit in latest.values()]


def wish_like(
    model: ClimateModel, rows: Sequence[Row], bag: str, face: str, board: str, air: Air
) -> Wish:
    """The wish to be like a bag's face on a board in some air.

    Raises:
        BadInputError: it was never measured there.
    """
    for unit in current_units(rows, board):
        if (unit.bag, unit.face) == (bag, face):
            one = model.predict(unit, air)
            return Wish(
                angle_deg=one.angle_deg,
                u_angle_deg=one.u_angle_deg,
                text=f"like {bag}, {face} face, on {board} at {air.surface_humidity_pct:.0f} %RH",
            )
    raise BadInputError(f"{bag}, {face} face, was not measured on {board}; measure it there first.")


def wish_of_mu(mu: float) -> Wish:
    """The wish for a static coefficient."""
    if not 0.0 < mu < 2.0:
        raise BadInputError(f"A wished coefficient must lie between 0 and 2, not {mu:g}.")
    return Wish(angle_deg=angle_of(mu), text=f"coefficient {mu:g}")


def choose(
    rows: Sequence[Row],
    bags: Mapping[str, BagInfo],
    model: ClimateModel,
    air: Air,
    wish: Wish,
    board: str | None = None,
    readings: Sequence[HandReading] = (),
) -> Choice:
    """Rank bag faces and sets for an air and a wish.

    Args:
        rows: the study's runs.
        bags: who the bags are.
        model: fitted to the rows.
        air: the day's.
        wish: what is wanted.
        board: the day's; the most measured one if not given. One that was never measured is
            taken as an unknown board like the most measured one.
        readings: taken by hand on that board in that air.

    Raises:
        BadInputError: nothing was measured, or a reading is of an unknown bag or face.
    """
    boards = [row.board for row in rows]
    if not boards:
        raise BadInputError("The study has no usable run to choose from; measure first.")
    usual = max(dict.fromkeys(boards), key=boards.count)
    known = board in (None, *boards)
    base = board if board is not None and known else usual
    units = current_units(rows, base)
    units = [u for u in units if bags.get(u.bag, BagInfo()).role != "reference"] or units
    means, covariance = model.joint(units, air)
    warnings = [*model.notes, *model.warnings(air)]
    if not known:
        covariance = covariance + NEW_BOARD_SD_DEG**2
        warnings.append(
            f"{board} was never measured: its bags are taken to slide as on {base}, give or take "
            f"{NEW_BOARD_SD_DEG:.1f}°. A few hand readings on it help most."
        )
    shift = None
    if readings:
        before = means
        means, covariance = condition(units, means, covariance, readings)
        shift = float(np.mean(means - before))
    df = [model.predict(unit, air).df for unit in units]
    candidates = [
        _candidate(model, unit, bags, wish, float(m), sqrt(max(float(v), 0.0)), d)
        for unit, m, v, d in zip(units, means, np.diag(covariance), df, strict=True)
    ]
    return Choice(
        board=board or base,
        air=air,
        wish=wish,
        candidates=sorted(candidates, key=lambda one: one.expected_miss_deg),
        sets=_sets(units, means, model, bags, wish, candidates),
        board_shift_deg=shift,
        provisional=model.provisional,
        warnings=warnings,
    )


def condition(
    units: Sequence[BagFace],
    means: np.ndarray,
    covariance: np.ndarray,
    readings: Sequence[HandReading],
) -> tuple[np.ndarray, np.ndarray]:
    """Predictions given readings of some of the units, all jointly normal.

    Raises:
        BadInputError: a reading is of a bag or face that has no prediction.
    """
    places = {(unit.bag, unit.face): i for i, unit in enumerate(units)}
    picked = []
    for reading in readings:
        if (reading.bag, reading.face) not in places:
            raise BadInputError(
                f"The reading of {reading.bag}, {reading.face} face, can't be used: the study has "
                "no run of it on this board."
            )
        picked.append(places[reading.bag, reading.face])
    bias = max(r.u_reader_bias_deg for r in readings)
    noise = np.diag([r.scatter_deg**2 / r.n for r in readings]) + bias**2
    seen = covariance[np.ix_(picked, picked)] + noise
    gain = np.linalg.solve(seen, covariance[picked, :]).T
    values = np.array([r.angle_deg - r.reader_bias_deg for r in readings])
    return means + gain @ (values - means[picked]), covariance - gain @ covariance[picked, :]


def _candidate(
    model: ClimateModel,
    unit: BagFace,
    bags: Mapping[str, BagInfo],
    wish: Wish,
    angle: float,
    u: float,
    df: float,
) -> Candidate:
    half = t_quantile(0.975, df) * u
    miss = angle - wish.angle_deg
    spread = max(hypot(u, wish.u_angle_deg), 1e-9)
    edges = [(end - miss) / spread for end in (-wish.tolerance_deg, wish.tolerance_deg)]
    low, high = (t_cdf(e, df) for e in edges)
    return Candidate(
        bag=unit.bag,
        face=unit.face,
        set=bags[unit.bag].set if unit.bag in bags else None,
        stage=unit.stage,
        angle_deg=angle,
        u_angle_deg=u,
        lower_deg=angle - half,
        upper_deg=angle + half,
        miss_deg=miss,
        expected_miss_deg=hypot(miss, spread),
        chance_pct=100.0 * float(high - low),
        slope_deg_per_pct=model.slope(unit),
    )


def _sets(
    units: Sequence[BagFace],
    means: np.ndarray,
    model: ClimateModel,
    bags: Mapping[str, BagInfo],
    wish: Wish,
    candidates: Sequence[Candidate],
) -> list[SetChoice]:
    groups: dict[tuple[str, str], list[int]] = {}
    for i, unit in enumerate(units):
        name = bags[unit.bag].set if unit.bag in bags else None
        if name is not None:
            groups.setdefault((name, unit.face), []).append(i)
    found = [
        _set_choice(name, face, places, units, means, model, wish, candidates)
        for (name, face), places in groups.items()
    ]
    return sorted(found, key=lambda one: one.expected_miss_deg)


def _set_choice(
    name: str,
    face: str,
    places: list[int],
    units: Sequence[BagFace],
    means: np.ndarray,
    model: ClimateModel,
    wish: Wish,
    candidates: Sequence[Candidate],
) -> SetChoice:
    values = [float(means[i]) for i in places]
    n = len(values)
    mean, spread = sum(values) / n, max(values) - min(values)
    squares = sum(candidates[i].expected_miss_deg ** 2 for i in places)
    odd = None
    if n > 2 and spread > 2.0 * wish.tolerance_deg:
        far = max(range(n), key=lambda k: abs(values[k] - mean))
        others = [v for k, v in enumerate(values) if k != far]
        own = model.fitted.variance_own / len(model.fitted.sessions_of[units[places[far]]])
        u = sqrt(own * (1.0 + 1.0 / (n - 1)))
        # The bag was picked as the farthest of n, so 5 % is shared out among n.
        limit = t_quantile(1.0 - 0.025 / n, max(float(model.fitted.df_own), 1.0)) * u
        stands_out = max(others) - min(others) < 0.5 * spread
        if stands_out and abs(values[far] - sum(others) / (n - 1)) > limit:
            odd = units[places[far]].bag
    return SetChoice(
        set=name,
        face=face,
        n_bags=n,
        mean_deg=mean,
        spread_deg=spread,
        sd_deg=sqrt(sum((v - mean) ** 2 for v in values) / (n - 1)) if n > 1 else None,
        expected_miss_deg=sqrt(squares / n),
        matches=None if n == 1 else spread <= 2.0 * wish.tolerance_deg,
        odd_one_out=odd,
    )
