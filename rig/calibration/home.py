"""Home reading against the calibration: did the floor, the sensor or the frame move?

At home the sensor cannot distinguish its own shift from the floor's tilt: a floor that sank by
0.5° along and a sensor that slipped by 0.5° about the hinge give the same counts at every angle,
and the same difference from the step count. Three things help.

- A slip about any other axis moves the hinge in the sensor's frame, which a raise shows; the floor
  does not. (So mount the sensor on a face that is not square to the hinge.)
- A bent frame changes the difference between sensor and steps *along the raise*; a sunken floor
  or a slip changes it equally at every angle.
- A level on the board. It is required whenever the reading is outside its limit, and nothing else
  allows further runs: if it agrees with the sensor, the floor moved, the angles are still right
  and the runs are flagged; if not, the sensor moved and must be calibrated again.
"""

from pathlib import Path

import msgspec
import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from rig.calibration.apply import cross
from rig.calibration.axis import axis_of_sweep
from rig.calibration.model import Calibration
from rig.calibration.reference import Turned
from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.files.log import append_lines, lines_of

CHECKS_NAME = "home-checks.jsonl"

AGREE_DEG = 0.1
"""Allowed difference of level and sensor, beyond three times their uncertainty."""


def slopes_deg(calibration: Calibration, along_deg: float, cross_deg: float) -> tuple[float, float]:
    """Slopes along and across a board near level, from a home reading.

    Args:
        calibration: in use.
        along_deg: the turn about the hinge from level (`apply.along_slope_deg`).
        cross_deg: the tilt of the hinge; the board's own twist is subtracted.
    """
    twist = np.degrees(np.arcsin(np.clip(np.dot(calibration.axis, calibration.level), -1.0, 1.0)))
    return along_deg, cross_deg - float(twist)


def home_shift_deg(
    calibration: Calibration, along_deg: float, cross_deg: float
) -> tuple[float, float]:
    """Shift of the board's slopes along and across at home since the calibration."""
    now = slopes_deg(calibration, along_deg, cross_deg)
    then = slopes_deg(calibration, calibration.home_angle_deg, calibration.home_cross_deg)
    return now[0] - then[0], now[1] - then[1]


class HomeCheck(Struct, frozen=True, kw_only=True):
    """A home reading checked with a level; slopes of the board in degrees."""

    checked_at: str
    calibration_made_at: str
    sensor_along_deg: float
    sensor_across_deg: float
    level_along_deg: float
    level_across_deg: float
    u_level_deg: float

    def covers(
        self, calibration: Calibration, angle_deg: float, cross_deg: float, limit_deg: float
    ) -> bool:
        """Whether a home reading still equals the one that the level confirmed."""
        along, across = slopes_deg(calibration, angle_deg, cross_deg)
        off = max(abs(along - self.sensor_along_deg), abs(across - self.sensor_across_deg))
        return self.calibration_made_at == calibration.made_at and off <= limit_deg


def check_home(
    calibration: Calibration,
    home_deg: tuple[float, float],
    along: Turned,
    across: Turned,
    u_sensor_deg: float,
    now: str,
) -> HomeCheck:
    """Compare the home reading with a level on the board.

    Args:
        calibration: in use.
        home_deg: slope along and tilt of the hinge by the sensor at home.
        along: the level, turned end for end, along the board.
        across: likewise across.
        u_sensor_deg: standard uncertainty of the sensor's inclination at home.
        now: time stamp in UTC.

    Raises:
        BadInputError: they disagree: the sensor moved.
    """
    sensor = slopes_deg(calibration, *home_deg)
    for name, said, level in (("along", sensor[0], along), ("across", sensor[1], across)):
        allowed = AGREE_DEG + 3.0 * float(np.hypot(u_sensor_deg, level.u_slope_deg))
        if abs(said - level.slope_deg) > allowed:
            raise BadInputError(
                f"The sensor reads {said:+.2f}° {name} and the level {level.slope_deg:+.2f}°"
                f" (allowed difference {allowed:.2f}°): the sensor or the board on its cradle has"
                " moved since the calibration; fasten it and calibrate again with `rig level`."
            )
    return HomeCheck(
        checked_at=now,
        calibration_made_at=calibration.made_at,
        sensor_along_deg=sensor[0],
        sensor_across_deg=sensor[1],
        level_along_deg=along.slope_deg,
        level_across_deg=across.slope_deg,
        u_level_deg=along.u_slope_deg,
    )


def axis_shift_deg(calibration: Calibration, gravity: ArrayLike) -> tuple[float, float]:
    """Shift of the hinge in the sensor's frame since the calibration, and its u.

    Args:
        calibration: in use.
        gravity: calibrated vectors of a raise, averaged over blocks, shape (n, 3).

    Raises:
        BadInputError: the raise is too short.
    """
    found = axis_of_sweep(gravity)
    cosine = float(np.dot(found.axis, calibration.axis))
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))), found.u_axis_deg


def axis_shift_parts_deg(
    calibration: Calibration, gravity: ArrayLike
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Its two components, each signed with its u: towards the chord of the arc, and across.

    The first is a turn of the sensor about the board's normal, invisible in a home reading and
    clear in a raise; the second is a tip across the slide, hardly visible in a short arc.

    Raises:
        BadInputError: the raise is too short.
    """
    found = axis_of_sweep(gravity)
    shift = np.array(found.axis) - np.array(calibration.axis)
    chord = np.array(found.chord)
    turned, tipped = shift @ chord, shift @ cross(np.array(found.axis), chord)
    return (
        (float(np.degrees(turned)), found.u_chord_deg),
        (float(np.degrees(tipped)), found.u_axis_deg),
    )


def save_home_check(folder: Path, check: HomeCheck) -> Path:
    """Append a check to the folder's list.

    Raises:
        BadInputError: it can't be written.
    """
    path = folder / CHECKS_NAME
    try:
        append_lines(path, [msgspec.json.encode(check)])
    except OSError as error:
        raise BadInputError(
            f"Cannot write {path}: {error.strerror or error}; name a folder you may write to."
        ) from error
    return path


def load_home_check(folder: Path) -> HomeCheck | None:
    """Load the latest check, or None; torn or changed lines are skipped."""
    try:
        lines = lines_of((folder / CHECKS_NAME).read_bytes())
    except OSError:
        return None
    for line in reversed(lines):
        try:
            if line.verdict != "changed":
                return msgspec.json.decode(line.data, type=HomeCheck)
        except UNREADABLE:
            continue
    return None
