"""Everything true of the simulated rig, its bag and its air, which nobody measuring it knows."""

from typing import Literal

from msgspec import Struct, field

from rig.calibration.model import Vector
from rig.twin.fabric import Face
from rig.twin.friction import LawName


class BagTruth(Struct, frozen=True, kw_only=True):
    """How the bag is placed and how soft it is; None: drawn for each placing.

    `rig/twin/draws.py` has the figures of the draws. All sizes are invented.
    """

    gap_mm: float | None = None
    """None: the stated gap with the error of a person's hand."""
    skew_deg: float | None = None
    """None: between 0 and 4°."""
    turn_deg: float | None = None
    """While it slides the bag turns by this and back again, and as far the other way."""
    turn_travel_mm: float = 150.0
    """Travel in which it has done so once."""
    creep_mm_s: float | None = None
    """Speed of creep just before the slide; None is drawn for the series. It grows e-fold with
    each `creep_tangent` of the board's tangent; a law with a bristle creeps by itself."""
    creep_tangent: float = 0.008
    slump_mm: float | None = None
    """None: between 0 and 3 mm."""
    slump_follows: float | None = None
    """Share of the slump by which the trailing edge follows; None: between 0 and 0.5."""
    late_slump_mm: float | None = None
    """How much further the fill runs in the slide itself; None: between 0 and 1 mm."""
    late_slump_travel_mm: float = 15.0
    """63 % of that in this travel."""
    slump_done: float | None = None
    """Share of µs at which all of the fill has slumped; None: between 0.6 and 1, so that it may be
    the moment of the slide."""
    slump_is_sudden: bool | None = None
    """All of it comes at that moment; None: in one of eight placings."""
    rebound_mm: float = 0.0
    """The edge springs back downhill by this after placing."""
    pressure_pa: float = 185.0
    stall_at_mm: float | None = None
    """Travel at which a sticky spot begins; None: there is none."""
    stall_width_mm: float = 40.0
    stall_gain: float = 1.0
    catch_travel_mm: float | None = None
    """Travel to the catch; None: as the settings place it."""
    lost_after: int | None = None
    """With this placing's slide, counted from 1, the bag falls off the board; None: never."""


class Spot(Struct, frozen=True, kw_only=True):
    """A sticky spot across the board, of spilt drink or old conditioner."""

    place_mm: float
    """Its lower end, uphill of the board's lower edge."""
    width_mm: float
    """Along the slide."""
    gain: float
    """Friction of the whole bag rises by this share when its middle lies on the spot's."""


class BoardTruth(Struct, frozen=True, kw_only=True):
    """The machine's body: how it stands, how it is bent, how it moves.

    Sizes of spots, crown, yaw and shake are invented; a crown of 2 mm is what a board of plywood
    is often allowed (from memory).
    """

    floor_along_deg: float = 0.0
    """Floor tilt along the slide, uphill positive; part of the total inclination."""
    floor_across_deg: float = 0.0
    hinge_cross_deg: float = 0.0
    base_pivot_error_mm: float = 0.0
    cradle_pivot_error_mm: float = 0.0
    start_angle_deg: float = 1.5
    """Cradle angle when the power comes on."""
    pull_out_hz: float = 2600.0
    """Pulse rate (at the settings' microsteps) above which the motor loses steps."""
    pull_in_hz: float = 900.0
    """Highest pulse rate at which a standing motor starts."""
    spots: tuple[Spot, ...] = ()
    crown_mm: float = 0.0
    """Height of its middle above its ends."""
    level_at_mm: float = 609.5
    """Where on the crowned board the level stood that the sensor was calibrated against."""
    yaw_deg: float = 0.0
    """Turn of the board with its beams on the cradle, about its normal."""
    shake_share: float = 0.0
    """Share of its friction that the bag loses for 1 g of vibration of the board."""
    frame_hz: float = 100.0
    """Resonance of the frame, at which it passes most of the motor's vibration on."""
    frame_quality: float = 4.0
    jam_deg: float | None = None
    """Cradle angle that the motor cannot pass upward; None: nothing jams."""


class BladeTruth(Struct, frozen=True, kw_only=True):
    """The blade and what it does to a soft bag; None: drawn for each push."""

    start_mm: float = 0.0
    """How far above its park place it stands when the power comes on."""
    thickness_error_mm: float = 0.0
    play_mm: float = 0.15
    """Of its drive, on reversing."""
    jam_mm: float | None = None
    """Place above the park place that it cannot pass; None: nothing jams."""
    springback_mm: float | None = None
    """None: between 0 and 2 mm."""
    fold_share: float = 0.02
    """Share of the pushes in which the bag folds or piles up."""


class BeamTruth(Struct, frozen=True, kw_only=True):
    """The light barriers."""

    response_ms: float = 0.5
    spacing_error_mm: float = 0.0
    hysteresis_mm: float = 0.2
    """What leaves the beam is seen until it is this far out of it."""
    is_blind: bool = False
    """The receiver says "free" whatever stands in the beam."""
    warp_break_deg: float | None = None
    """Cradle angle at which the board's crown bends into the first beam; None: it never does."""
    warp_clear_deg: float = 90.0
    """Cradle angle at which it bends out of the beam again."""
    sun: Literal["none", "stuck_clear", "stuck_broken", "flicker"] = "none"
    """Sun on the receiver: it sees light always, never, or by fits and starts while it moves."""


class GyroTruth(Struct, frozen=True, kw_only=True):
    """The sensor's gyroscope: raw = gain·turn + bias + drift·(T − reference) + noise.

    Defaults by ST's data sheet DS12814, table 3: zero-rate level ±1 °/s, its change 0.01 °/s per K,
    noise 3.8 m°/s/√Hz; the gain's error of 1 % is from memory.
    """

    bias_deg_s: Vector = (0.0, 0.0, 0.0)
    gain: Vector = (1.0, 1.0, 1.0)
    drift_deg_s_per_k: Vector = (0.0, 0.0, 0.0)
    noise_deg_s_rthz: float = 3.8e-3


class HandTruth(Struct, frozen=True, kw_only=True):
    """How a person raises the board, by a crank or a lever that moves it less than the hand.

    Tremor: Wade, Gresty and Findley (Arch. Neurol. 39, 1982, 358–362), 97 persons with the hand
    held out: 0.0015 to 0.035 g at the dominant frequency, most often 0.01 g at about 7 Hz, within
    2.5 Hz; physiological tremor as a whole lies at 6 to 12 Hz (Lakie and others, J. Physiol. 593,
    2015, 4411–4422). Everything else is judged: no source.
    """

    tremor_g: float = 0.01
    """Amplitude at the hand."""
    tremor_hz: float = 8.5
    tremor_band_hz: float = 2.5
    reduction: float = 0.1
    """Way of the board's upper edge for a way of the hand of 1."""
    edge_mm: float = 1100.0
    """From the hinge to that edge."""
    turn_deg: float = 0.6
    """The board rises by this with one turn of the crank."""
    ripple: float = 0.10
    """Amplitude of the pace over a turn of the crank, as a share; half of it twice a turn."""
    pace_sd: float = 0.08
    """Standard deviation of the pace, as a share, with a needle to follow."""
    pace_memory_s: float = 2.0
    slowness: float = 0.0
    """The whole raise is slower by this share."""
    pauses_per_s: float = 0.02
    pause_s: float = 0.6
    """Mean length of a pause, in which the hand changes its grip."""
    jerks_per_s: float = 0.02
    jerk_deg_s: float = 1.0
    """Height of a jerk in the pace."""
    jerk_length_s: float = 0.12
    jerk_at_deg: float | None = None
    """One more jerk when the board comes to this angle."""


class ImuTruth(Struct, frozen=True, kw_only=True):
    """The angle sensor: raw = shear·f/gain + bias + drift·(T − reference) + noise."""

    mounting_deg: Vector = (0.0, 0.0, 0.0)
    """Rotation vector from the board's frame to the chip's, any size."""
    yaw_deg: float = 0.0
    """Turn about the board's normal since the calibration, as when it was screwed on again. A
    calibration that is made on the twin itself has it in."""
    bias_g: Vector = (0.0, 0.0, 0.0)
    gain: Vector = (1.0, 1.0, 1.0)
    shear: Vector = (0.0, 0.0, 0.0)
    """How far the axes are from square: y into x, z into x, z into y; no calibration sees it."""
    drift_g_per_k: Vector = (0.0, 0.0, 0.0)
    reference_temperature_c: float = 23.0
    noise_g_rthz: float = 70e-6
    digital_delay_ms: float = 11.5
    """Delay in the chip beside that of its low-pass filter."""
    rate_error: float = 0.0
    """Relative error of the chip's oscillator; its trim register knows it to 0.15 %."""
    radius_mm: float = 550.0
    """From the hinge to the chip."""
    vibration_g: float = 0.02
    """Of the motor, at the pulse frequency before the chip's filter; half of it at twice that."""
    self_heating_k: float = 2.0
    gyro: GyroTruth = field(default_factory=GyroTruth)


class AirTruth(Struct, frozen=True, kw_only=True):
    """The room, and what the climate sensor makes of it."""

    temperature_c: float = 23.0
    relative_humidity_pct: float = 50.0
    pressure_hpa: float = 1006.0
    temperature_drift_k_h: float = 0.0
    humidity_drift_pct_h: float = 0.0
    board_offset_k: float = 0.0
    """Board surface above the air, as in the sun."""
    sensor_temperature_error_k: float = 0.0
    sensor_humidity_error_pct: float = 0.0
    humidity_before_pct: float | None = None
    """Where the fabric came from; None: it is in balance, on the wetting branch."""
    conditioned_h: float = 24.0
    """Hours in this air before the first placing."""


class Scenario(Struct, frozen=True, kw_only=True):
    """One face of one bag on one rig in one series; runs differ by their placings."""

    face: Face = field(default_factory=Face)
    law: LawName = "coulomb"
    law_parameters: dict[str, float] = field(default_factory=dict)
    bag: BagTruth = field(default_factory=BagTruth)
    board: BoardTruth = field(default_factory=BoardTruth)
    beam: BeamTruth = field(default_factory=BeamTruth)
    blade: BladeTruth = field(default_factory=BladeTruth)
    imu: ImuTruth = field(default_factory=ImuTruth)
    hand: HandTruth = field(default_factory=HandTruth)
    air: AirTruth = field(default_factory=AirTruth)
    session: str = "session 1"
    series: str = "series 1"
    is_session_named: bool = False
    """No other session has its name, so the air may change within it."""
    slides_before: int = 0
    """Slides since the surface was fresh, before the first placing."""


class PlacingDraw(Struct, frozen=True, kw_only=True):
    """What was drawn when the bag was put down once."""

    number: int
    gap_mm: float
    """Leading edge to the first beam."""
    length_mm: float
    """Leading to trailing edge along the slide, skew included."""
    skew_deg: float
    slump_mm: float
    slump_done: float
    scatter: float
    """Relative deviation of the friction: run, series and session together."""
    slump_is_sudden: bool = False
    slump_follows: float = 0.0
    late_slump_mm: float = 0.0
    turn_deg: float = 0.0
    creep_mm_s: float = 0.0


class Truth(Struct, frozen=True, kw_only=True):
    """What really happened in one placing; nothing of it is known to the analysis."""

    number: int
    law: LawName
    mu_static: float
    mu_kinetic: float
    onset_angle_deg: float | None
    """Total inclination when sliding starts; None when it never did. With a law that has a
    bristle, where the board's tangent first exceeds the law's highest level at rest, µs."""
    onset_time_s: float | None
    """Monotonic time of the onset."""
    gap_mm: float
    """Travel from the onset to the first beam: the gap as placed less slump and creep."""
    length_mm: float
    """Travel between the two edges at one beam: the length as placed plus what the slump adds."""
    gap_placed_mm: float
    slump_mm: float
    skew_deg: float
    cross_slope_deg: float
    dwell_s: float | None
    surface_humidity_pct: float
    moisture: float
    is_caught: bool
    """It came to rest on the catch."""
    crept_mm: float = 0.0
    """Travel before the onset."""
    slump_follows: float = 0.0
    slump_is_sudden: bool = False
    late_slump_mm: float = 0.0
    turn_deg: float = 0.0
    local_slope_deg: float = 0.0
    """Of the crowned board under the bag, beyond the board as a whole; in `onset_angle_deg`."""
    level_slope_deg: float = 0.0
    """The same where the level stood."""
    board_yaw_deg: float = 0.0
    sensor_yaw_deg: float = 0.0
    sticky_share: float = 0.0
    """How much more the board's sticky spots hold the bag at its start place."""
    vibration_loss: float = 0.0
    """Share of its friction that vibration took at the onset."""
