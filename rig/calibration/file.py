"""Calibration files: one JSON document each, never overwritten, refused if not plausible."""

from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np

from rig.calibration.model import PARAMETERS, Calibration, SensorIdentity
from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.files.durable import create_file, make_folder
from rig.files.stamps import parse_utc

RANGES: dict[str, tuple[float, float, str]] = {
    "temperature_c": (-60.0, 150.0, "°C"),  # no silicon sensor works outside
    "counts_per_g": (100.0, 100_000.0, "per g"),  # 16 bits over ±0.3 g to ±300 g
    "drift_g_per_k": (-0.02, 0.02, "g/K"),  # forty times the worst data sheet limit
    "u_drift_g_per_k": (0.0, 0.02, "g/K"),
    "noise_g": (0.0, 0.5, "g"),  # more hides the direction of gravity
    "filter_delay_ms": (0.0, 200.0, "ms"),  # the slowest filter in use takes some 40 ms
    "u_filter_delay_ms": (0.0, 100.0, "ms"),
    "home_angle_deg": (-90.0, 90.0, "°"),  # a board is never past upright
    "home_cross_deg": (-90.0, 90.0, "°"),
    "u_reference_deg": (0.0, 10.0, "°"),  # a worse level is useless
    "residuals_deg": (-90.0, 90.0, "°"),
    "angles_deg": (-90.0, 90.0, "°"),
}
"""Plausible ranges, each with its reason where the unit does not give it."""

MOST_VARIANCE = 100.0
"""In g² or degrees²: beyond this the calibration tells nothing about the sensor."""


def validate_calibration(calibration: Calibration, where: str = "the calibration") -> None:
    """Refuse implausible values.

    Raises:
        BadInputError: names the value and its allowed range.
    """
    remedy = "calibrate again (rig level) or name another file"
    if calibration.format != "tilt-calibration":
        raise BadInputError(f"{where} is not a calibration file; name one made by rig level.")
    if calibration.version != 1:
        raise BadInputError(
            f"{where} has version {calibration.version} of the calibration format, and this "
            "program reads version 1; update the program."
        )
    if fault := calibration_fault(calibration):
        raise BadInputError(f"{where}: {fault}; {remedy}.")
    try:
        made, due = parse_utc(calibration.made_at), parse_utc(calibration.due_at)
    except ValueError as error:
        raise BadInputError(f"{where}: a date is not valid ({error}); {remedy}.") from error
    if due <= made:
        raise BadInputError(f"{where}: due_at must be later than made_at; {remedy}.")


@lru_cache(maxsize=16)
def calibration_fault(calibration: Calibration) -> str:
    """Describe the first implausible value and its allowed range; empty if there is none.

    Kept, since all runs of a session carry the same one.
    """
    known = calibration
    vectors = (known.bias_g, known.gain, known.drift_g_per_k, known.level, known.axis)
    if not np.all(np.isfinite(vectors)):
        return "a value is not a finite number"
    for key in ("level", "axis"):
        length = float(np.linalg.norm(getattr(calibration, key)))
        if abs(length - 1.0) > 1e-3:
            return f"{key} must have length 1 and has {length:.4f}"
    if abs(np.dot(calibration.level, calibration.axis)) > 0.2:
        return "axis must lie across level, within 11 degrees"
    if max(abs(bias) for bias in calibration.bias_g) > 0.5:
        return "bias_g must lie within ±0.5 g"
    if not all(0.5 <= gain <= 2.0 for gain in calibration.gain):
        return "gain must lie between 0.5 and 2"
    for key, (low, high, unit) in RANGES.items():
        if not all(low <= value <= high for value in np.ravel(getattr(calibration, key))):
            return f"{key} must lie between {low:g} and {high:g} {unit}"
    if fault := _fault_of_covariance(calibration):
        return fault
    if calibration.angles_deg and len(calibration.angles_deg) != len(calibration.residuals_deg):
        return "residuals_deg and angles_deg must have the same length"
    return ""


def _fault_of_covariance(calibration: Calibration) -> str:
    size = len(PARAMETERS)
    rows = calibration.covariance
    if len(rows) != size or any(len(row) != size for row in rows):
        return f"covariance must have {size} rows of {size}"
    matrix = np.array(rows)
    if not np.all(np.isfinite(matrix)):
        return "covariance has a value that is not a number"
    if np.abs(matrix).max() > MOST_VARIANCE:
        return f"covariance must lie within ±{MOST_VARIANCE:g} everywhere"
    scale = np.sqrt(np.abs(np.diag(matrix)))
    limit = 1e-6 * np.outer(scale, scale) + 1e-30
    if np.any(np.abs(matrix - matrix.T) > limit):
        return "covariance must be symmetric"
    unit = matrix / np.outer(scale + 1e-15, scale + 1e-15)
    if np.any(np.diag(matrix) < 0) or np.linalg.eigvalsh(unit).min() < -1e-6:
        return "covariance must not give a negative variance"
    return ""


def load_calibration(path: Path) -> Calibration:
    """Read and check a calibration file.

    Raises:
        BadInputError: it can't be read, is not a calibration, or is not plausible.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInputError(
            f"Cannot read the calibration {path}: {error.strerror or error}; check its name, or "
            "make one with rig level."
        ) from error
    try:
        calibration = msgspec.json.decode(data, type=Calibration)
    except UNREADABLE as error:
        raise BadInputError(
            f"{path} is not a calibration file: {error}; name one made by rig level."
        ) from error
    validate_calibration(calibration, str(path))
    return calibration


def newest_calibration(folder: Path) -> Path | None:
    """Find the newest calibration file of a folder by the date in its name; None if none."""
    found = sorted(folder.glob("*.json"), key=lambda path: path.name)
    return found[-1] if found else None


def save_calibration(path: Path, calibration: Calibration) -> None:
    """Write a new calibration file and sync it to the disk, whole or not at all.

    Raises:
        BadInputError: a value is not plausible, the file exists, or it can't be written.
    """
    validate_calibration(calibration)
    text = msgspec.json.format(msgspec.json.encode(calibration), indent=1) + b"\n"
    try:
        make_folder(path.parent)
        create_file(path, text)
    except FileExistsError as error:
        raise BadInputError(
            f"Cannot write the calibration {path}: it exists already, and a calibration is never "
            "overwritten; name another file."
        ) from error
    except OSError as error:
        raise BadInputError(
            f"Cannot write the calibration {path}: {error.strerror or error}; name a folder you "
            "may write to."
        ) from error


def check_fit(
    calibration: Calibration,
    identity: SensorIdentity,
    now: datetime,
    allow_overdue: bool = False,
) -> tuple[Literal["calibration_overdue"], ...]:
    """Check that a calibration belongs to this sensor and is not overdue.

    Args:
        calibration: the one to use.
        identity: of the connected sensor.
        now: current time, with its time zone.
        allow_overdue: accept an overdue one, with a flag.

    Returns:
        The flags that the run must carry.

    Raises:
        BadInputError: it belongs to another sensor, or is overdue.
    """
    if calibration.sensor != identity:
        theirs, ours = calibration.sensor, identity
        raise BadInputError(
            f"The calibration is of {theirs.model} {theirs.identity} at 0x{theirs.address:02x}, "
            f"and the sensor here is {ours.model} {ours.identity} at 0x{ours.address:02x}; "
            "calibrate this one with rig level."
        )
    if now <= parse_utc(calibration.due_at):
        return ()
    if not allow_overdue:
        raise BadInputError(
            f"The calibration has been overdue since {calibration.due_at[:10]}; calibrate with rig "
            "level, or allow an overdue one, and the runs will be flagged."
        )
    return ("calibration_overdue",)
