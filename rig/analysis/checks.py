"""Checks of one run that only flag it."""

import math

import numpy as np

from rig.analysis.angle.plane import Array
from rig.analysis.angle.ramp import Ramp
from rig.analysis.onset.edges import MOST_EDGES, BeamRecord
from rig.analysis.onset.estimate import Solved
from rig.analysis.row import number
from rig.calibration.apply import along_slope_deg, gravity_g
from rig.calibration.model import Calibration
from rig.files.stamps import parse_utc
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile

HOME_DEG = 0.3
"""A home reading further than this from the calibration's is flagged `floor_tilt`."""

ALONE_DEG = 0.1
"""A home reading that moved along the slope, and across it by less, may be a slipped sensor."""

SLIPPED_DEG = 0.2
"""The sensor may turn by this against the steps between homing and the start of the raise."""

RATE_OFF = 0.05
"""The board may rise by this part faster or slower than stated."""


def check_home(run: RunFile, calibration: Calibration, flags: list[Flag]) -> float:
    """Flag an overdue calibration, and a home reading unlike that of the calibration.

    A floor that sank and a sensor that slipped about the hinge look alike in a raise: both move the
    sensor's angle against the steps by as much. A floor seldom sinks along the slope alone, so then
    both are flagged. A reference bag tells: if the sensor slipped, its angle moves too.

    Returns:
        By how much the angle is wrong if it was the sensor, in degrees; 0 if it was the floor.
    """
    try:
        if parse_utc(run.header.started_at) > parse_utc(calibration.due_at):
            flags.append("calibration_overdue")
    except ValueError:
        run.problems.append(f"{run.path.name} has a time stamp that can't be read.")
    home = run.first_event("home_reading")
    if home is None:
        return 0.0
    along, across = (number(home.detail.get(key)) for key in ("angle_deg", "cross_deg"))
    along_deg = 0.0 if along is None else along - calibration.home_angle_deg
    across_deg = 0.0 if across is None else across - calibration.home_cross_deg
    if max(abs(along_deg), abs(across_deg)) > HOME_DEG:
        flags.append("floor_tilt")
    if abs(along_deg) > HOME_DEG and abs(across_deg) < ALONE_DEG:
        flags.append("sensor_slipped")
        return abs(along_deg)
    return 0.0


def check_slip(
    run: RunFile,
    calibration: Calibration,
    raise_s: float,
    steps: tuple[Array, Array],
    flags: list[Flag],
) -> float:
    """Flag a sensor that turned between homing and the raise while the steps did not.

    Args:
        run: the run as read.
        calibration: of its sensor.
        raise_s: when the raise started.
        steps: `steps_angle` of the run.
        flags: `sensor_slipped` is added to them.

    Returns:
        By how much, in degrees; 0 if it did not.
    """
    home = run.first_event("home_reading")
    angle = None if home is None else number(home.detail.get("angle_deg"))
    steps_s, steps_deg = steps
    t_s, counts = run.samples_arrays()
    rests = (t_s > raise_s - 3.0) & (t_s < raise_s - 0.1)
    if home is None or angle is None or int(rests.sum()) < 3 or not len(steps_s):
        return 0.0
    if home.t_s < steps_s[0] - 1.0:
        return 0.0  # the steps were not yet counted
    now = along_slope_deg(calibration, gravity_g(calibration, counts[rests])).mean()
    raised = np.interp(t_s[rests], steps_s, steps_deg).mean() - np.interp(
        home.t_s, steps_s, steps_deg
    )
    turned = abs(float(now - angle - raised))
    if turned <= SLIPPED_DEG:
        return 0.0
    flags.append("sensor_slipped")
    return turned


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
    if any(record.edges > MOST_EDGES or record.after or record.inverted for record in records):
        flags.append("beam_fault")


def check_rate(run: RunFile, ramp: Ramp, edge_s: float, flags: list[Flag]) -> None:
    """Flag a raise that was faster or slower than the header says."""
    off = ramp.rate_deg_s(edge_s) / run.header.rate_deg_s - 1.0
    if ramp.steady and abs(off) > RATE_OFF:
        flags.append("rate_off")


def is_skewed(solved: Solved) -> bool:
    """True if four edges show a bag that is longer along the slide than it should be (2·u)."""
    off, seen = solved.found.length_off
    return solved.method == "four_edge" and off > 2.0 * math.sqrt(max(seen, 0.0)) > 0.0
