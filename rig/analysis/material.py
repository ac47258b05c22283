"""The check of the material: slides of one bag face at a second rate.

Laws within the family give one angle at every rate. An elastic contact moves it by an error that
grows as rate^(1/3), and friction that truly depends on the rate looks the same. So a difference
between two rates is reported and makes the angles more uncertain; it never moves them.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from statistics import fmean, median_low
from typing import NamedTuple

import msgspec

from rig.analysis.budget.parts import component_deg, root_sum_square
from rig.analysis.friction import RunAnalysis
from rig.analysis.row import RunResult, with_uncertainty
from rig.statistics.quantiles import t_quantile
from rig.statistics.satterthwaite import welch_satterthwaite
from rig.statistics.welch import welch

EXPONENT = 1.0 / 3.0
"""How the error of an elastic contact grows with the rate (`tests/bench/ONSET.md`)."""
NAME = "check of the material"

Face = tuple[str | None, str | None, str | None, str | None]
"""Bag, face, board and stage."""


class MaterialCheck(msgspec.Struct, frozen=True, kw_only=True):
    """Slide angles of one bag face at two rates, in the sessions that have both."""

    bag: str | None
    face: str | None
    board: str | None
    treatment_stage: str | None
    rate_deg_s: float
    check_rate_deg_s: float
    n_runs: int
    n_checks: int
    difference_deg: float
    """Mean angle at the check's rate less that at the measuring rate."""
    u_difference_deg: float
    """From the scatter of the slides and what the edges leave open at each rate."""
    lower_deg: float
    """95 % interval of the difference."""
    upper_deg: float
    widens_deg: float
    """Standard uncertainty that it adds to each angle of this face, at this stage."""

    def sentence(self) -> str:
        """What was found, for people."""
        names = (self.bag, self.face, self.treatment_stage)
        found = (
            f"{', '.join(['Check of the material', *(name for name in names if name)])}:"
            f" {self.check_rate_deg_s:g} °/s less {self.rate_deg_s:g} °/s"
            f" {self.difference_deg:+.2f}° (95 %: {self.lower_deg:+.2f} to {self.upper_deg:+.2f}°;"
            f" {self.n_checks} and {self.n_runs} slides)"
        )
        if self.widens_deg == 0.0:
            return f"{found}, no more than chance. Nothing is changed."
        return (
            f"{found}. Friction that gives way before it slides and friction that depends on the"
            f" rate look the same, so no angle is corrected; each is ±{self.widens_deg:.2f}° less"
            " certain (standard uncertainty)."
        )


class RatedSlide(NamedTuple):
    """One slide that counts, as far as a check needs it."""

    face: Face
    session: str | None
    rate_deg_s: float
    angle_deg: float
    u_deg: float
    """Standard uncertainty for comparing."""
    is_check: bool


class _Compared(NamedTuple):
    rate: float
    check_rate: float
    n_runs: int
    n_checks: int
    difference: float
    u: float
    dof: float


def rated_slides(rows: Iterable[RunResult]) -> list[RatedSlide]:
    """The runs of a rig that count."""
    return [
        RatedSlide(
            face=_face_of(row),
            session=row.session,
            rate_deg_s=row.rate_deg_s,
            angle_deg=row.onset_angle_deg,
            u_deg=row.u_onset_angle_deg or 0.0,
            is_check=row.purpose == "check",
        )
        for row in rows
        if row.valid and row.onset_angle_deg is not None and row.onset_method != "by_hand"
    ]


def _face_of(row: RunResult) -> Face:
    return row.bag, row.face, row.board, row.treatment_stage


def material_checks(slides: Iterable[RatedSlide]) -> list[MaterialCheck]:
    """The checks that slides hold.

    Args:
        slides: those that check the material are set against the others of their bag face, board,
            stage and session that were made at the rate most used there.

    Returns:
        One for each bag face, board and stage with two slides or more of each kind in a session.
    """
    sessions: dict[Face, dict[str | None, list[RatedSlide]]] = {}
    for slide in slides:
        sessions.setdefault(slide.face, {}).setdefault(slide.session, []).append(slide)
    checks = []
    for face, by_session in sessions.items():
        found = [one for runs in by_session.values() if (one := _compared(runs)) is not None]
        if found:
            checks.append(_together(face, found))
    return checks


def _compared(slides: Sequence[RatedSlide]) -> _Compared | None:
    level = [one for one in slides if not one.is_check]
    checking = [one for one in slides if one.is_check]
    if not level or not checking:
        return None
    rate, check_rate = _most_used(level), _most_used(checking)
    level = [one for one in level if one.rate_deg_s == rate]
    checking = [one for one in checking if one.rate_deg_s == check_rate]
    means = welch([one.angle_deg for one in level], [one.angle_deg for one in checking])
    if means is None or rate == check_rate:
        return None
    left_open = [fmean(one.u_deg for one in some) for some in (level, checking)]
    u = root_sum_square([means.u, *left_open])
    dof = welch_satterthwaite([(means.u, means.df), *((one, math.inf) for one in left_open)])
    return _Compared(rate, check_rate, len(level), len(checking), means.difference, u, dof)


def _most_used(slides: Sequence[RatedSlide]) -> float:
    rates = sorted(one.rate_deg_s for one in slides)
    return max(dict.fromkeys(rates), key=rates.count)


def _together(face: Face, found: Sequence[_Compared]) -> MaterialCheck:
    """The mean of the sessions, each by what it knows; their systematic parts are not averaged."""
    rate, check_rate = found[-1].rate, found[-1].check_rate
    same = [one for one in found if (one.rate, one.check_rate) == (rate, check_rate)]
    weights = [1.0 / max(one.u, 1e-6) ** 2 for one in same]
    mean = math.fsum(w * one.difference for w, one in zip(weights, same, strict=True))
    mean /= math.fsum(weights)
    u, dof = median_low(one.u for one in same), min(one.dof for one in same)
    half = t_quantile(0.975, dof) * u
    bag, name, board, stage = face
    return MaterialCheck(
        bag=bag,
        face=name,
        board=board,
        treatment_stage=stage,
        rate_deg_s=rate,
        check_rate_deg_s=check_rate,
        n_runs=sum(one.n_runs for one in same),
        n_checks=sum(one.n_checks for one in same),
        difference_deg=mean,
        u_difference_deg=u,
        lower_deg=mean - half,
        upper_deg=mean + half,
        widens_deg=_widens(mean, u, rate, check_rate),
    )


def _widens(difference: float, u: float, rate: float, check_rate: float) -> float:
    """Standard uncertainty at a rate from what a difference shows beyond its own uncertainty.

    An error k·rate^(1/3) makes a difference of k·(check^(1/3) − rate^(1/3)); as far as the rate
    truly matters there is none. So it lies anywhere between none and that: rectangular.
    """
    excess = math.sqrt(max(0.0, difference**2 - u**2))
    error, at_check = math.pow(rate, EXPONENT), math.pow(check_rate, EXPONENT)
    return excess * error / abs(at_check - error) / math.sqrt(3.0)


def widened(analyses: Sequence[RunAnalysis], checks: Sequence[MaterialCheck]) -> list[RunAnalysis]:
    """The analyses, those of a face that was checked with what the check adds to their budget."""
    known = {(one.bag, one.face, one.board, one.treatment_stage): one for one in checks}
    return [_widened(analysis, known) for analysis in analyses]


def _widened(analysis: RunAnalysis, known: Mapping[Face, MaterialCheck]) -> RunAnalysis:
    check = known.get(_face_of(analysis.result))
    if check is None or analysis.budget is None or analysis.result.onset_method == "by_hand":
        return analysis
    row = msgspec.structs.replace(analysis.result, friction_law="checked")
    if check.widens_deg == 0.0:
        return analysis._replace(result=row)
    # Of each bag's own friction, so nothing of it cancels in a difference.
    part = component_deg(NAME, check.widens_deg, "series", "rectangular")
    budget = msgspec.structs.replace(
        analysis.budget, components=[*analysis.budget.components, part]
    )
    return analysis._replace(result=with_uncertainty(row, budget), budget=budget)
