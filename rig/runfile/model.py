"""The lines of a run file as types; each is one JSON object with a `kind`.

The header says what was planned, events say what happened; an event overrides the plan. All
`t_s` are monotonic seconds since the run began.
"""

from typing import Annotated, Any, Literal

from msgspec import Meta, Struct, field

from rig.calibration.model import Calibration
from rig.settings.model import Beam, Linkage, Screw

FORMAT = "tilt-run"
VERSION = 1

State = Literal[
    "parked", "homing", "placing", "dwelling", "raising", "sliding", "lowering", "halted"
]
Outcome = Literal["slid", "no_slide", "fault", "stopped", "interrupted"]
Flag = Literal[
    "no_slide",
    "moved_before_raise",
    "beam_fault",
    "angle_sensor_fault",
    "step_loss",
    "halted",
    "slumped",
    "stalled_in_slide",
    "edge_crept",
    "early_disturbance",
    "creep",
    "rate_off",
    "climate_drift",
    "cross_slope",
    "skew_suspected",
    "gap_unknown",
    "calibration_overdue",
    "floor_tilt",
    "sensor_slipped",
]
INVALIDATING: frozenset[Flag] = frozenset(
    (
        "no_slide",
        "moved_before_raise",
        "beam_fault",
        "angle_sensor_fault",
        "step_loss",
        "halted",
        "slumped",
    )
)
"""Flags that keep a run out of the analysis."""


class ImuSetup(Struct, frozen=True, kw_only=True):
    """How the angle sensor was set up, as read back from the chip."""

    model: str
    rate_hz: float
    lowpass_hz: float
    mode: str


class RunSettings(Struct, frozen=True, kw_only=True):
    """The settings that the analysis needs, so that a run file stands alone."""

    linkage: Linkage
    screw: Screw
    beam: Beam
    beams: Literal[1, 2]
    imu: ImuSetup
    slump_mm: float = 0.0
    u_slump_mm: float = 0.0


class _Line(Struct, tag_field="kind", frozen=True, kw_only=True):
    pass


class Header(_Line, tag="header", frozen=True, kw_only=True):
    """The first line: what was planned, with what, by whom."""

    format: str = FORMAT
    version: int = VERSION
    run_id: Annotated[str, Meta(min_length=1)]
    started_at: str
    clock_synchronised: bool | None = None
    rig: str
    settings: RunSettings
    calibration: Calibration | None = None
    bag: str | None = None
    face: str | None = None
    leading_edge: str | None = None
    set: str | None = None
    bag_mass_g: float | None = None
    board: str | None = None
    board_cleaned_at: str | None = None
    treatment_stage: str | None = None
    operator: str | None = None
    session: str | None = None
    series: str | None = None
    repeat: int | None = None
    slide_number: int | None = None
    slides_before: int | None = None
    placing: Literal["blade", "hand"] = "hand"
    rate_deg_s: Annotated[float, Meta(gt=0)]
    dwell_s: Annotated[float, Meta(ge=0)]
    approach_deg: float | None = None
    gap_mm: float | None = None
    u_gap_mm: float | None = None
    bag_length_mm: float | None = None
    u_bag_length_mm: float | None = None
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"
    conditioned_h: float | None = None
    source: Literal["rig", "twin", "hand"]
    software: str


class Event(_Line, tag="event", frozen=True, kw_only=True):
    """Something that happened; `detail` depends on `event`.

    `state` {"state"}, `placed` {"gap_mm", "u_gap_mm", "blade_steps", "tries", "pushes", …},
    `blade_passed` {"clear_steps", "back_steps", "top_steps", "bag_length_mm", "trouble"},
    `raise_started` {"dwell_s", "approach_deg" where a quick approach ended}, `beam_broken` and
    `beam_clear` {"beam"}, `limit_upper`, `limit_lower`, `estop`, `home_reading` {"angle_deg",
    "cross_deg"}, `blade_push` (the blade begins to push), `bag_brought_down` (slid only to
    come back to the blade), `fault` {"cause", "action"}, `raise_ended` {}.
    """

    t_s: float
    event: str
    detail: dict[str, Any] = field(default_factory=dict)


class Samples(_Line, tag="samples", frozen=True, kw_only=True):
    """Raw counts of the three axes at `t_s + i * dt_s`."""

    t_s: float
    dt_s: Annotated[float, Meta(gt=0)]
    counts: list[tuple[int, int, int]]
    imu_temperature_c: float | None = None


class Climate(_Line, tag="climate", frozen=True, kw_only=True):
    """The air, and the board's surface, at one time."""

    t_s: float
    temperature_c: float | None
    relative_humidity_pct: float | None
    pressure_hpa: float | None
    board_temperature_c: float | None = None
    board_temperature_source: Literal["surface", "imu"] | None = None


class Steps(_Line, tag="steps", frozen=True, kw_only=True):
    """The step count at one time; `jitter_us` is the worst lateness since the last such line."""

    t_s: float
    count: int
    jitter_us: float


class End(_Line, tag="end", frozen=True, kw_only=True):
    """The last line of a run that came to its end."""

    outcome: Outcome
    flags: list[Flag]
    samples_lost: int
    bus_retries: int
    lines: int
    """Number of lines before this one."""
    check: str | None = None
    """CRC-32 of all bytes before this line, in hexadecimal; None from an older program."""


Line = Header | Event | Samples | Climate | Steps | End
