"""Has the sensor moved on its board? The hinge in its frame, as the raise itself shows it."""

from rig.analysis.angle.plane import Array
from rig.calibration.apply import gravity_g
from rig.calibration.home import axis_shift_parts_deg
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile

LIMIT_DEG = 0.3
"""The hinge may have moved by this in the sensor's frame since the calibration, and by four times
the standard uncertainty of seeing it."""

SETTLE_S = 1.0
"""Left out at the start, where the board speeds up."""

BLOCK_S = 0.1


def check_hinge(
    run: RunFile, calibration: Calibration, raise_s: float, edge_s: float, flags: list[Flag]
) -> None:
    """Flag a sensor that has slipped about another axis than the hinge since its calibration.

    Args:
        run: the run as read.
        calibration: of its sensor.
        raise_s: when the raise started.
        edge_s: the first edge; later the bag may shake the board.
        flags: `angle_sensor_fault` is added to them.
    """
    gravity = raise_gravity(run, calibration, raise_s, edge_s)
    if not gravity.size:
        return  # the bag slid before there was a block of samples
    try:
        parts = axis_shift_parts_deg(calibration, gravity)
    except BadInputError:
        return  # too short a raise shows no hinge
    if any(abs(moved) > max(LIMIT_DEG, 4.0 * u) for moved, u in parts):
        flags.append("angle_sensor_fault")


def raise_gravity(run: RunFile, calibration: Calibration, raise_s: float, edge_s: float) -> Array:
    """Calibrated gravity through the raise, averaged over blocks, shape (n, 3)."""
    t_s, counts = run.samples_arrays()
    chosen = (t_s > raise_s + SETTLE_S) & (t_s < edge_s)
    block = max(1, round(BLOCK_S * run.header.settings.imu.rate_hz))
    used = int(chosen.sum()) // block * block
    gravity = gravity_g(calibration, counts[chosen][:used])
    means: Array = gravity.reshape(-1, block, 3).mean(axis=1)
    return means
