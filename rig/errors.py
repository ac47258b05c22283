"""Errors reported to a person, each as one clear sentence."""

from typing import Literal

Cause = Literal[
    "emergency_stop",
    "limit_upper",
    "limit_lower_missing",
    "limit_lower_stuck",
    "angle_mismatch",
    "no_progress",
    "wrong_direction",
    "over_time",
    "late_pulse",
    "imu_silent",
    "imu_frozen",
    "imu_saturated",
    "imu_absurd",
    "imu_reset",
    "imu_setup",
    "bus",
    "climate_silent",
    "climate_blank",
    "climate_doubtful",
    "home_mismatch",
    "not_steady",
    "not_warmed",
    "beam_broken_before_raise",
    "blade_unseen",
    "blade_stalled",
    "blade_lost",
    "blade_park",
    "bag_missing",
    "bag_not_placed",
    "beam_flicker",
    "control_silent",
    "suspended",
    "edges_lost",
    "disk",
    "disk_nearly_full",
    "clock_jump",
    "low_supply",
    "busy",
]
"""Causes for which the machine stops itself; their remedies are in `rig.control.faults.table`."""


class RigError(Exception):
    """Error for a person: what is wrong, where, and how to fix it."""

    exit_code = 1


class BadInputError(RigError):
    """A request or an input cannot be used; nothing has moved (exit code 2)."""

    exit_code = 2


class BusyError(RigError):
    """Another process or task is using the rig (exit code 2)."""

    exit_code = 2


class MachineFaultError(RigError):
    """The machine stopped itself; `rig.control.faults.table.told` adds the remedy for its cause.

    Args:
        cause: stable word for files and tests.
        what: the sentence with the facts and figures.
    """

    def __init__(self, cause: Cause, what: str) -> None:
        super().__init__(what)
        self.cause: Cause = cause
        self.what = what
