"""Checks of one run that only flag it."""

import math

from rig.analysis.angle import Ramp
from rig.analysis.budget import Variation, u_misfit_mm, u_solved_mm
from rig.analysis.edges import MOST_EDGES, BeamRecord
from rig.analysis.estimate import Geometry, Solved
from rig.calibration.model import Calibration
from rig.files.stamps import parse_utc
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile

HOME_DEG = 0.3
"""A home reading further than this from the calibration's is flagged `floor_tilt`."""

PLAUSIBLE_RATIO = 0.2
"""A kinetic coefficient below this part of the static one says that the law doesn't fit."""


def check_home(run: RunFile, calibration: Calibration, flags: list[Flag]) -> None:
    """Flag an overdue calibration, and a floor that stands otherwise than at the calibration."""
    try:
        if parse_utc(run.header.started_at) > parse_utc(calibration.due_at):
            flags.append("calibration_overdue")
    except ValueError:
        run.problems.append(f"{run.path.name} has a time stamp that can't be read.")
    home = run.first_event("home_reading")
    if home is None:
        return
    for key, expected in (
        ("angle_deg", calibration.home_angle_deg),
        ("cross_deg", calibration.home_cross_deg),
    ):
        value = home.detail.get(key)
        if isinstance(value, int | float) and abs(value - expected) > HOME_DEG:
            flags.append("floor_tilt")


def check_beams(run: RunFile, records: list[BeamRecord], raise_s: float, flags: list[Flag]) -> None:
    """Flag beams that were broken before the raise, that chatter, or that nothing should break."""
    dwell = [
        event.t_s
        for event in run.events
        if event.event == "state" and event.detail.get("state") == "dwelling"
    ]
    from_s = max((t_s for t_s in dwell if t_s <= raise_s), default=raise_s)
    broken = any(
        event.event == "beam_broken" and from_s <= event.t_s < raise_s for event in run.events
    )
    if any(record.broken_at_start for record in records):
        flags.append("moved_before_raise" if broken else "beam_fault")
    elif broken or any(record.disturbances for record in records):
        flags.append("early_disturbance")
    if any(record.edges > MOST_EDGES or record.after for record in records):
        flags.append("beam_fault")


def is_skewed(found: Solved, geometry: Geometry, variations: list[Variation]) -> bool:
    """True if the bag is longer along the slide, as found, than it should be."""
    if found.length_mm is None:
        return False
    u_length = math.hypot(geometry.u_length_mm, u_solved_mm(found, variations, "length_mm"))
    return found.length_mm - geometry.length_mm > 2.0 * u_length


def is_beyond_law(
    found: Solved, geometry: Geometry, ramp: Ramp, variations: list[Variation]
) -> bool:
    """True if Coulomb friction with the stated distances can't explain the edges (3·u)."""
    if found.misfit_mm > 3.0 * max(u_misfit_mm(found, variations), geometry.u_to_break_mm):
        return True
    if found.gap_mm is not None and found.length_mm is not None:
        u_gap = math.hypot(geometry.u_to_break_mm, u_solved_mm(found, variations, "gap_mm"))
        u_length = math.hypot(geometry.u_length_mm, u_solved_mm(found, variations, "length_mm"))
        if abs(found.gap_mm - geometry.to_break_mm) > 3.0 * u_gap:
            return True
        if abs(found.length_mm - geometry.length_mm) > 3.0 * u_length:
            return True
    mu_static = math.tan(math.radians(float(ramp.angle_deg(found.onset_s))))
    return found.mu_kinetic is not None and found.mu_kinetic < PLAUSIBLE_RATIO * mu_static
