"""Calibration files: one JSON document each, never overwritten, refused when they make no sense."""

from datetime import datetime
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np

from rig.calibration.model import PARAMETERS, Calibration, SensorIdentity
from rig.errors import BadInputError
from rig.files.durable import create_file, make_folder
from rig.files.stamps import parse_utc


def validate_calibration(calibration: Calibration, where: str = "the calibration") -> None:
    """Refuse values that no calibration can have.

    Raises:
        BadInputError: names the value and what is allowed.
    """
    mend = "calibrate again (rig level) or name another file"
    if calibration.format != "tilt-calibration":
        raise BadInputError(f"{where} is no calibration file; name one made by rig level.")
    if calibration.version != 1:
        raise BadInputError(
            f"{where} is written in version {calibration.version} of the calibration format, and "
            "this program reads version 1; update the program."
        )
    numbers = np.concatenate(
        [
            np.ravel(part)
            for part in (
                calibration.bias_g,
                calibration.gain,
                calibration.drift_g_per_k,
                calibration.level,
                calibration.axis,
            )
        ]
    )
    if not np.all(np.isfinite(numbers)):
        raise BadInputError(f"{where}: a value is not a finite number; {mend}.")
    for key in ("level", "axis"):
        length = float(np.linalg.norm(getattr(calibration, key)))
        if abs(length - 1.0) > 1e-3:
            raise BadInputError(f"{where}: {key} must have length 1 and has {length:.4f}; {mend}.")
    if abs(np.dot(calibration.level, calibration.axis)) > 0.2:
        raise BadInputError(f"{where}: axis must lie across level, within 11 degrees; {mend}.")
    if max(abs(bias) for bias in calibration.bias_g) > 0.5:
        raise BadInputError(f"{where}: bias_g must lie within ±0.5 g; {mend}.")
    if not all(0.5 <= gain <= 2.0 for gain in calibration.gain):
        raise BadInputError(f"{where}: gain must lie between 0.5 and 2; {mend}.")
    _validate_covariance(calibration, where, mend)
    for key, most in (("filter_delay_ms", 200.0), ("u_filter_delay_ms", 100.0)):
        value = getattr(calibration, key)
        if not 0.0 <= value <= most:
            raise BadInputError(f"{where}: {key} must lie between 0 and {most:g} ms; {mend}.")
    if calibration.angles_deg and len(calibration.angles_deg) != len(calibration.residuals_deg):
        raise BadInputError(f"{where}: residuals_deg and angles_deg must be of one length; {mend}.")
    try:
        made, due = parse_utc(calibration.made_at), parse_utc(calibration.due_at)
    except ValueError as error:
        raise BadInputError(f"{where}: a date is not readable ({error}); {mend}.") from error
    if due <= made:
        raise BadInputError(f"{where}: due_at must be later than made_at; {mend}.")


def _validate_covariance(calibration: Calibration, where: str, mend: str) -> None:
    size = len(PARAMETERS)
    rows = calibration.covariance
    if len(rows) != size or any(len(row) != size for row in rows):
        raise BadInputError(f"{where}: covariance must have {size} rows of {size}; {mend}.")
    matrix = np.array(rows)
    if not np.all(np.isfinite(matrix)):
        raise BadInputError(f"{where}: covariance has a value that is no number; {mend}.")
    scale = np.sqrt(np.abs(np.diag(matrix)))
    limit = 1e-6 * np.outer(scale, scale) + 1e-30
    if np.any(np.abs(matrix - matrix.T) > limit):
        raise BadInputError(f"{where}: covariance must be symmetric; {mend}.")
    unit = matrix / np.outer(scale + 1e-15, scale + 1e-15)
    if np.any(np.diag(matrix) < 0) or np.linalg.eigvalsh(unit).min() < -1e-6:
        raise BadInputError(f"{where}: covariance must not give a negative variance; {mend}.")


def load_calibration(path: Path) -> Calibration:
    """Read and check a calibration file.

    Raises:
        BadInputError: it can't be read, is no calibration, or makes no sense.
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
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BadInputError(
            f"{path} is no calibration file: {error}; name one made by rig level."
        ) from error
    validate_calibration(calibration, str(path))
    return calibration


def newest_calibration(folder: Path) -> Path | None:
    """The newest calibration file of a folder, by its name, which is its date; None without one."""
    found = sorted(folder.glob("*.json"), key=lambda path: path.name)
    return found[-1] if found else None


def save_calibration(path: Path, calibration: Calibration) -> None:
    """Write a new calibration file and bring it to the disk, whole or not at all.

    Raises:
        BadInputError: the values make no sense, the file exists, or it can't be written.
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
    """Check that a calibration is this sensor's and in date.

    Args:
        calibration: the one to use.
        identity: the sensor as it answers now.
        now: the present time, with its time zone.
        allow_overdue: take one that is past due all the same, with a flag.

    Returns:
        The flags that the run must carry.

    Raises:
        BadInputError: it is another sensor's, or past due.
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
            f"The calibration was due again on {calibration.due_at[:10]}; calibrate with rig "
            "level, or allow an overdue one, and the runs will be flagged."
        )
    return ("calibration_overdue",)
