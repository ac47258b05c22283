"""What can break, and in which states."""

# fmt: off

import errno
from pathlib import Path

from tests.faults import injections as do
from tests.faults.catalogue_blade import BLADE_FAULTS
from tests.faults.harness import HAND_NOW, Fault, hold

MOVES = ("homing", "raising", "sliding", "lowering")
STATES = ("homing", "placing", "dwelling", "raising", "sliding", "lowering")
ALL = ("parked", *STATES)
UP, BACK, TILT = "placing up", "placing back", "placing tilt"
BLADE = (UP, "placing beam", BACK, TILT)
"""Parts of `placing` with a blade: on its way up, in the beam, on its way back, the settle tilt."""
RESTING_READ_S = 0.2
"""While nothing moves, the angle sensor is read this often."""
HOST_S = 1.55
"""The computer is asked this often."""


def _causes(*names: str) -> frozenset[str]:
    return frozenset(names)


BUS = _causes("bus")
IMU = "imu_address"
AIR = "climate_address"

FAULTS: tuple[Fault, ...] = (
    Fault("emergency stop pressed", do.estop, (*ALL, *BLADE), _causes("emergency_stop")),
    Fault("emergency stop's wire makes contact for 3 ms only", do.estop_glitch, (*STATES, *BLADE),
          _causes("emergency_stop")),
    Fault("upper switch's wire broken", lambda c: hold(c, "limit_upper", True), (*MOVES, "placing",
          *BLADE),
          _causes("limit_upper")),
    Fault("upper switch opens for 3 ms", do.upper_glitch, (*MOVES, "placing", *BLADE),
          _causes("limit_upper")),
    Fault("lower switch never opens", lambda c: hold(c, "limit_lower", False), ("parked",),
          _causes("limit_lower_missing", "no_progress"), 5.0),
    Fault("lower switch never opens, and no stop is below it", do.no_lower_end, ("parked",),
          _causes("limit_lower_missing"), 8.0),
    Fault("lower switch's wire broken", lambda c: hold(c, "limit_lower", True),
          ("parked", "homing"), _causes("limit_lower_stuck"), 2.2, from_motion=True),
    Fault("lower switch's wire breaks at work", lambda c: hold(c, "limit_lower", True),
          ("dwelling", "raising", "sliding", "lowering", TILT), _causes("limit_lower_stuck"), 1.5),
    Fault("beam's wire broken", lambda c: hold(c, "beam_1", True), ("parked", "homing", "dwelling"),
          _causes("beam_broken_before_raise"), 8.0, bench=HAND_NOW),
    Fault("beam's wire breaks in the raise", lambda c: hold(c, "beam_1", True), ("raising",),
          _causes(), ending="no result"),
    Fault("beam's receiver is dead", lambda c: hold(c, "beam_1", False), ("dwelling", "raising"),
          _causes(), ending="no result"),
    Fault("beam flickers", do.flicker, ("dwelling", "raising", "sliding"), _causes("beam_flicker"),
          0.3),
    Fault("angle sensor unplugged", do.unplug(IMU), (*ALL, UP, TILT), BUS | _causes("imu_silent"),
          RESTING_READ_S + 0.05),
    Fault("angle sensor's registers all read 0xFF", do.stuck(IMU, 0xFF), (*ALL, UP, TILT),
          _causes("imu_reset", "imu_silent", "imu_frozen", "imu_saturated", "imu_absurd"), 0.75),
    Fault("angle sensor's registers all read 0x00", do.stuck(IMU, 0x00), (*ALL, UP, TILT),
          _causes("imu_reset", "imu_silent", "imu_frozen"), 0.75),
    Fault("angle sensor frozen", do.frozen, (*ALL, UP, TILT), _causes("imu_frozen"),
          0.06 + RESTING_READ_S),
    Fault("angle sensor saturated", do.saturated, (*ALL, UP, TILT), _causes("imu_saturated",
          "imu_absurd"),
          0.1 + RESTING_READ_S),
    Fault("angle sensor shows half of gravity", do.scaled(0.5), (*ALL, UP, TILT),
          _causes("imu_absurd"), 0.25 + RESTING_READ_S),
    Fault("angle sensor came off its screws", do.turned, (*ALL, UP, TILT),
          _causes("imu_absurd", "angle_mismatch"), 0.25 + RESTING_READ_S),
    Fault("angle sensor reset to its defaults", do.reset_imu, (*ALL, UP, TILT),
          _causes("imu_reset", "imu_silent"),
          0.75),
    Fault("angle sensor's range changed by a disturbance", do.other_range, (*ALL, UP, TILT),
          _causes("imu_absurd", "imu_reset"), 0.25 + RESTING_READ_S),
    Fault("bus: two transfers fail", do.bus_errors(errno.EREMOTEIO, 2), (*STATES, UP), _causes(),
          ending="rides through"),
    Fault("bus: every transfer fails", do.bus_errors(errno.EIO, 100_000), (*ALL, UP, TILT), BUS,
          RESTING_READ_S + 0.05),
    Fault("bus: every transfer times out", do.bus_errors(errno.ETIMEDOUT, 100_000), (*ALL, UP,
          TILT), BUS,
          RESTING_READ_S + 0.05),
    Fault("bus: adapter pulled out", do.bus_errors(errno.ENODEV, 100_000), (*ALL, UP, TILT), BUS,
          RESTING_READ_S + 0.05),
    Fault("climate sensor unplugged", do.unplug(AIR), (*ALL, UP), BUS, 2.1),
    Fault("climate sensor's registers all read 0xFF", do.stuck(AIR, 0xFF), (*ALL, UP),
          _causes("climate_silent", "climate_doubtful", "climate_blank"), 2.1, "last run"),
    Fault("climate sensor loses power for a moment", do.reset_climate, (*STATES, UP), _causes(),
          ending="rides through"),
    Fault("climate sensor's humidity at the end of its range", do.humidity_at_end,
          ("homing", "dwelling"), _causes("climate_doubtful"), ending="last run"),
    Fault("climate sensor measures nothing", do.not_measured, ("homing", "dwelling"),
          _causes("climate_doubtful"), ending="last run"),
    Fault("motor without current", do.motor_dead, ("parked", "raising", "lowering", TILT),
          _causes("no_progress", "angle_mismatch", "limit_lower_missing", "limit_lower_stuck"),
          1.5, from_motion=True),
    Fault("enable wire broken", do.enable_wire, ("parked", "raising", "lowering", TILT),
          _causes("no_progress", "angle_mismatch", "limit_lower_missing", "limit_lower_stuck"),
          1.5, from_motion=True),
    Fault("motor turns the wrong way", do.wrong_way, ("parked", "raising", "lowering", TILT),
          _causes("wrong_direction", "angle_mismatch", "limit_lower_stuck"), 1.3, from_motion=True),
    Fault("motor loses every other step", do.loses_half, ("raising", "lowering"),
          _causes("angle_mismatch", "no_progress"), 1.7),
    Fault("board cranked by hand", do.cranked, ("placing", "dwelling", "raising", "lowering", UP),
          _causes("angle_mismatch", "no_progress"), RESTING_READ_S + 0.8),
    Fault("computer's supply too low", do.low_supply, (*ALL, UP), _causes("low_supply"), HOST_S),
    Fault("computer's clock set by an hour in a move", do.clock_set, (*MOVES, UP, TILT),
          _causes("clock_jump"),
          HOST_S),
    Fault("computer's clock set by an hour at rest", do.clock_set, ("parked", "placing",
          "dwelling"), _causes(),
          ending="rides through"),
    Fault("disk nearly full", do.disk_nearly_full, (*STATES, UP), _causes("disk_nearly_full"),
          ending="last run"),
    Fault("disk full", do.writes_fail(errno.ENOSPC), (*STATES, UP), _causes("disk"), 0.3,
          file_may_end_early=True),
    Fault("disk read-only", do.writes_fail(errno.EROFS), (*STATES, UP), _causes("disk"), 0.3,
          file_may_end_early=True),
    Fault("disk does not take what it was given", do.sync_fails, ("homing", "placing", "dwelling",
          UP),
          _causes("disk"), {"homing": 4.0, "placing": 4.0, "dwelling": 4.0, UP: 30.0},
          file_may_end_early=True),
    Fault("control loop hangs", do.control_hangs, ("raising", "lowering", UP, TILT),
          _causes("control_silent"),
          2.0),
    Fault("computer busy elsewhere for 60 ms", do.late, ("homing", "raising", "lowering", TILT),
          _causes("late_pulse"), 0.06),
    Fault("pulses hang", do.pulses_hang, ("parked", "dwelling"), _causes("over_time"), 60.0),
    Fault("an edge of an input is lost", do.edge_lost, (*STATES, UP), _causes("edges_lost"), 0.0),
    Fault("frame or floor moved since the calibration", do.other_calibration, ("parked",),
          _causes("home_mismatch"), 8.0),
    *BLADE_FAULTS,
)
"""Every fault with the states in which it can happen."""

HERE = Path(__file__).parent
