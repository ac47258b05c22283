"""Run requests of a series, from a person's options and the settings."""

from datetime import datetime
from typing import Literal

import msgspec

from rig.control.request import RunRequest
from rig.procedures.rates import balanced_order
from rig.settings.model import Settings


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

    With `rates_deg_s` there are `repeat` at each of these rates, in a balanced random order.
    The session is named after the day and the series after the minute unless named otherwise.
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
    order = [first.rate_deg_s] * repeat
    if rates_deg_s:
        order = balanced_order(rates_deg_s, repeat, first.series or "")
    return [
        msgspec.structs.replace(first, rate_deg_s=rate, repeat=i, slide_number=i)
        for i, rate in enumerate(order, start=1)
    ]
