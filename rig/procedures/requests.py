"""Run requests of a series, from a person's options and the settings."""

from collections.abc import Sequence
from datetime import datetime
from typing import Literal

import msgspec

from rig.control.request import RunRequest
from rig.procedures.rates import balanced_order
from rig.settings.checks import check_rate
from rig.settings.model import Settings
from rig.sliding import QUICK_DEG_S, WHOLE_DEG_S, check_rate_deg_s


def plan_series(
    settings: Settings,
    repeat: int,
    *,
    source: Literal["rig", "twin"],
    started: datetime,
    rate_deg_s: float | None = None,
    rates_deg_s: tuple[float, ...] = (),
    dwell_s: float | None = None,
    gap_mm: float | None = None,
    bag: str | None = None,
    face: str | None = None,
    board: str | None = None,
    session: str | None = None,
    operator: str | None = None,
    purpose: Literal["bridge", "check"] | None = None,
) -> list[RunRequest]:
    """`repeat` equal requests, numbered; None takes the settings' value.

    With `rates_deg_s` there are `repeat` at each of these rates, in a balanced random order: the
    first is measured at, the others check the material. The purpose `bridge` makes `repeat` in each
    of two ways, whole and with a quick start, in such an order; the purpose `check` makes all at
    another rate than the settings'. The session is named after the day and the series after the
    minute unless named otherwise.

    Raises:
        BadInputError: the pulses cannot make the rate of a bridging series or of a check.
    """
    first = RunRequest(
        rate_deg_s=settings.motion.rate_deg_s if rate_deg_s is None else rate_deg_s,
        dwell_s=settings.cycle.dwell_s if dwell_s is None else dwell_s,
        gap_mm=settings.bag.gap_mm if gap_mm is None else gap_mm,
        u_gap_mm=settings.bag.u_gap_mm,
        bag_length_mm=settings.bag.length_mm,
        u_bag_length_mm=settings.bag.u_length_mm,
        bag=bag,
        face=face,
        board=board,
        operator=operator,
        purpose=purpose,
        session=session or f"{started:%Y-%m-%d}",
        series=f"{started:%Y-%m-%dT%H:%M:%SZ}",
        source=source,
    )
    order = [first] * repeat
    if rates_deg_s:
        order = balanced_order(_at_rates(first, rates_deg_s), repeat, first.series or "")
    elif purpose == "bridge":
        order = balanced_order(_both_ways(first, rate_deg_s), repeat, first.series or "")
    elif purpose == "check" and rate_deg_s is None:
        rate = check_rate_deg_s(first.rate_deg_s)
        order = [msgspec.structs.replace(first, rate_deg_s=rate)] * repeat
    for one in order if purpose is not None else ():
        check_rate(settings, one.rate_deg_s, f"The rate of a {purpose} series")
    return [
        msgspec.structs.replace(one, repeat=i, slide_number=i) for i, one in enumerate(order, 1)
    ]


def _at_rates(first: RunRequest, rates_deg_s: Sequence[float]) -> tuple[RunRequest, ...]:
    measured, *others = rates_deg_s
    return (
        msgspec.structs.replace(first, rate_deg_s=measured),
        *(msgspec.structs.replace(first, rate_deg_s=one, purpose="check") for one in others),
    )


def _both_ways(first: RunRequest, quick_deg_s: float | None) -> tuple[RunRequest, RunRequest]:
    quick = QUICK_DEG_S if quick_deg_s is None else quick_deg_s
    return (
        msgspec.structs.replace(first, rate_deg_s=WHOLE_DEG_S, raise_start="whole"),
        msgspec.structs.replace(first, rate_deg_s=quick, raise_start="quick"),
    )
