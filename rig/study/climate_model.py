"""How the slide angle of each bag's face follows the climate, and what it will be in a given air.

Predictor is the relative humidity at the board's surface; from four sessions on the side from which
the bag came to its moisture joins it, from five sessions on temperature, both shrunk towards no
influence. Slopes are common to all bags unless the data say otherwise.
"""

from collections.abc import Iterable, Sequence
from math import inf, sqrt

import numpy as np
from msgspec import Struct

from rig.errors import BadInputError
from rig.quantities.said import Amount, Said
from rig.quantities.shown import Kind
from rig.statistics.quantiles import f_p, t_quantile
from rig.study.cells import Cell, cells_of, mean_of
from rig.study.climate_fit import MIN_SPREAD, Classes, ClimateFit, fit
from rig.study.rows import BagFace, Row

HUMIDITY, TEMPERATURE, DAMP = "surface_humidity_pct", "temperature_c", "damp_share"
SESSIONS_FOR_EXTRAS = {DAMP: 4, TEMPERATURE: 5}
SESSIONS_FOR_OWN_SCATTER = 4
"""Under this many sessions the scatter between sessions is partly a judgement."""
JUDGED_SESSION_SD_DEG = 0.45
JUDGED_SLOPE_DEG_PER_PCT = 0.06
JUDGED_DF = 2.0
"""Judged to about 50 %, which is worth 2 degrees of freedom (JCGM 100, G.4.2)."""
SLOPES_DIFFER_P = 0.05
BEYOND_PCT, BEYOND_K = 3.0, 3.0
"""How far outside the measured range a climate may lie before a warning."""

LADDER: tuple[tuple[str, Classes], ...] = (
    ("common", lambda _: 0),
    ("by face", lambda unit: unit.face),
    ("by bag and face", lambda unit: (unit.bag, unit.face)),
    ("by bag, face and stage", lambda unit: (unit.bag, unit.face, unit.stage)),
)


class Air(Struct, frozen=True, kw_only=True):
    """A climate to predict in."""

    surface_humidity_pct: float
    temperature_c: float | None = None
    damp_share: float | None = None


class Prediction(Struct, frozen=True, kw_only=True):
    """The slide angle to expect of one unit in one sitting, 95 % interval."""

    unit: BagFace
    angle_deg: float
    u_angle_deg: float
    df: float
    lower_deg: float
    upper_deg: float
    slope_deg_per_pct: float


class ClimateModel(Struct, frozen=True, kw_only=True):
    """A fitted model; build it with `fit_climate`."""

    fitted: ClimateFit
    slopes: str
    """Which units share slopes."""
    provisional: bool
    n_sessions: int
    session_variance: float
    """The variance that stands for the layer between sessions, judgement included, in deg²."""
    session_df: float
    slope_known: bool
    left_out_rms_deg: float | None
    """Error of predicting each session from the others; None where that can't be done."""
    ranges: dict[str, tuple[float, float]]
    notes: tuple[str, ...]
    """Plain sentences on what could not be fitted."""

    @property
    def predictors(self) -> tuple[str, ...]:
        """Names of the predictors in use."""
        return self.fitted.predictors

    def units(self) -> list[BagFace]:
        """What can be predicted."""
        return list(self.fitted.units)

    def slope(self, unit: BagFace) -> float:
        """Slope against surface humidity, degrees per percent; 0 where it could not be fitted."""
        return float(self.fitted.slope(unit)[0]) if self.slope_known else 0.0

    def slope_interval(self, unit: BagFace, level: float = 0.95) -> tuple[float, float] | None:
        """Interval of the slope against surface humidity; None where it could not be fitted."""
        if not self.slope_known:
            return None
        f = self.fitted
        row = f.slope_row(unit)
        part = f.session_part(row)
        sessions, own = float(part @ part), float(row @ f.covariance @ row)
        total = f.variance(0.0, own - sessions * f.share)
        total.add(sessions * self.session_variance, self.session_df)
        half = t_quantile((1.0 + level) / 2.0, max(total.df, 1.0)) * total.u
        return self.slope(unit) - half, self.slope(unit) + half

    def point(self, air: Air) -> np.ndarray:
        """The predictors' values in an air; what it leaves open is taken as their mean."""
        values = [getattr(air, name) for name in self.predictors]
        pairs = zip(values, self.fitted.x_mean, strict=True)
        return np.array([mean if v is None else v for v, mean in pairs], dtype=float)

    def joint(self, units: Sequence[BagFace], air: Air) -> tuple[np.ndarray, np.ndarray]:
        """Predictions of several units in one sitting, in degrees, and their covariance in deg²."""
        f = self.fitted
        rows = np.array([f.functional(unit, self.point(air)) for unit in units])
        parts = f.session_part(rows)
        session = self.session_variance_alone * (1.0 + parts @ parts.T)
        own = f.variance_own * (np.eye(len(units)) + rows @ f.covariance @ rows.T)
        judged = np.array([self._away(unit, air) for unit in units])
        far = np.array([f.away(unit, self.point(air)) for unit in units])
        slopes = far @ f.prior_left @ far.T
        return rows @ f.theta, session + own + np.outer(judged, judged) + slopes

    @property
    def session_variance_alone(self) -> float:
        """Scatter of sessions that all units share, without the scatter of a unit in a session."""
        return max(self.session_variance - self.fitted.share * self.fitted.variance_own, 0.0)

    def predict(self, unit: BagFace, air: Air, level: float = 0.95) -> Prediction:
        """The slide angle of one unit in a new sitting in this air.

        Raises:
            BadInputError: the unit was never measured.
        """
        f = self.fitted
        if unit not in f.units:
            raise BadInputError(
                f"{unit.bag}, {unit.face} face, was not measured on {unit.board} at stage "
                f"{unit.stage}; measure it there first."
            )
        row = f.functional(unit, self.point(air))
        part = f.session_part(row)
        session_factor, own_factor = 1.0 + part @ part, 1.0 + row @ f.covariance @ row
        total = f.variance(0.0, float(own_factor - session_factor * f.share))
        total.add(float(session_factor) * self.session_variance, self.session_df)
        total.add(self._away(unit, air) ** 2, JUDGED_DF)
        far = f.away(unit, self.point(air))
        total.add(float(far @ f.prior_left @ far), inf)
        angle, df = float(row @ f.theta), max(total.df, 1.0)
        half = t_quantile((1.0 + level) / 2.0, df) * total.u
        return Prediction(
            unit=unit,
            angle_deg=angle,
            u_angle_deg=total.u,
            df=df,
            lower_deg=angle - half,
            upper_deg=angle + half,
            slope_deg_per_pct=self.slope(unit),
        )

    def _away(self, unit: BagFace, air: Air) -> float:
        """Judged standard uncertainty for a slope that could not be fitted, in degrees."""
        if self.slope_known or HUMIDITY not in self.ranges:
            return 0.0
        own = self.fitted.sessions_of[unit]
        centre = self.fitted.x_mean[0] + self.fitted.x[own, 0].mean()
        return JUDGED_SLOPE_DEG_PER_PCT * (air.surface_humidity_pct - float(centre))

    def warnings(self, air: Air) -> list[str]:
        """Sentences on how far this air is from the ones measured."""
        said: list[str] = []
        limits: tuple[tuple[str, Kind, float, str], ...] = (
            (HUMIDITY, "rh", BEYOND_PCT, "Surface humidity"),
            (TEMPERATURE, "c", BEYOND_K, "Temperature"),
        )
        for name, kind, beyond, what in limits:
            value = getattr(air, name)
            if name in self.ranges and value is not None:
                low, high = self.ranges[name]
                if not low - beyond <= value <= high + beyond:
                    said.append(
                        Said(
                            "{} {} lies outside the measured range {} to {}: the prediction is an "
                            "extrapolation and its interval is too narrow.",
                            what,
                            Amount(value, kind),
                            Amount(low, kind, has_unit=False),
                            Amount(high, kind),
                        )
                    )
        if DAMP in self.predictors and air.damp_share is None:
            said.append(
                "Fabric remembers: say whether the bags came to this air from dry or from damp; "
                "the prediction takes the mean of what was measured."
            )
        return said


def fit_climate(rows: Iterable[Row], *, left_out: bool = True) -> ClimateModel:
    """Fit the model to all rows, boards, faces and stages together.

    Args:
        rows: the runs.
        left_out: work out the error of leaving out each session, even if nothing hangs on it.

    Raises:
        BadInputError: there are no rows.
    """
    cells = cells_of(rows)
    if not cells:
        raise BadInputError("There are no usable runs to fit a climate model to; measure some.")
    x = _session_values(cells)
    notes: list[str] = []
    known = {s for s, v in x.items() if v[HUMIDITY] is not None}
    if 0 < len(known) < len(x):
        notes.append(f"{len(x) - len(known)} session(s) without humidity are left out.")
        cells, x = [c for c in cells if c.session in known], {s: x[s] for s in known}
    ranges = {
        name: (min(values), max(values))
        for name in (HUMIDITY, TEMPERATURE, DAMP)
        if (values := [v for one in x.values() if (v := one[name]) is not None])
    }
    if not known:
        notes.append("No humidity was recorded, so no slope against the climate can be fitted.")
    fitted, slopes, error = _choose(cells, x, ranges, left_out)
    can = bool(known) and _has_slope(fitted)
    if known and not can:
        where = f"within {_spread(ranges[HUMIDITY]):.0f} %RH"
        notes.append(
            ("There is one session only" if len(x) == 1 else f"All {len(x)} sessions lie {where}")
            + ", or none compares the same bag in two airs: no slope against humidity can be "
            "fitted. Measure in another climate."
        )
    elif can and len(x) < SESSIONS_FOR_OWN_SCATTER:
        notes.append(
            f"Only {_count(len(x), 'session')}: one slope for all, and the scatter between "
            f"sessions is partly a judgement ({JUDGED_SESSION_SD_DEG} °). Provisional."
        )
    variance, df = _between(fitted)
    return ClimateModel(
        fitted=fitted,
        slopes=slopes,
        provisional=len(x) < SESSIONS_FOR_OWN_SCATTER or not can,
        n_sessions=len(x),
        session_variance=variance,
        session_df=df,
        slope_known=can,
        left_out_rms_deg=error,
        ranges=ranges,
        notes=tuple(notes),
    )


def _between(fitted: ClimateFit) -> tuple[float, float]:
    """Variance between sessions with degrees of freedom; a judgement keeps it from being too small.

    Few sessions may agree by chance; taken at its word, that would make narrow intervals. Where
    they scatter more than judged, what they found stands, and the judgement counts for less: with
    one degree of freedom of its own an interval would be of no use to anybody.
    """
    found, df = fitted.variance_between, float(fitted.df_between)
    judged = (JUDGED_DF * JUDGED_SESSION_SD_DEG**2 + df * found) / (JUDGED_DF + df)
    if df > 0 and found > judged:
        return found, df + JUDGED_DF * JUDGED_SESSION_SD_DEG**2 / found
    return judged, JUDGED_DF + df


def _session_values(cells: Sequence[Cell]) -> dict[str, dict[str, float | None]]:
    by_session: dict[str, list[Cell]] = {}
    for cell in cells:
        by_session.setdefault(cell.session, []).append(cell)
    return {
        session: {
            HUMIDITY: mean_of([c.humidity_pct for c in own]),
            TEMPERATURE: mean_of([c.temperature_c for c in own]),
            DAMP: mean_of([c.damp_share for c in own]),
        }
        for session, own in by_session.items()
    }


def _choose(
    cells: list[Cell],
    x: dict[str, dict[str, float | None]],
    ranges: dict[str, tuple[float, float]],
    left_out: bool,
) -> tuple[ClimateFit, str, float | None]:
    """The fit with the predictors and slopes that the data allow, and its left-out error."""
    names = [HUMIDITY] if HUMIDITY in ranges else []
    if names and _spread(ranges[HUMIDITY]) < MIN_SPREAD[HUMIDITY]:
        best, label = fit(cells, _table(x, names), names, LADDER[0][1]), LADDER[0][0]
        return best, label, None
    for extra in (DAMP, TEMPERATURE):
        if (
            names
            and extra in ranges
            and len(x) >= SESSIONS_FOR_EXTRAS[extra]
            and _spread(ranges[extra]) >= MIN_SPREAD[extra]
            and all(one[extra] is not None for one in x.values())
        ):
            names.append(extra)
    best, label = _with_slopes(cells, x, names)
    return best, label, _left_out(cells, x, best) if names and left_out else None


def _with_slopes(
    cells: list[Cell], x: dict[str, dict[str, float | None]], names: Sequence[str]
) -> tuple[ClimateFit, str]:
    """Common slopes, unless an F test of the layer within sessions says that they differ."""
    table = _table(x, names)
    label, best = LADDER[0][0], fit(cells, table, names, LADDER[0][1])
    if len(x) < SESSIONS_FOR_OWN_SCATTER:
        return best, label
    for finer_label, by in LADDER[1:]:
        finer = fit(cells, table, names, by)
        df = best.df_own - finer.df_own
        if df < 1 or finer.df_own < 1 or finer.rss_own <= 0.0:
            continue
        f = (best.rss_own - finer.rss_own) / df / finer.variance_own
        if f_p(f, df, finer.df_own) < SLOPES_DIFFER_P:
            best, label = finer, finer_label
    return best, label


def _left_out(
    cells: list[Cell], x: dict[str, dict[str, float | None]], model: ClimateFit
) -> float | None:
    """Root mean square error of predicting each session from all others."""
    squares, n = 0.0, 0
    table = _table(x, model.predictors)
    for session in x:
        rest = [cell for cell in cells if cell.session != session]
        if not rest:
            return None
        other = fit(rest, table, model.predictors, model.class_of)
        if not _has_slope(other):
            return None
        point = np.array(table[session])
        for cell in cells:
            if cell.session == session and cell.unit in other.units:
                predicted = float(other.functional(cell.unit, point) @ other.theta)
                squares, n = squares + (cell.angle_deg - predicted) ** 2, n + 1
    return sqrt(squares / n) if n else None


def _has_slope(model: ClimateFit) -> bool:
    """Whether sessions that can be compared differ enough in humidity."""
    if not model.predictors:
        return False
    spread = float(np.abs(model.loadings[0]).max(initial=0.0))
    # A loading is x/Σx²: about 1/spread, so tiny spreads give huge loadings, none gives 0.
    return 0.0 < spread < 1.0 / MIN_SPREAD[model.predictors[0]]


def _table(x: dict[str, dict[str, float | None]], names: Sequence[str]) -> dict[str, list[float]]:
    return {s: [float(v) for n in names if (v := one[n]) is not None] for s, one in x.items()}


def _spread(limits: tuple[float, float]) -> float:
    return limits[1] - limits[0]


def _count(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"
