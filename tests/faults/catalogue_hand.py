"""What can break on a rig whose board a person raises, and in which states."""

import errno

from rig.settings.model import CycleSettings, MotionSettings, Settings
from rig.twin.draws import changed
from tests.faults import injections as do
from tests.faults.catalogue import AIR, BUS, HOST_S, IMU
from tests.faults.harness import SCENARIO, Bench, Fault, hold

STATES = ("placing", "dwelling", "raising", "sliding", "lowering")
BENCH = Bench(
    Settings(
        cycle=CycleSettings(dwell_s=2.5, placing_timeout_s=30.0),
        motion=MotionSettings(raised_by="hand", rate_deg_s=2.0),
    ),
    changed(SCENARIO, hand={"pauses_per_s": 0.0, "jerks_per_s": 0.0}),
    start_now=False,
)


def _fault(
    name: str, inject: object, states: tuple[str, ...], *causes: str, **more: object
) -> Fault:
    return Fault(name, inject, states, frozenset(causes), bench=BENCH, **more)  # type: ignore[arg-type]


FAULTS: tuple[Fault, ...] = (
    _fault(
        "beam's wire broken",
        lambda c: hold(c, "beam_1", True),
        ("dwelling",),
        "beam_broken_before_raise",
    ),
    _fault(
        "beam's wire breaks in the raise",
        lambda c: hold(c, "beam_1", True),
        ("raising",),
        ending="no result",
    ),
    _fault(
        "beam's receiver is dead",
        lambda c: hold(c, "beam_1", False),
        ("dwelling", "raising"),
        ending="no result",
    ),
    _fault("beam flickers", do.flicker, ("dwelling", "raising", "sliding"), "beam_flicker"),
    _fault("angle sensor unplugged", do.unplug(IMU), STATES, "bus", "imu_silent"),
    _fault(
        "angle sensor's registers all read 0xFF",
        do.stuck(IMU, 0xFF),
        STATES,
        *("imu_reset", "imu_silent", "imu_frozen", "imu_saturated", "imu_absurd"),
    ),
    _fault("angle sensor frozen", do.frozen, STATES, "imu_frozen"),
    _fault("angle sensor saturated", do.saturated, STATES, "imu_saturated", "imu_absurd"),
    _fault("angle sensor came off its screws", do.turned, STATES, "imu_absurd"),
    _fault("angle sensor reset to its defaults", do.reset_imu, STATES, "imu_reset", "imu_silent"),
    _fault(
        "bus: two transfers fail",
        do.bus_errors(errno.EREMOTEIO, 2),
        STATES,
        ending="rides through",
    ),
    _fault("bus: every transfer fails", do.bus_errors(errno.EIO, 100_000), STATES, *BUS),
    _fault("climate sensor unplugged", do.unplug(AIR), STATES, *BUS),
    _fault("computer's supply too low", do.low_supply, STATES, "low_supply", visible_s=HOST_S),
    _fault(
        "computer's clock set by an hour in a raise",
        do.clock_set,
        ("raising", "lowering"),
        "clock_jump",
        visible_s=HOST_S,
    ),
    _fault("disk full", do.writes_fail(errno.ENOSPC), STATES, "disk", file_may_end_early=True),
    _fault("an edge of an input is lost", do.edge_lost, STATES, "edges_lost"),
    _fault(
        "frame or floor moved since the calibration",
        do.other_calibration,
        ("placing",),
        "home_mismatch",
    ),
)
"""Every fault with the states in which it can happen; those of motor and switches are not there."""
