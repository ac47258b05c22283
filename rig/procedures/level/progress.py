"""Captures of an unfinished calibration, kept in a file so that it can be resumed."""

from pathlib import Path

import msgspec
from msgspec import Struct, field

from rig.calibration.captures import Rest, Span, Zero
from rig.calibration.model import SensorIdentity, Vibration
from rig.calibration.plan import LevelPlan
from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.files.durable import make_folder, replace_file

NAME = "level.progress"


class SweepFindings(Struct, frozen=True, kw_only=True):
    """Results of the unloaded sweeps."""

    axis_off_deg: float
    """Between the hinge of the sweep and that of the span points."""
    misfit_g: float
    delay_ms: float
    u_delay_ms: float
    backlash_deg: float
    vibration: Vibration | None = None
    gyro_gain: float | None = None
    """Turn by the gyroscope over that of gravity, in a sweep by hand."""
    gyro_axis_off_deg: float | None = None
    """Between what the gyroscope turned about and what gravity did."""
    told: str = ""
    """What a sweep by hand found, in words."""


class LevelProgress(Struct, kw_only=True):
    """Captures by step; rewritten whole after each."""

    format: str = "tilt-level-progress"
    sensor: SensorIdentity
    started_at: str
    plan: LevelPlan
    zero: Zero | None = None
    span: dict[str, Span] = field(default_factory=dict)
    home: Rest | None = None
    positions: dict[str, Rest] = field(default_factory=dict)
    cold: Rest | None = None
    """Capture at home, before the sensor was warmed."""
    warm: Rest | None = None
    sweep: SweepFindings | None = None


def load_progress(path: Path) -> LevelProgress | None:
    """Load earlier captures; None if there are none.

    Raises:
        BadInputError: the file can't be used.
    """
    if not path.exists():
        return None
    try:
        return msgspec.json.decode(path.read_bytes(), type=LevelProgress)
    except (OSError, *UNREADABLE) as error:
        raise BadInputError(
            f"{path} can't be resumed ({error}); start again with `rig level --fresh`."
        ) from error


def save_progress(path: Path, progress: LevelProgress) -> None:
    """Replace the file, so that a power cut leaves the old one or the new one.

    Raises:
        BadInputError: the folder can't be written to.
    """
    try:
        make_folder(path.parent)
        replace_file(path, msgspec.json.format(msgspec.json.encode(progress)) + b"\n")
    except OSError as error:
        raise BadInputError(
            f"Cannot write {path}: {error.strerror or error}; name a folder you may write to."
        ) from error
