"""The lines of a run file as types; each is one JSON object with a `kind`.

The header says what was planned, events say what happened; an event overrides the plan. All
`t_s` are monotonic seconds since the run began.
"""

from typing import Annotated, Any, Literal

from msgspec import UNSET, Meta, Struct, UnsetType, field

from rig.calibration.model import Calibration
from rig.runfile import limits
from rig.settings.model import Beam, Linkage, Screw

FORMAT = "tilt-run"
VERSION = 1

State = Literal[
    "parked", "homing", "placing", "dwelling", "raising", "sliding", "lowering", "halted"
]
Count = Annotated[int, limits.COUNT.meta]
Number = Annotated[int, limits.NUMBER.meta]
Outcome = Literal["slid", "no_slide", "fault", "stopped", "interrupted"]
Flag = Literal[
    "no_slide",
    "moved_before_raise",
    "beam_fault",
    "angle_sensor_fault",
    "step_loss",
    "halted",
    "settling",
    "slid_early",
    "slumped",
    "pace_off",
    "jerked",
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
        "settling",
        "slid_early",
        "slumped",
        "pace_off",
        "jerked",
    )
)
"""Flags that keep a run out of the analysis."""


class ImuSetup(Struct, frozen=True, kw_only=True):
    """How the angle sensor was set up, as read back from the chip."""

    model: str
    rate_hz: Annotated[float, limits.RATE_HZ.meta]
    lowpass_hz: Annotated[float, limits.RATE_HZ.meta]
    mode: str
    gyro_counts_per_deg_s: Annotated[float, limits.GYRO_COUNTS.meta] | None = None
    """Nominal sensitivity of the gyroscope; None where it is off."""
    gyro_lowpass_hz: Annotated[float, limits.RATE_HZ.meta] | None = None


class RunSettings(Struct, frozen=True, kw_only=True):
    """The settings that the analysis needs, so that a run file stands alone."""

    linkage: Linkage
    screw: Screw
    beam: Beam
    beams: Literal[1, 2]
    imu: ImuSetup
    slump_mm: Annotated[float, limits.SLUMP_MM.meta] = 0.0
    u_slump_mm: Annotated[float, limits.U_LENGTH_MM.meta] = 0.0


class _Line(Struct, tag_field="kind", frozen=True, kw_only=True):
    pass


class AskedRun(Struct, frozen=True, kw_only=True):
    """What is asked of one run; its header keeps all of it."""

    bag: str | None = None
    face: str | None = None
    leading_edge: str | None = None
    set: str | None = None
    bag_mass_g: Annotated[float, limits.MASS_G.meta] | None = None
    board: str | None = None
    board_cleaned_at: str | None = None
    treatment_stage: str | None = None
    operator: str | None = None
    session: str | None = None
    series: str | None = None
    repeat: Number | None = None
    slide_number: Number | None = None
    slides_before: Number | None = None
    rate_deg_s: Annotated[float, limits.RATE_DEG_S.meta]
    dwell_s: Annotated[float, limits.DWELL_S.meta]
    approach_deg: Annotated[float, limits.ANGLE_DEG.meta] | None = None
    """The board went fast up to here, then on at the measuring rate; None: measured from level."""
    raise_start: Literal["whole", "quick"] | None = None
    """As asked of this run alone; None: as its series is raised."""
    settling: bool = False
    """The uncounted raise that begins a series with quick start."""
    purpose: Literal["bridge", "check"] | None = None
    """Beside measuring: to compare two methods, or two rates as a check of the material."""
    gap_mm: Annotated[float, limits.GAP_MM.meta] | None = None
    u_gap_mm: Annotated[float, limits.U_LENGTH_MM.meta] | None = None
    bag_length_mm: Annotated[float, limits.LENGTH_MM.meta] | None = None
    u_bag_length_mm: Annotated[float, limits.U_LENGTH_MM.meta] | None = None
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"
    conditioned_h: Annotated[float, limits.HOURS.meta] | None = None
    source: Literal["rig", "twin", "hand"]


class Header(AskedRun, _Line, tag="header", frozen=True, kw_only=True):
    """The first line: what was asked, and of which rig."""

    format: str = FORMAT
    version: int = VERSION
    run_id: Annotated[str, Meta(min_length=1)]
    started_at: str
    clock_synchronised: bool | None = None
    rig: str
    settings: RunSettings
    calibration: Calibration | None = None
    placing: Literal["blade", "hand"] = "hand"
    raised_by: Literal["motor", "hand"] = "motor"
    software: str


def method_of(header: Header) -> str:
    """How the board is raised in a run: start and rate; runs of one method compare directly."""
    start = "whole" if header.approach_deg is None else "quick"
    if header.raised_by == "hand":
        start = "by hand"
    return f"{start} {header.rate_deg_s:g} °/s"


class Event(_Line, tag="event", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that happened; `detail` depends on `event`.

    `state` {"state"}, `placed` {"gap_mm", "u_gap_mm", "blade_steps", "tries", "pushes", …},
    `blade_passed` {"clear_steps", "back_steps", "top_steps", "bag_length_mm", "trouble"},
    `raise_started` {"dwell_s", "approach_deg" where a quick approach ended}, `beam_broken` and
    `beam_clear` {"beam"}, `limit_upper`, `limit_lower`, `estop`, `home_reading` {"angle_deg",
    "cross_deg"}, `blade_push` (the blade begins to push), `bag_brought_down` (slid only to
    come back to the blade), `fault` {"cause", "action"}, `raise_ended` {}.
    """

    t_s: Annotated[float, limits.TIME_S.meta]
    event: str
    detail: dict[str, Any] = field(default_factory=dict)


class Samples(_Line, tag="samples", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Raw counts of the three axes at `t_s + i * dt_s`, and of the gyroscope where it is read."""

    t_s: Annotated[float, limits.TIME_S.meta]
    dt_s: Annotated[float, limits.STEP_S.meta]
    counts: list[tuple[Count, Count, Count]]
    gyro_counts: list[tuple[Count, Count, Count]] | UnsetType = UNSET
    imu_temperature_c: Annotated[float, limits.CHIP_C.meta] | None = None


class Climate(_Line, tag="climate", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The air, and the board's surface, at one time."""

    t_s: Annotated[float, limits.TIME_S.meta]
    temperature_c: Annotated[float, limits.AIR_C.meta] | None
    relative_humidity_pct: Annotated[float, limits.HUMIDITY_PCT.meta] | None
    pressure_hpa: Annotated[float, limits.PRESSURE_HPA.meta] | None
    board_temperature_c: Annotated[float, limits.CHIP_C.meta] | None = None
    board_temperature_source: Literal["surface", "imu"] | None = None


class Steps(_Line, tag="steps", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The step count at one time; `jitter_us` is the worst lateness since the last such line."""

    t_s: Annotated[float, limits.TIME_S.meta]
    count: Annotated[int, limits.STEPS.meta]
    jitter_us: Annotated[float, limits.LATE_US.meta]


class End(_Line, tag="end", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The last line of a run that came to its end."""

    outcome: Outcome
    flags: list[Flag]
    samples_lost: Number
    bus_retries: Number
    lines: Number
    """Number of lines before this one."""
    check: str | None = None
    """CRC-32 of all bytes before this line, in hexadecimal; None from an older program."""


Line = Header | Event | Samples | Climate | Steps | End
