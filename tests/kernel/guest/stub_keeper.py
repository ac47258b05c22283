"""Keeps the registers of the two chips on the kernel's i2c-stub as the chips would, from outside.

The stub is plain memory that all processes share: what the program writes there is read here, and
what the chips measure is written. It has no FIFO, so the angle sensor is for the polled mode.
Standard input ends it.
"""

import select
import sys
from struct import pack

from smbus2 import SMBus

from rig.clock import RealClock
from rig.devices import lsm6
from rig.twin.chips.bme280_chip import Bme280Chip

IMU, CLIMATE = 0x6A, 0x76
AIR = (21.5, 47.0, 1009.0)
"""°C, %RH, hPa."""
ANGLES_G = (0.3420, 0.0, 0.9397)
"""Gravity along the chip's axes at 20°: sin 20°, 0, cos 20°."""
CHIP_TEMPERATURE_C = 24.5
LOOK_MS = 2
MEASURED = 0xF7
CONTROLS = (0xF2, 0xF5, 0xF4)
"""The last makes the first count (datasheet, 5.4.3), so all are written when one changed."""


def main() -> None:
    clock = RealClock()
    climate = Bme280Chip(lambda _: AIR)
    with SMBus(0) as bus:
        write = bus.write_byte_data
        for register, value in enumerate(climate.read(0, 256, clock.time_s())):
            write(CLIMATE, register, value)
        reset_imu(bus)
        print("ready", flush=True)
        flicker = 0
        while not select.select([sys.stdin], [], [], LOOK_MS / 1000)[0]:
            if bus.read_byte_data(IMU, lsm6.CTRL3_C) & 0x01:
                reset_imu(bus)
            flicker ^= 1
            counts = [round(g * lsm6.COUNTS_PER_G) + flicker for g in ANGLES_G]
            bus.write_i2c_block_data(IMU, lsm6.OUTX_L_A, list(pack("<hhh", *counts)))
            bus.write_byte_data(IMU, lsm6.STATUS_REG, 0x05)
            wanted = {register: bus.read_byte_data(CLIMATE, register) for register in CONTROLS}
            if any(climate.read(r, 1, clock.time_s())[0] != value for r, value in wanted.items()):
                for register, value in wanted.items():
                    climate.write(register, [value], clock.time_s())
            measured = climate.read(MEASURED, 8, clock.time_s())
            bus.write_i2c_block_data(CLIMATE, MEASURED, measured)


def reset_imu(bus: SMBus) -> None:
    """Default values of an LSM6DSOX; the register whose bit tells of the end comes last."""
    for first, length in ((0x00, 0x12), (0x13, 0x0D), (0x20, 0x20), (0x40, 0x20), (0x60, 0x20)):
        bus.write_i2c_block_data(IMU, first, [0] * length)
    bus.write_byte_data(IMU, lsm6.WHO_AM_I, lsm6.KNOWN["lsm6dsox"])
    raw = round((CHIP_TEMPERATURE_C - 25) * 256)
    bus.write_i2c_block_data(IMU, lsm6.OUT_TEMP_L, list(pack("<h", raw)))
    bus.write_byte_data(IMU, lsm6.CTRL3_C, 0x04)


if __name__ == "__main__":
    main()
