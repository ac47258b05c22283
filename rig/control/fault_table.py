"""Every condition under which the machine stops itself or refuses to begin, in one table.

None of it is a safety function: the emergency stop cuts the motor's supply in hardware, and this
table only makes the program follow. The screw holds the board by itself, so "driver off" leaves
the board where it is, at any angle.
"""

from typing import Literal, NamedTuple

from rig.control.states import MOVING, STATES
from rig.runfile.model import Flag, State

Response = Literal["cut", "last_run", "refuse"]
RESPONSES: dict[Response, str] = {
    "cut": "no further pulse, driver off, run closed as a fault, state `halted`",
    "last_run": "the run under way is finished, and no other begins",
    "refuse": "nothing begins",
}

ALL: frozenset[State] = frozenset(STATES) - {"halted"}
HOMED: frozenset[State] = ALL - {"parked", "homing"}
MEASURING: frozenset[State] = frozenset({"raising", "sliding"})

CHECK = "Then start again: the rig homes first."


class Fault(NamedTuple):
    """One condition: where it counts, what the machine does, what a person does about it."""

    cause: str
    """Stable word for files and tests."""
    condition: str
    """What is the matter, in words."""
    states: frozenset[State]
    """States in which it is looked for or can arise."""
    response: Response
    notice: str
    """How soon it is noticed, and by what."""
    flag: Flag | None
    """Put on the run."""
    action: str
    """The remedy."""


FAULTS: tuple[Fault, ...] = (
    Fault(
        "emergency_stop",
        "the emergency stop is pressed, or its wire is broken",
        ALL,
        "cut",
        "before the next pulse, by its level",
        None,
        "Find out why, make the rig safe, release the stop. " + CHECK,
    ),
    Fault(
        "limit_upper",
        "the upper switch is open: board too high, or wire broken",
        MOVING,
        "cut",
        "before the next pulse, by its level",
        None,
        "Lower the board by the hand crank, check `linkage.soft_limit_deg`, the switch and its"
        " wire. " + CHECK,
    ),
    Fault(
        "limit_lower_missing",
        "homing does not find the lower switch",
        frozenset({"homing"}),
        "cut",
        "3° beyond the place where it should open",
        None,
        "Check the switch, its wire and what may block the board. " + CHECK,
    ),
    Fault(
        "limit_lower_stuck",
        "the lower switch stays open although the board has left it",
        MOVING,
        "cut",
        "after raising by 3° in homing; 1.5° above home otherwise",
        None,
        "Check the switch, its wire, and that the motor moves the board. " + CHECK,
    ),
    Fault(
        "angle_mismatch",
        "steps and angle sensor differ: steps lost, board cranked by hand, sensor moved",
        HOMED,
        "cut",
        "beyond `interlocks.angle_mismatch_deg` for 0.3 s",
        "step_loss",
        "Look for something that holds the board, check the sensor's screws. " + CHECK,
    ),
    Fault(
        "no_progress",
        "pulses are made and the angle does not follow",
        MOVING,
        "cut",
        "after 1.2° by steps and 0.3 s",
        "step_loss",
        "Check the motor's supply and wires, and what holds the board. " + CHECK,
    ),
    Fault(
        "wrong_direction",
        "the angle falls while the steps rise, or the other way round",
        MOVING,
        "cut",
        "after 0.8° by steps and 0.3 s",
        "step_loss",
        "Set `pins.direction_raises_high` right, or swap the wires of one motor phase. " + CHECK,
    ),
    Fault(
        "over_time",
        "a move takes longer than its distance and speed allow",
        MOVING,
        "cut",
        "at the move's own deadline",
        None,
        "Look for what slows the computer down, and run `rig check --timing`. " + CHECK,
    ),
    Fault(
        "late_pulse",
        "a step pulse came too late",
        MOVING,
        "cut",
        "at that pulse, beyond `interlocks.late_pulse_ms`",
        None,
        "Close other programs on this computer, and run `rig check --timing`. " + CHECK,
    ),
    Fault(
        "control_silent",
        "the control loop hangs while pulses are made",
        MOVING,
        "cut",
        "before the next pulse, 2 s after its last sign of life",
        None,
        "Look for a slow disk or a busy computer (`rig check --timing`). " + CHECK,
    ),
    Fault(
        "imu_silent",
        "the angle sensor gives no samples",
        ALL,
        "cut",
        "after `interlocks.imu_silence_s`",
        "angle_sensor_fault",
        "Check the sensor's cable and run `rig check`. " + CHECK,
    ),
    Fault(
        "imu_frozen",
        "the angle sensor gives the same sample again and again",
        ALL,
        "cut",
        "after 12 equal samples, at the next reading",
        "angle_sensor_fault",
        "Switch the sensor's power off and on and run `rig check`. " + CHECK,
    ),
    Fault(
        "imu_saturated",
        "an axis of the angle sensor is at the end of its range",
        ALL,
        "cut",
        "after 0.1 s of it, at the next reading",
        "angle_sensor_fault",
        "Check the sensor's screws and run `rig check`. " + CHECK,
    ),
    Fault(
        "imu_absurd",
        "what the angle sensor shows is not gravity on this board",
        ALL,
        "cut",
        "after 0.25 s of it, at the next reading",
        "angle_sensor_fault",
        "Check that the sensor sits fast on the cradle, and run `rig check`. " + CHECK,
    ),
    Fault(
        "imu_reset",
        "the angle sensor has lost its configuration",
        ALL,
        "cut",
        "when its registers are compared, every 2 s",
        "angle_sensor_fault",
        "Check its plug and power. " + CHECK,
    ),
    Fault(
        "imu_setup",
        "the angle sensor does not keep its configuration",
        frozenset({"parked"}),
        "refuse",
        "when the rig is opened",
        None,
        "Check its power and its address.",
    ),
    Fault(
        "bus",
        "a chip does not answer, also not when asked again",
        ALL,
        "cut",
        "after the retries of one transfer, about 30 ms",
        None,
        "Check its plug and power. " + CHECK,
    ),
    Fault(
        "climate_silent",
        "the climate sensor does not finish a measurement",
        ALL,
        "cut",
        "at its next reading",
        None,
        "Check its plug and power. " + CHECK,
    ),
    Fault(
        "climate_blank",
        "the climate sensor's constants are blank",
        frozenset({"parked"}),
        "refuse",
        "when the rig is opened",
        None,
        "Check its plug and power, or replace it.",
    ),
    Fault(
        "climate_doubtful",
        "the climate sensor gives no believable temperature or humidity",
        ALL,
        "last_run",
        "after three such readings in a row",
        None,
        "Check the sensor's place, plug and power, and run `rig check`.",
    ),
    Fault(
        "beam_broken_before_raise",
        "the beam is broken when the raise should begin",
        frozenset({"placing", "dwelling"}),
        "cut",
        "before the first pulse",
        "beam_fault",
        "Move the bag uphill, take away what stands in the beam, shade it from the sun. " + CHECK,
    ),
    Fault(
        "blade_unseen",
        "the beam does not see the blade pass",
        frozenset({"placing"}),
        "cut",
        "when the blade is past the beam by its steps",
        "beam_fault",
        "Check that the blade moves (its motor, driver, belts), and the beam (`rig check`). "
        + CHECK,
    ),
    Fault(
        "blade_stalled",
        "the beam stays broken where the blade should have cleared it",
        frozenset({"placing"}),
        "cut",
        "10 mm beyond that place the first time, 2 mm later",
        None,
        "Look for what holds the blade or stands in the beam; push the blade to its park place. "
        + CHECK,
    ),
    Fault(
        "blade_lost",
        "the blade meets the beam elsewhere than it should: steps lost, or not parked",
        frozenset({"placing"}),
        "cut",
        "when it has passed the beam, there and back",
        None,
        "Push the blade to its park place, look for what holds it, check `blade.lead_mm` and"
        " `board.catch_mm`. " + CHECK,
    ),
    Fault(
        "blade_park",
        "the blade's park switch does not open",
        frozenset({"placing"}),
        "cut",
        "5 mm beyond the place where it should open",
        None,
        "Check the switch, its wire and what may hold the blade. " + CHECK,
    ),
    Fault(
        "bag_missing",
        "the blade meets no bag, and none slides past the beam",
        frozenset({"placing"}),
        "cut",
        "when the board has been raised to its soft limit for it",
        None,
        "Lay the bag against the parked blade; look whether it fell off or sticks to the board. "
        + CHECK,
    ),
    Fault(
        "bag_not_placed",
        "the blade does not bring the bag to its place",
        frozenset({"placing"}),
        "cut",
        "after `blade.tries` pushes",
        None,
        "Lay the bag flat and straight against the parked blade. " + CHECK,
    ),
    Fault(
        "beam_flicker",
        "the beam breaks and clears again and again",
        frozenset({"dwelling", "raising", "sliding"}),
        "cut",
        "at the 12th edge within a second",
        "beam_fault",
        "Shade the receiver from the sun and lamps, aim it, check its wire. " + CHECK,
    ),
    Fault(
        "home_mismatch",
        "the home reading is far from the calibration",
        frozenset({"homing"}),
        "cut",
        "after homing",
        "floor_tilt",
        "Check the feet and the sensor's screws, then lay a level on the board (`rig level check`)"
        " or calibrate (`rig level`).",
    ),
    Fault(
        "edges_lost",
        "an edge of an input could not be taken over",
        ALL,
        "cut",
        "at the next look, within 50 ms",
        "beam_fault",
        "Start again; if it comes back, restart the computer.",
    ),
    Fault(
        "disk",
        "the run file cannot be written",
        ALL,
        "cut",
        "at the first write that fails",
        None,
        "Free space or change the disk; what was written before is kept.",
    ),
    Fault(
        "disk_nearly_full",
        "less than `interlocks.min_free_mb` is free",
        ALL,
        "last_run",
        "within 2 s; before the first run it is refused",
        None,
        "Free some space, or choose another folder with --out.",
    ),
    Fault(
        "clock_jump",
        "wall time and monotonic time went apart: the computer slept, or its clock was set",
        MOVING,
        "cut",
        "within 2 s, beyond 5 s of difference",
        None,
        "Keep the computer from sleeping, and let its clock be set before a series. " + CHECK,
    ),
    Fault(
        "low_supply",
        "the computer reports that its own supply is too low",
        ALL,
        "cut",
        "within 2 s of its report",
        None,
        "Use the supply that the computer's maker asks for, and a short thick cable. " + CHECK,
    ),
    Fault(
        "not_steady",
        "the board does not come to rest for a reading of the calibration",
        frozenset({"parked"}),
        "cut",
        "after a minute",
        None,
        "Keep away from the rig, and look for what shakes it.",
    ),
    Fault(
        "busy",
        "another process uses this rig",
        frozenset({"parked"}),
        "refuse",
        "when the rig is opened",
        None,
        "End the other one first, or wait for it.",
    ),
)
