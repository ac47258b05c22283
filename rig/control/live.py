"""Present state of the machine, for displays."""

from dataclasses import dataclass, field

from rig.control.pace import Pace
from rig.runfile.model import State


@dataclass
class Live:
    """Latest values, written by the machine's tasks and read by all others; None until known."""

    state: State = "parked"
    angle_deg: float | None = None
    cross_slope_deg: float | None = None
    angle_seen_s: float | None = None
    """Monotonic time of the last sample."""
    step_angle_deg: float | None = None
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    pressure_hpa: float | None = None
    imu_temperature_c: float | None = None
    target_deg_s: float = 1.0
    """Pace that a person who raises the board is asked for."""
    hold_deg: float | None = None
    """Where a person is asked to prop the board, in a calibration."""
    pace: Pace | None = None
    """While a person raises the board."""
    wants: str = ""
    """What the machine is waiting for, in words; empty if nothing."""
    inputs: dict[str, bool] = field(default_factory=dict)
