"""Present state of the machine, for displays."""

from dataclasses import dataclass, field

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
    wants: str = ""
    """What the machine is waiting for, in words; empty if nothing."""
    inputs: dict[str, bool] = field(default_factory=dict)
