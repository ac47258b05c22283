"""The friction law's share of the onset angle, from runs of one face at several raise rates.

Friction that falls gradually as sliding starts makes the solved onset late by an angle that grows
as rate^(2/3): while the bag starts from rest with nearly balanced forces it moves as g·ω·t³/6, so
the time that it hides is as ω^(-1/3) and the angle in it as ω^(2/3). A straight line of the onset
angle against rate^(2/3) therefore has the angle free of that error as its intercept.

Contact ageing bends the line without showing: a slow raise rests longer, static friction grows with
the logarithm of the time of contact, and over a few rates that looks like a slope of its own. So an
allowance for it enters the uncertainty, from the times of contact that the runs really had.
"""

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from rig.analysis.angle.plane import Array
from rig.analysis.budget.parts import Component, Layer, root_sum_square
from rig.analysis.friction import RunAnalysis
from rig.analysis.row import with_uncertainty
from rig.statistics.satterthwaite import coverage_factor, welch_satterthwaite

MIN_RATES = 3
"""With two rates a line always holds."""
MIN_RUNS = 3
"""At each rate."""
EXPONENT = 2.0 / 3.0
DOUBT_P = 0.05

AGEING_PCT = 2.5
"""Growth of static friction per tenfold time of contact lies between 0 and this. Judgement: that it
grows with the logarithm is well known, how fast in bags of fabric is not."""

LAW, STUDY, AGEING = (
    "friction law, rate-free",
    "friction law, rate study",
    "contact ageing, rate study",
)


class AtRate(msgspec.Struct, frozen=True, kw_only=True):
    """What the study says of the runs at one rate."""

    rate_deg_s: float
    n_runs: int
    mean_angle_deg: float
    shift_deg: float
    """The friction law's part of the angle: slope times rate^(2/3)."""
    u_shift_deg: float
    """Its standard uncertainty, together with what the mean angle's error has to do with it."""
    u_ageing_deg: float
    u_with_deg: float
    """Standard uncertainty of the mean angle, all components, with the study."""
    u_without_deg: float
    used: bool


class RateStudy(msgspec.Struct, frozen=True, kw_only=True):
    """One face on one board in one session, raised at several rates."""

    bag: str | None
    face: str | None
    board: str | None
    treatment_stage: str | None
    session: str
    n_series: int
    intercept_deg: float
    """Onset angle at rate 0, mean over the series."""
    u_intercept_deg: float
    slope_deg: float
    """The friction law's part at 1 °/s."""
    u_slope_deg: float
    dof: float
    lack_of_fit_p: float
    """Probability of so bent a line by chance, were it straight."""
    line_holds: bool
    ageing_slope_deg: float
    """Slope that friction growing by 1 % per tenfold time of contact would feign."""
    rates: list[AtRate]

    @property
    def used(self) -> bool:
        """Whether any result was shifted by it."""
        return any(at.used for at in self.rates)


def rate_studies(analyses: Sequence[RunAnalysis]) -> list[RateStudy]:
    """Every study that the runs hold: one face, board, stage and session at three rates or more."""
    return [found for runs in _candidates(analyses) if (found := _study(runs)) is not None]


def apply_studies(
    analyses: Sequence[RunAnalysis], studies: Sequence[RateStudy]
) -> list[RunAnalysis]:
    """The analyses, shifted to the intercept where a study makes the uncertainty smaller."""
    known = {(*_names(study), study.session): study for study in studies}
    return [_shifted(analysis, known.get(_key(analysis))) for analysis in analyses]


def _key(analysis: RunAnalysis) -> tuple[str | None, ...]:
    session = analysis.result.session or analysis.run.header.started_at[:10]
    return (*_names(analysis.result), session)


def _names(one: object) -> tuple[str | None, ...]:
    return tuple(getattr(one, key) for key in ("bag", "face", "board", "treatment_stage"))


def _is_usable(analysis: RunAnalysis) -> bool:
    row = analysis.result
    return (
        row.valid
        and row.onset_angle_deg is not None
        and analysis.budget is not None
        and any(part.name == LAW for part in analysis.budget.components)
        and row.onset_method != "one_edge"
    )


def _candidates(analyses: Sequence[RunAnalysis]) -> list[list[RunAnalysis]]:
    """Usable runs by face, board, stage and session, of rates with enough runs."""
    by_key: dict[tuple[str | None, ...], list[RunAnalysis]] = {}
    for analysis in analyses:
        if _is_usable(analysis):
            by_key.setdefault(_key(analysis), []).append(analysis)
    found = []
    for runs in by_key.values():
        rates = [run.result.rate_deg_s for run in runs]
        kept = [run for run in runs if rates.count(run.result.rate_deg_s) >= MIN_RUNS]
        if len({run.result.rate_deg_s for run in kept}) >= MIN_RATES:
            found.append(kept)
    return found


class _Data:
    """The runs of one study as arrays: angle, rate, series, and the scatter at each rate."""

    def __init__(self, runs: list[RunAnalysis]) -> None:
        self.runs = runs
        self.angle = np.array([run.result.onset_angle_deg for run in runs], dtype=float)
        self.rate = np.array([run.result.rate_deg_s for run in runs])
        self.levels, self.at = np.unique(self.rate, return_inverse=True)
        names = [run.result.series or "" for run in runs]
        self.series = np.array(
            [[name == one for one in dict.fromkeys(names)] for name in names], float
        )
        self.x = self.rate**EXPONENT
        by_rate = np.eye(len(self.levels))[self.at]
        # Series have levels of their own, and so has each rate: what is left is pure scatter.
        self.saturated = np.hstack([self.series, by_rate[:, 1:]])
        self.line = np.hstack([self.series, self.x[:, None]])

    def is_sound(self) -> bool:
        """False where rates and series can't be told apart, or nothing is left for the scatter."""
        columns = self.saturated.shape[1]
        rank = int(np.linalg.matrix_rank(self.saturated))
        return bool(rank == columns) and len(self.runs) >= columns + 3

    def scatter(self) -> tuple[Array, Array]:
        """Variance of one run and its degrees of freedom at each rate: fast raises scatter more."""
        solution, *_ = np.linalg.lstsq(self.saturated, self.angle, rcond=None)
        rest = self.angle - self.saturated @ solution
        n = np.bincount(self.at).astype(float)
        dof = n * (1.0 - self.saturated.shape[1] / len(self.angle))
        return np.bincount(self.at, rest * rest) / dof, dof


def _study(runs: list[RunAnalysis]) -> RateStudy | None:
    data = _Data(runs)
    if not data.is_sound():
        return None
    variance, dof_at = data.scatter()
    each = variance[data.at]
    solve = np.linalg.inv(data.line.T @ data.line) @ data.line.T
    solution = solve @ data.angle
    n_series = data.series.shape[1]
    # The intercept is the mean of the series' levels; the slope comes last.
    of_intercept, of_slope = solve[:n_series].mean(axis=0), solve[n_series]
    parts = np.bincount(data.at, of_slope**2 * each)
    dof = welch_satterthwaite(zip(np.sqrt(parts).tolist(), dof_at.tolist(), strict=True))
    dof = min(dof, float(dof_at.sum()))
    slope, var_slope = float(solution[n_series]), float(parts.sum())
    p_value = _lack_of_fit_p(data, each, dof)
    ageing = float(of_slope @ [_ageing_deg(run) for run in runs])
    holds = p_value >= DOUBT_P
    rates = [
        _at_rate(data, k, slope, var_slope, of_slope, each, dof, ageing, holds)
        for k in range(len(data.levels))
    ]
    bag, face, board, stage = _names(runs[0].result)
    return RateStudy(
        bag=bag,
        face=face,
        board=board,
        treatment_stage=stage,
        session=_key(runs[0])[-1] or "",
        n_series=n_series,
        intercept_deg=float(solution[:n_series].mean()),
        u_intercept_deg=math.sqrt(float(of_intercept**2 @ each)),
        slope_deg=slope,
        u_slope_deg=math.sqrt(var_slope),
        dof=dof,
        lack_of_fit_p=p_value,
        line_holds=holds,
        ageing_slope_deg=ageing,
        rates=rates,
    )


def _lack_of_fit_p(data: _Data, each: Array, dof: float) -> float:
    """Whether the means of the rates lie on a line: a Wald test, with each rate's own scatter."""
    from scipy.special import fdtrc

    solve = np.linalg.inv(data.saturated.T @ data.saturated) @ data.saturated.T
    n_series = data.series.shape[1]
    effects = np.concatenate([[0.0], (solve @ data.angle)[n_series:]])
    covariance = np.zeros((len(effects), len(effects)))
    covariance[1:, 1:] = ((solve * each) @ solve.T)[n_series:, n_series:]
    straight = np.stack([np.ones(len(effects)), data.levels**EXPONENT], axis=1)
    left, _, _ = np.linalg.svd(straight)
    bends = left[:, 2:].T
    off = bends @ effects
    size = float(off @ np.linalg.solve(bends @ covariance @ bends.T, off)) / len(off)
    return float(fdtrc(len(off), max(dof, 1.0), size))


def _ageing_deg(run: RunAnalysis) -> float:
    """Degrees that 1 % per tenfold time of contact has added, up to a constant."""
    row, angle = run.result, math.radians(run.result.onset_angle_deg or 0.0)
    begun = run.run.first_event("raise_started")
    raised_s = math.degrees(angle) / row.rate_deg_s
    if run.solved is not None and begun is not None:
        raised_s = max(0.0, run.solved.onset_s - begun.t_s)
    contact_s = max(row.dwell_s + raised_s, 0.1)
    per_part = math.degrees(math.tan(angle) * math.cos(angle) ** 2)
    return 0.01 * per_part * math.log10(contact_s)


def _at_rate(
    data: _Data,
    k: int,
    slope: float,
    var_slope: float,
    of_slope: Array,
    each: Array,
    dof: float,
    ageing: float,
    holds: bool,
) -> AtRate:
    chosen = data.at == k
    n, x = int(chosen.sum()), float(data.levels[k] ** EXPONENT)
    mean_slope = float(of_slope[chosen] @ each[chosen]) / n
    variance = max(x * x * var_slope - 2.0 * x * mean_slope, 0.0)
    # A scatter seen in few runs counts as if it were known, once widened by Student's t.
    u_shift = math.sqrt(variance) * coverage_factor(max(dof, 1.0)) / coverage_factor(math.inf)
    u_ageing = AGEING_PCT / math.sqrt(3.0) * abs(x * ageing)
    runs = [run for run, is_in in zip(data.runs, chosen, strict=True) if is_in]
    budgets = [run.budget for run in runs if run.budget is not None]
    layers: tuple[Layer, ...] = ("series", "common")
    rest = np.mean([budget.u_onset_angle_deg(layers, without=(LAW,)) for budget in budgets])
    law = np.mean([_law_of(run).u_theta_deg for run in runs])
    u_mean = math.sqrt(float(each[chosen][0]) / n)
    u_with = root_sum_square([u_mean, float(rest), u_shift, u_ageing])
    u_without = root_sum_square([u_mean, float(rest), float(law)])
    return AtRate(
        rate_deg_s=float(data.levels[k]),
        n_runs=n,
        mean_angle_deg=float(data.angle[chosen].mean()),
        shift_deg=slope * x,
        u_shift_deg=u_shift,
        u_ageing_deg=u_ageing,
        u_with_deg=u_with,
        u_without_deg=u_without,
        used=holds and u_with < u_without,
    )


def _law_of(run: RunAnalysis) -> Component:
    assert run.budget is not None  # noqa: S101 - only usable runs come here
    return next(part for part in run.budget.components if part.name == LAW)


def _shifted(analysis: RunAnalysis, study: RateStudy | None) -> RunAnalysis:
    """One run with the study in place of the allowance for the friction law."""
    row, budget = analysis.result, analysis.budget
    if study is None or not _is_usable(analysis) or budget is None or row.onset_angle_deg is None:
        return analysis
    at = next((one for one in study.rates if one.rate_deg_s == row.rate_deg_s), None)
    if at is None or not at.used:
        return analysis
    law = _law_of(analysis)

    def part(name: str, u: float, kinetic: float) -> Component:
        # Each study is its own group's: in a difference of two faces nothing of it cancels.
        return Component(
            name=name,
            u_value=u,
            unit="deg",
            distribution="normal",
            sensitivity=1.0,
            u_theta_deg=u,
            u_mu_kinetic=kinetic,
            layer="series",
        )

    angle = row.onset_angle_deg - at.shift_deg
    kept = [one for one in budget.components if one.name != LAW]
    # The kinetic coefficient is not corrected, so it keeps the law's allowance.
    parts = [part(STUDY, at.u_shift_deg, law.u_mu_kinetic), part(AGEING, at.u_ageing_deg, 0.0)]
    budget = msgspec.structs.replace(budget, onset_angle_deg=angle, components=[*kept, *parts])
    row = msgspec.structs.replace(
        row,
        onset_angle_deg=angle,
        mu_static=math.tan(math.radians(angle)),
        friction_law="rate_study",
    )
    return analysis._replace(result=with_uncertainty(row, budget), budget=budget)
