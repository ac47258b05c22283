"""The settings of a rig as typed structures; every quantity's name carries its unit.

The defaults describe the reference rig. A field's `description` is the comment that
`rig settings` prints above it.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from rig.settings.method import DWELL_S, RATE_DEG_S


class _Section(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A table of `rig.toml`; unknown keys are refused."""


PinNumber = Annotated[int, Meta(ge=0, le=27, description="GPIO number (not the header's pin)")]
Address = Annotated[int, Meta(ge=0x08, le=0x77)]


class Pins(_Section, frozen=True):
    """GPIO numbers. Inputs: a contact closed to ground reads low, an open one high."""

    step: PinNumber = 12
    direction: PinNumber = 16
    enable: PinNumber = 20
    limit_lower: PinNumber = 5
    limit_upper: PinNumber = 6
    beam_1: PinNumber = 23
    beam_2: Annotated[
        PinNumber | None, Meta(description="second beam; leave out if not fitted")
    ] = None
    emergency_stop: PinNumber = 26
    start_button: PinNumber = 17
    stop_button: PinNumber = 27
    lamp_red: PinNumber = 22
    lamp_green: PinNumber = 24
    lamp_blue: PinNumber = 25
    buzzer: Annotated[PinNumber | None, Meta(description="buzzer; leave out if not fitted")] = None
    blade_step: Annotated[
        PinNumber | None, Meta(description="step input of the blade's driver; leave out if none")
    ] = None
    blade_direction: Annotated[
        PinNumber | None, Meta(description="direction input of the blade's driver")
    ] = None
    blade_enable: Annotated[
        PinNumber | None, Meta(description="enable input of the blade's driver, active-high")
    ] = None
    blade_park: Annotated[
        PinNumber | None,
        Meta(description="switch that opens at the blade's park position; optional"),
    ] = None
    direction_raises_high: Annotated[
        bool, Meta(description="true when a high direction line raises the board")
    ] = True
    beam_broken_is_high: Annotated[
        bool, Meta(description="true when the receiver's output is high while the beam is broken")
    ] = True
    blade_uphill_is_high: Annotated[
        bool, Meta(description="true when a high direction line drives the blade uphill")
    ] = True


class BusSettings(_Section, frozen=True):
    """The I2C bus and the chips on it."""

    number: Annotated[int, Meta(ge=0, le=99, description="N of /dev/i2c-N")] = 1
    imu_model: Annotated[
        Literal["lsm6dsox", "ism330dhcx", "mpu6050"], Meta(description="the angle sensor")
    ] = "lsm6dsox"
    imu_address: Address = 0x6A
    imu_mode: Annotated[
        Literal["fifo", "polled"], Meta(description="polled: for chips whose FIFO is not used")
    ] = "fifo"
    climate_address: Address = 0x76


class ImuSettings(_Section, frozen=True):
    """Configuration of the angle sensor."""

    rate_hz: Annotated[Literal[104, 208, 416], Meta(description="nominal output data rate")] = 208
    lowpass_hz: Annotated[
        float, Meta(ge=1, le=200, description="desired low-pass corner; the nearest is used")
    ] = 20.8
    filter_delay_ms: Annotated[
        float, Meta(ge=0, le=200, description="delay of the chip's filters before calibration")
    ] = 22.0
    u_filter_delay_ms: Annotated[float, Meta(ge=0, le=100)] = 6.0


class Linkage(_Section, frozen=True):
    """Geometry of the lead screw: its two pivots and the angle between them at level."""

    base_pivot_mm: Annotated[
        float, Meta(gt=0, le=3000, description="distance of hinge and screw's base pivot (a)")
    ] = 900.0
    cradle_pivot_mm: Annotated[
        float, Meta(gt=0, le=3000, description="distance of hinge and screw's cradle pivot (b)")
    ] = 450.0
    level_angle_deg: Annotated[
        float, Meta(ge=15, le=90, description="angle between a and b with the board level (γ₀)")
    ] = 20.0
    home_angle_deg: Annotated[
        float, Meta(ge=-5, le=5, description="inclination where the lower switch opens")
    ] = 0.0
    travel_deg: Annotated[
        float, Meta(gt=5, le=60, description="inclination where the upper switch opens")
    ] = 46.0
    soft_limit_deg: Annotated[
        float, Meta(gt=5, le=60, description="highest inclination allowed in a run")
    ] = 45.0


class Screw(_Section, frozen=True):
    """The lead screw and its stepper."""

    lead_mm: Annotated[float, Meta(gt=0.1, le=25, description="travel of the nut per turn")] = 4.0
    full_steps_per_turn: Annotated[int, Meta(ge=24, le=800)] = 200
    microsteps: Annotated[
        Literal[1, 2, 4, 8, 16, 32], Meta(description="step pulses per full step")
    ] = 2
    max_pulse_rate_hz: Annotated[
        float, Meta(ge=50, le=20000, description="highest step pulse rate at any angle")
    ] = 2000.0
    min_pulse_gap_us: Annotated[
        float, Meta(ge=20, le=5000, description="shortest time between pulses, also to catch up")
    ] = 250.0


class MotionSettings(_Section, frozen=True):
    """Who raises the board, and its speeds."""

    raised_by: Annotated[
        Literal["motor", "hand"],
        Meta(description="hand: a person raises it; no motor, no limit switches"),
    ] = "motor"
    rate_deg_s: Annotated[
        float, Meta(ge=RATE_DEG_S[0], le=RATE_DEG_S[1], description="raise rate of a run")
    ] = 1.0
    homing_rate_deg_s: Annotated[float, Meta(ge=0.05, le=2.0)] = 1.0
    lowering_rate_deg_s: Annotated[
        float, Meta(ge=0.1, le=4.0, description="lower if the pulse rate limit requires it")
    ] = 4.0
    acceleration_deg_s2: Annotated[float, Meta(ge=0.2, le=50)] = 4.0
    ramp_jerk_deg_s3: Annotated[
        float, Meta(ge=1, le=1000, description="limits the jolt at start and stop")
    ] = 40.0


class Beam(_Section, frozen=True):
    """One or two break-beams; positions measured uphill from the board's lower edge."""

    position_mm: Annotated[float, Meta(gt=0, le=2000, description="the upper beam")] = 590.0
    u_position_mm: Annotated[float, Meta(ge=0, le=20)] = 0.5
    second_spacing_mm: Annotated[
        float, Meta(gt=5, le=300, description="distance of the second beam downhill of the first")
    ] = 50.0
    u_second_spacing_mm: Annotated[float, Meta(ge=0, le=5)] = 0.2
    height_mm: Annotated[
        float, Meta(ge=1, le=30, description="height above the top of the board's crown")
    ] = 7.0
    response_ms: Annotated[float, Meta(ge=0, le=20, description="delay of the receiver")] = 0.5
    u_response_ms: Annotated[float, Meta(ge=0, le=20)] = 0.3


class BoardSettings(_Section, frozen=True):
    """The board on the cradle; lengths measured uphill from its lower edge."""

    length_mm: Annotated[float, Meta(gt=100, le=3000)] = 1219.0
    width_mm: Annotated[float, Meta(gt=100, le=2000)] = 610.0
    hole_start_mm: Annotated[float, Meta(gt=0, le=3000, description="lower rim of the hole")] = (
        914.0
    )
    hole_end_mm: Annotated[float, Meta(gt=0, le=3000, description="upper rim of the hole")] = 1067.0
    catch_mm: Annotated[float, Meta(ge=0, le=2000, description="upper face of the catch")] = 300.0


class BagSettings(_Section, frozen=True):
    """Defaults for a bag; a run may override them."""

    length_mm: Annotated[float, Meta(gt=10, le=500, description="along the slide")] = 152.0
    width_mm: Annotated[float, Meta(gt=10, le=500)] = 152.0
    u_length_mm: Annotated[
        float, Meta(gt=0, le=50, description="effective length, skew included")
    ] = 4.0
    gap_mm: Annotated[
        float, Meta(gt=0, le=50, description="from leading edge to beam, as placed")
    ] = 8.0
    u_gap_mm: Annotated[float, Meta(gt=0, le=20)] = 1.0
    slump_mm: Annotated[
        float, Meta(ge=0, le=20, description="expected creep of the fill before the slide")
    ] = 1.5
    u_slump_mm: Annotated[float, Meta(ge=0, le=20)] = 0.9


class Blade(_Section, frozen=True):
    """The blade that pushes the bag into place; when parked, its uphill face is the catch."""

    fitted: Annotated[bool, Meta(description="false: the bag is placed by hand")] = False
    travel_mm: Annotated[
        float, Meta(ge=350, le=450, description="from the park position to the uphill end")
    ] = 400.0
    lead_mm: Annotated[float, Meta(ge=1, le=200, description="travel per turn of the motor")] = 40.0
    full_steps_per_turn: Annotated[int, Meta(ge=24, le=800)] = 200
    microsteps: Annotated[
        Literal[1, 2, 4, 8, 16, 32], Meta(description="step pulses per full step")
    ] = 4
    speed_mm_s: Annotated[float, Meta(ge=1, le=100)] = 20.0
    acceleration_mm_s2: Annotated[float, Meta(ge=5, le=2000)] = 100.0
    ramp_jerk_mm_s3: Annotated[float, Meta(ge=20, le=100000)] = 1000.0
    thickness_mm: Annotated[
        float, Meta(ge=0.5, le=30, description="along the slide, pad included")
    ] = 3.0
    u_thickness_mm: Annotated[float, Meta(ge=0, le=5)] = 0.1
    overshoot_mm: Annotated[
        float, Meta(ge=0.5, le=40, description="travel of its back face beyond the beam")
    ] = 6.0
    springback_mm: Annotated[
        float, Meta(ge=0, le=20, description="rebound of the bag's edge when released")
    ] = 1.0
    u_springback_mm: Annotated[float, Meta(ge=0, le=10)] = 0.6
    bag_tolerance_mm: Annotated[
        float, Meta(ge=1, le=100, description="largest deviation of the pushed bag's length")
    ] = 22.0
    tries: Annotated[int, Meta(ge=1, le=10, description="pushes before giving up")] = 3
    settle_deg: Annotated[
        float, Meta(ge=0, le=8, description="tilt and back after placing; 0: none")
    ] = 0.0


class CycleSettings(_Section, frozen=True):
    """Times and limits of one run."""

    dwell_s: Annotated[
        float, Meta(ge=DWELL_S[0], le=DWELL_S[1], description="rest before the raise")
    ] = 10.0
    clear_timeout_s: Annotated[
        float, Meta(gt=0.1, le=60, description="longest time from beam broken to beam clear")
    ] = 3.0
    after_clear_s: Annotated[
        float, Meta(ge=0, le=5, description="raise continues this long after the beam clears")
    ] = 0.15
    placing_timeout_s: Annotated[
        float, Meta(gt=1, le=86400, description="longest wait for the start button")
    ] = 900.0
    climate_interval_s: Annotated[float, Meta(ge=0.5, le=60)] = 2.0
    idle_sample_rate_hz: Annotated[
        float, Meta(ge=1, le=50, description="recorded sample rate outside the raise")
    ] = 10.0


class Interlocks(_Section, frozen=True):
    """Limits beyond which the machine stops. None of them is a safety function."""

    angle_mismatch_deg: Annotated[
        float, Meta(gt=0, le=10, description="difference of angle sensor and step count")
    ] = 1.5
    home_mismatch_deg: Annotated[
        float, Meta(gt=0, le=10, description="difference of home reading and calibration")
    ] = 0.3
    late_pulse_ms: Annotated[
        float, Meta(gt=0, le=200, description="a pulse later than this stops the move")
    ] = 20.0
    imu_silence_s: Annotated[float, Meta(gt=0.05, le=10)] = 0.5
    min_free_mb: Annotated[float, Meta(ge=1, le=100000, description="free space a run needs")] = (
        50.0
    )


class Mechanics(_Section, frozen=True):
    """Masses, screw, motor, supply and frame; used by `rig sizing` and the drawings."""

    moving_mass_kg: Annotated[
        float, Meta(gt=0, le=100, description="board, cradle and all that turns with them")
    ] = 20.0
    centre_of_mass_mm: Annotated[
        float, Meta(gt=0, le=3000, description="of what turns, from the hinge along the board")
    ] = 540.0
    base_mass_kg: Annotated[
        float, Meta(gt=0, le=500, description="all that stands on the floor, screw and motor too")
    ] = 39.0
    base_centre_mm: Annotated[
        float, Meta(ge=-2000, le=3000, description="centre of mass of that, uphill of the hinge")
    ] = 595.0
    hinge_height_mm: Annotated[
        float, Meta(gt=0, le=2000, description="hinge axis above the floor")
    ] = 545.0
    pivot_drop_mm: Annotated[
        float, Meta(ge=0, le=300, description="cradle pivot below the plane of hinge and board")
    ] = 0.0
    lowered_gap_mm: Annotated[
        float, Meta(ge=0, le=1000, description="smallest gap under the lowered cradle")
    ] = 120.0
    screw_diameter_mm: Annotated[
        float, Meta(ge=6, le=60, description="nominal diameter of the trapezoidal thread")
    ] = 16.0
    flank_angle_deg: Annotated[
        float, Meta(ge=0, le=45, description="half the thread angle; 15 for ISO trapezoidal")
    ] = 15.0
    least_thread_friction: Annotated[
        float, Meta(gt=0, le=1, description="lowest coefficient; for self-locking")
    ] = 0.15
    most_thread_friction: Annotated[
        float, Meta(gt=0, le=1, description="highest coefficient; for sizing the motor")
    ] = 0.23
    bearing_friction: Annotated[
        float, Meta(ge=0, le=1, description="coefficient of the screw's thrust bearing")
    ] = 0.02
    bearing_diameter_mm: Annotated[
        float, Meta(ge=0, le=200, description="mean diameter of the thrust bearing")
    ] = 20.0
    screw_modulus_gpa: Annotated[float, Meta(gt=1, le=300)] = 205.0
    screw_yield_mpa: Annotated[float, Meta(gt=10, le=2000)] = 250.0
    screw_start_mm: Annotated[
        float, Meta(ge=0, le=500, description="base pivot to the upper face of the screw's bearing")
    ] = 75.0
    screw_length_mm: Annotated[
        float, Meta(gt=10, le=3000, description="thread from that face to its free end")
    ] = 387.0
    nut_length_mm: Annotated[float, Meta(gt=1, le=300)] = 44.0
    tube_length_mm: Annotated[
        float, Meta(gt=10, le=3000, description="cradle pivot to the lower face of the nut")
    ] = 418.0
    tube_plug_mm: Annotated[
        float,
        Meta(ge=0, le=500, description="cradle pivot to what closes the tube above the screw"),
    ] = 23.0
    motor_overhang_mm: Annotated[
        float, Meta(ge=0, le=1000, description="base pivot to the motor's far end")
    ] = 179.0
    motor_width_mm: Annotated[float, Meta(ge=0, le=300)] = 57.0
    holding_n_m: Annotated[
        float, Meta(gt=0, le=100, description="holding torque, both phases on")
    ] = 3.0
    pull_out_250_n_m: Annotated[
        float, Meta(ge=0, le=100, description="pull-out torque at 250 full steps/s")
    ] = 2.7
    pull_out_500_n_m: Annotated[
        float, Meta(ge=0, le=100, description="pull-out torque at 500 full steps/s")
    ] = 2.3
    pull_out_1000_n_m: Annotated[
        float, Meta(ge=0, le=100, description="pull-out torque at 1000 full steps/s")
    ] = 1.6
    pull_out_2000_n_m: Annotated[
        float, Meta(ge=0, le=100, description="pull-out torque at 2000 full steps/s")
    ] = 0.8
    motor_current_a: Annotated[
        float, Meta(gt=0, le=50, description="peak phase current, as set on the driver")
    ] = 4.2
    motor_resistance_ohm: Annotated[
        float, Meta(gt=0, le=100, description="resistance of a phase, warm")
    ] = 1.1
    supply_v: Annotated[float, Meta(gt=0, le=60, description="voltage of the motor supply")] = 24.0
    supply_a: Annotated[float, Meta(gt=0, le=100, description="its rated current")] = 6.5
    driver_efficiency: Annotated[float, Meta(gt=0.1, le=1)] = 0.85
    frame_stiffness_n_m2: Annotated[
        float, Meta(gt=1, le=1e7, description="E·I of both cradle rails together, in N·m²")
    ] = 14000.0
    hinge_play_mm: Annotated[float, Meta(ge=0, le=5, description="radial play of the hinge")] = 0.05
    hinge_spacing_mm: Annotated[
        float, Meta(gt=10, le=3000, description="between the two hinge bearings")
    ] = 270.0
    screw_play_mm: Annotated[
        float, Meta(ge=0, le=5, description="play along the screw: nut, bearing and both pivots")
    ] = 0.1
    sensor_offset_mm: Annotated[
        float,
        Meta(ge=-2000, le=2000, description="from the bag's centre uphill to the sensor"),
    ] = 150.0


class Files(_Section, frozen=True):
    """Locations of files."""

    runs: Annotated[str, Meta(description="folder for run files")] = "runs"
    calibration: Annotated[
        str, Meta(description="calibration file; empty: the newest next to this file")
    ] = ""


class Settings(_Section, frozen=True):
    """All of `rig.toml`."""

    name: Annotated[str, Meta(min_length=1, max_length=60, description="the rig's own name")] = (
        "reference rig"
    )
    pins: Pins = field(default_factory=Pins)
    bus: BusSettings = field(default_factory=BusSettings)
    imu: ImuSettings = field(default_factory=ImuSettings)
    linkage: Linkage = field(default_factory=Linkage)
    screw: Screw = field(default_factory=Screw)
    motion: MotionSettings = field(default_factory=MotionSettings)
    beam: Beam = field(default_factory=Beam)
    board: BoardSettings = field(default_factory=BoardSettings)
    bag: BagSettings = field(default_factory=BagSettings)
    blade: Blade = field(default_factory=Blade)
    cycle: CycleSettings = field(default_factory=CycleSettings)
    interlocks: Interlocks = field(default_factory=Interlocks)
    mechanics: Mechanics = field(default_factory=Mechanics)
    files: Files = field(default_factory=Files)
