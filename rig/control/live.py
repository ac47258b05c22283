"""What the machine sees at this moment, for those who watch it."""

from dataclasses import dataclass, field

from rig.runfile.model import State


@dataclass
class Live:
    """The latest values; written by the machine's tasks, read by anybody, None until known."""

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
    """What the machine waits for, in words; empty when it waits for nothing."""
    inputs: dict[str, bool] = field(default_factory=dict)
