"""Choose the angle sensor's driver by the settings."""

from rig.clock import Clock
from rig.devices.bus import Bus
from rig.devices.imu import Imu
from rig.devices.lsm6 import Lsm6
from rig.devices.mpu6050 import Mpu6050
from rig.settings.model import Settings


def make_imu(settings: Settings, bus: Bus, clock: Clock) -> Imu:
    """The driver for the sensor that the settings name; it is not open yet.

    The gyroscope is read where the board is raised by hand: no steps tell how it moves.
    """
    chip = settings.bus
    polled, gyroscope = chip.imu_mode == "polled", settings.motion.raised_by == "hand"
    if chip.imu_model == "mpu6050":
        return Mpu6050(
            bus, clock, chip.imu_address, settings.imu, polled=polled, gyroscope=gyroscope
        )
    return Lsm6(
        *(bus, clock, chip.imu_model, chip.imu_address, settings.imu),
        polled=polled,
        gyroscope=gyroscope,
    )
