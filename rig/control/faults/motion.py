"""Faults of the stops, the switches, the motor and its pulses."""

from rig.control.faults.kinds import ALL, CHECK, HOMED, Fault
from rig.control.states import MOVING

MOTION: tuple[Fault, ...] = (
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
        "3° beyond its expected position",
        None,
        "Check the switch and its wire, and whether something blocks the board. " + CHECK,
    ),
    Fault(
        "limit_lower_stuck",
        "the lower switch stays open although the board has left it",
        MOVING,
        "cut",
        "after 3° of raising in homing; otherwise 1.5° above home",
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
        "Check whether something holds the board, and the sensor's screws. " + CHECK,
    ),
    Fault(
        "no_progress",
        "pulses are made but the angle does not follow",
        MOVING,
        "cut",
        "after 1.2° by steps and 0.3 s",
        "step_loss",
        "Check the motor's supply and wires, and whether something holds the board. " + CHECK,
    ),
    Fault(
        "wrong_direction",
        "the angle falls while the steps rise, or vice versa",
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
        "Find out what slows the computer down, and run `rig check --timing`. " + CHECK,
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
)
