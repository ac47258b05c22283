"""Wait until the board is at rest, then take the sensor's mean; shows the reason for waiting."""

import numpy as np

from rig.calibration.captures import Rest, check_rest, rest_of
from rig.clock import Task
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.devices.imu import Counts
from rig.errors import MachineFaultError

LOOK_S = 1.0
CAPTURE_S = 3.0
QUIET_DEG = 0.01
"""Largest difference of consecutive readings at rest."""
SHAKE_G = 0.004
"""Standard deviation of a sample at rest: several times the noise of any sensor in use."""
PATIENCE_S = 60.0


def steady_rest(machine: Machine, mover: Mover, what: str) -> Task[Rest]:
    """Wait for the board to come to rest, then average.

    Args:
        machine: opened; its watching tasks must be running.
        mover: waits under the interlocks.
        what: the capture's name, for messages.

    Raises:
        MachineFaultError: the board does not come to rest, or the sensor is silent.
        BadInputError: the capture does not suit a calibration.
    """
    deadline = machine.clock.time_s() + PATIENCE_S
    before: Rest | None = None
    while True:
        rest = yield from _look(machine, mover, LOOK_S)
        why = _why_not_quiet(rest, before, machine.imu.counts_per_g)
        if not why:
            break
        machine.live.wants = f"Waiting for the board to be still ({what}): {why}."
        if machine.clock.time_s() > deadline:
            raise MachineFaultError(
                "not_steady",
                f"The board did not come to rest within {PATIENCE_S:g} s ({what}): {why}.",
            )
        before = rest
    machine.live.wants = f"Capturing ({what}): hands off."
    rest = yield from _look(machine, mover, CAPTURE_S)
    machine.live.wants = ""
    check_rest(rest, machine.imu.counts_per_g, f"the capture at {what}")
    return rest


def _look(machine: Machine, mover: Mover, seconds: float) -> Task[Rest]:
    counts: list[Counts] = []
    with machine.listening_to_counts(counts):
        yield from mover.wait_s(seconds)
    if len(counts) < 10:
        raise MachineFaultError(
            "imu_silent",
            f"The angle sensor gave {len(counts)} samples within {seconds:g} s.",
        )
    return rest_of(counts, machine.live.imu_temperature_c or 25.0)


def _why_not_quiet(rest: Rest, before: Rest | None, counts_per_g: float) -> str:
    """Reason why the board is not at rest, in words; empty if it is."""
    shake_mg = 1e3 * max(rest.scatter_counts) / counts_per_g
    if shake_mg > 1e3 * SHAKE_G:
        return f"it shakes by {shake_mg:.1f} mg (allowed {1e3 * SHAKE_G:g} mg)"
    if before is None:
        return "first look"
    turned = np.cross(rest.counts, before.counts) / counts_per_g**2
    moved_deg = float(np.degrees(np.linalg.norm(turned)))
    if moved_deg > QUIET_DEG:
        return f"it moved by {moved_deg:.3f}° within {LOOK_S:g} s (allowed {QUIET_DEG:g}°)"
    return ""
