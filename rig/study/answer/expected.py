"""What fresh slides say beside what was expected of them, before the model has them."""

from collections.abc import Sequence
from math import sqrt
from statistics import fmean

from msgspec import Struct

from rig.quantities.figures import fixed
from rig.study.answer.answer import HALF_WIDTH
from rig.study.answer.check import kept_between, use_at_deg
from rig.study.plan.trial import Scatter

SURPRISING = 2.5
"""So many standard deviations from the forecast a series makes one look again; judged."""


class Expected(Struct, frozen=True, kw_only=True):
    """A bag face as the answer has it; angles in degrees, an interval of 95 %."""

    bag: str
    face: str
    angle_deg: float
    lower_deg: float
    upper_deg: float
    target_deg: float | None
    tolerance_deg: float | None


def surprise(one: Expected, scatter: Scatter, angles_deg: Sequence[float]) -> str:
    """The question about a series far from its forecast; empty where it is not."""
    own = (one.upper_deg - one.lower_deg) / (2.0 * HALF_WIDTH)
    layers = scatter.session_deg**2 + scatter.series_deg**2
    spread = sqrt(own**2 + layers + scatter.run_deg**2 / len(angles_deg))
    away = fmean(angles_deg) - one.angle_deg
    if abs(away) < SURPRISING * spread:
        return ""
    way = "below" if away < 0.0 else "above"
    return (
        f"{fixed(abs(away), 1)}° {way} what {one.bag} did before on its {one.face} face."
        " Right bag? Right face?"
    )


def shift_words(bags: Sequence[Expected], pick: Expected, median_deg: float) -> str:
    """What slides of the pick say of the day's board, and which bag to use on it."""
    if pick.target_deg is None or pick.tolerance_deg is None:
        return ""
    low, high = kept_between(pick.target_deg, pick.tolerance_deg)
    best = pick
    if not low <= median_deg <= high:

        def away(target_deg: float, one: Expected) -> float:
            return abs(median_deg - use_at_deg(pick.angle_deg, one.angle_deg, target_deg))

        aims = [(one.target_deg, one) for one in bags if one.target_deg is not None]
        best = min(aims, key=lambda aim: away(*aim))[1]
    shift = median_deg - pick.angle_deg
    by = fixed(abs(shift), 1)
    found = "Bags slide here as expected."
    if by != "0.0":
        when, way = ("earlier", "slicker") if shift < 0.0 else ("later", "slower")
        found = f"Here bags slide {by}° {when} than expected: this board is {way} today."
    return f"{found} Use {best.bag}, {best.face}."
