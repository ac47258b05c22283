"""Runs that measured the same thing, taken together without pretending they are independent.

The runs of one series share a mounting and an hour, the series of one session a climate. So the
scatter of the top layer that has more than one member (sessions, else series, else runs) carries
the uncertainty of the mean; what lies above it is not in it, and `scope` says so.
"""

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import msgspec
import numpy as np

from rig.analysis.budget.parts import root_sum_square
from rig.analysis.friction import RunAnalysis
from rig.analysis.row import RunResult
from rig.statistics.satterthwaite import coverage_factor, welch_satterthwaite
from rig.statistics.trend import common_slope

SAME_CLIMATE_K = 2.0
SAME_CLIMATE_PCT = 4.0
"""Sessions whose air differs by no more are one climate (the tolerances of ISO 139:2005)."""


class GroupResult(msgspec.Struct, frozen=True, kw_only=True):
    """The mean of the valid runs of one bag face on one board in one climate at one rate."""

    bag: str | None
    face: str | None
    set: str | None
    board: str | None
    treatment_stage: str | None
    rate_deg_s: float
    temperature_c: float | None
    relative_humidity_pct: float | None
    n_runs: int
    n_series: int
    n_sessions: int
    mean_mu_static: float
    mean_onset_angle_deg: float
    first: float | None
    """µs of the first slide of a series, mean over the series."""
    third: float | None
    rest: float | None
    """Mean µs of all later slides than the third."""
    trend_p: float | None
    """Probability of so strong a trend over the slides of a series by chance; None: too few."""
    u_repeat: float
    """Part of the mean's standard uncertainty (of µs) that shrinks with more runs."""
    u_series: float | None
    """Part that shrinks only with more series or sessions; None: not known from one series."""
    u_common: float
    """Part that no repeat shrinks."""
    k: float
    """Coverage factor for 95 %."""
    expanded_mu_static: float
    scope: str


class Group(NamedTuple):
    """A group with what it was made of."""

    result: GroupResult
    analyses: list[RunAnalysis]
    weights: list[float]
    """Of each run in the mean; their sum is 1."""
    dof_repeat: float
    dof_series: float
    """Degrees of freedom of `u_repeat` and of the means that the mean is made of."""


class _Run(msgspec.Struct, frozen=True):
    analysis: RunAnalysis
    row: RunResult
    mu: float
    angle_deg: float
    u_run: float
    u_shared: float
    session: str
    series: str


def group_runs(analyses: Iterable[RunAnalysis]) -> list[GroupResult]:
    """Group the valid runs; those that check the material or whose gap is unknown are left out."""
    return [group.result for group in make_groups(analyses)]


def make_groups(analyses: Iterable[RunAnalysis]) -> list[Group]:
    """The same, each with the runs that it was made of."""
    by_key: dict[tuple[object, ...], list[_Run]] = {}
    for analysis in analyses:
        run = _usable(analysis)
        if run is not None:
            row = run.row
            key = (row.bag, row.face, row.set, row.board, row.treatment_stage, row.rate_deg_s)
            by_key.setdefault(key, []).append(run)
    groups = []
    for climate in (climate for runs in by_key.values() for climate in _by_climate(runs)):
        ways = _by_way(climate)
        groups += [_summary(ways[way], f", {way}" if len(ways) > 1 else "") for way in ways]
    return groups


def _by_way(runs: list[_Run]) -> dict[str, list[_Run]]:
    """Blade and hand placing apart, quick and whole raises too: `rig.analysis.placing` compares."""
    ways: dict[str, list[_Run]] = {}
    for run in runs:
        header = run.analysis.run.header
        quick = "" if header.approach_deg is None else ", quick"
        ways.setdefault(f"by {header.placing}{quick}", []).append(run)
    return ways


def _usable(analysis: RunAnalysis) -> _Run | None:
    row, budget = analysis.result, analysis.budget
    if not row.valid or row.mu_static is None or row.onset_angle_deg is None or budget is None:
        return None
    if row.purpose == "check":
        return None
    if "gap_unknown" in row.flags and row.onset_method == "one_edge":
        return None
    session = row.session or analysis.run.header.started_at[:10]
    return _Run(
        analysis,
        row,
        row.mu_static,
        row.onset_angle_deg,
        budget.u_mu_static(("run",)),
        budget.u_mu_static(("series", "common")),
        session,
        f"{session}/{row.series or ''}",
    )


def _by_climate(runs: list[_Run]) -> list[list[_Run]]:
    """Split by climate, session by session in the order they come."""
    climates: list[list[_Run]] = []
    for session in dict.fromkeys(run.session for run in runs):
        members = [run for run in runs if run.session == session]
        for climate in climates:
            if _same_climate(climate, members):
                climate.extend(members)
                break
        else:
            climates.append(members)
    return climates


def _same_climate(one: list[_Run], other: list[_Run]) -> bool:
    for key, limit in (
        ("temperature_c", SAME_CLIMATE_K),
        ("relative_humidity_pct", SAME_CLIMATE_PCT),
    ):
        a, b = _mean_of(one, key), _mean_of(other, key)
        if (a is None) != (b is None) or (a is not None and b is not None and abs(a - b) > limit):
            return False
    return True


def _mean_of(runs: Sequence[_Run], key: str) -> float | None:
    values = [value for run in runs if (value := getattr(run.row, key)) is not None]
    return math.fsum(values) / len(values) if values else None


def _summary(runs: list[_Run], way: str) -> Group:
    series = _split(runs, "series")
    sessions = _split(runs, "session")
    if len(sessions) > 1:
        units, scope = sessions, f"this bag face, {len(sessions)} sessions"
    elif len(series) > 1:
        units, scope = series, f"this session, {len(series)} mountings"
    else:
        units, scope = [[run] for run in runs], "this mounting, this hour"
    means = np.array([np.mean([run.mu for run in unit]) for unit in units])
    mean = float(means.mean())
    mean_angle = float(np.mean([np.mean([run.angle_deg for run in unit]) for unit in units]))

    within = math.fsum(float(np.var([r.mu for r in s]) * len(s)) for s in series)
    dof_within = len(runs) - len(series)
    # In the order of the units, as are the weights.
    runs = [run for unit in units for run in unit]
    weights = [1.0 / (len(units) * len(unit)) for unit in units for _ in unit]
    if dof_within > 0:
        u_repeat = math.sqrt(within / dof_within) * root_sum_square(weights)
    else:
        # Every series has one run: its budget is all that is known of the scatter.
        u_repeat = root_sum_square(
            run.u_run * weight for run, weight in zip(runs, weights, strict=True)
        )
    u_common = math.fsum(run.u_shared for run in runs) / len(runs)
    u_series: float | None = None
    dof = float(dof_within) if dof_within > 0 else math.inf
    u_mean = u_repeat
    if len(series) > 1:
        dof = float(len(units) - 1)
        u_units = float(means.std(ddof=1)) / math.sqrt(len(units))
        u_series = math.sqrt(max(u_units**2 - u_repeat**2, 0.0))
        u_mean = max(u_units, u_repeat)
    k = coverage_factor(max(1.0, welch_satterthwaite([(u_mean, dof), (u_common, math.inf)])))
    row = runs[0].row
    result = GroupResult(
        bag=row.bag,
        face=row.face,
        set=row.set,
        board=row.board,
        treatment_stage=row.treatment_stage,
        rate_deg_s=row.rate_deg_s,
        temperature_c=_mean_of(runs, "temperature_c"),
        relative_humidity_pct=_mean_of(runs, "relative_humidity_pct"),
        n_runs=len(runs),
        n_series=len(series),
        n_sessions=len(sessions),
        mean_mu_static=mean,
        mean_onset_angle_deg=mean_angle,
        first=_slides(runs, 1, 1),
        third=_slides(runs, 3, 3),
        rest=_slides(runs, 4, None),
        trend_p=trend_p(series_slides(series)),
        u_repeat=u_repeat,
        u_series=u_series,
        u_common=u_common,
        k=k,
        expanded_mu_static=k * math.hypot(u_mean, u_common),
        scope=scope + way,
    )
    dof_repeat = float(dof_within) if dof_within > 0 else math.inf
    return Group(result, [run.analysis for run in runs], weights, dof_repeat, len(units) - 1.0)


def _split(runs: list[_Run], key: str) -> list[list[_Run]]:
    parts: dict[str, list[_Run]] = {}
    for run in runs:
        parts.setdefault(getattr(run, key), []).append(run)
    return list(parts.values())


def _slides(runs: list[_Run], low: int, high: int | None) -> float | None:
    values = [
        run.mu
        for run in runs
        if run.row.slide_number is not None
        and run.row.slide_number >= low
        and (high is None or run.row.slide_number <= high)
    ]
    return math.fsum(values) / len(values) if values else None


def series_slides(series: list[list[_Run]]) -> list[list[tuple[float, float]]]:
    """Slide number and µs of each run, series by series."""
    return [
        [(float(r.row.slide_number), r.mu) for r in runs if r.row.slide_number is not None]
        for runs in series
    ]


def trend_p(series: list[list[tuple[float, float]]]) -> float | None:
    """Two-sided p of the common slope of µs against slide number, each series with its own level.

    None with fewer than two degrees of freedom.
    """
    found = common_slope(series)
    return None if found is None or found.df < 2 else found.p
