"""Slide angles that a person read off, away from the rig."""

import math

import msgspec

from rig.analysis.budget.parts import Budget, component_deg
from rig.analysis.row import RunResult, empty_row, number, with_uncertainty
from rig.runfile.model import INVALIDATING, Flag
from rig.runfile.reader import RunFile

U_READING_DEG = 0.5
"""Standard uncertainty of a reading that comes without one."""


def hand_result(run: RunFile, flags: list[Flag]) -> tuple[RunResult, Budget | None]:
    """A slide angle that a person read off: event `hand_reading` {"angle_deg", "u_angle_deg"}."""
    readings = [event.detail for event in run.events if event.event == "hand_reading"]
    angle = number(readings[-1].get("angle_deg")) if readings else None
    if angle is None:
        return empty_row(run, [*flags, "no_slide"]), None
    u_angle = number(readings[-1].get("u_angle_deg"))
    u_angle = U_READING_DEG if u_angle is None else u_angle
    part = component_deg("reading", u_angle, "run")
    budget = Budget(onset_angle_deg=angle, components=[part])
    row = empty_row(run, flags)
    row = msgspec.structs.replace(
        row,
        valid=not INVALIDATING.intersection(row.flags),
        onset_angle_deg=angle,
        mu_static=math.tan(math.radians(angle)),
        onset_method="by_hand",
    )
    return with_uncertainty(row, budget), budget
