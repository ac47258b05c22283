"""The angle sensors' drivers against published conversions, byte for byte.

The chip here is a plain table of register bytes, so that the simulated chips have no part in it.
Sources: ST application note AN5125 (table of output bytes and mg; its further rows, which are from
memory, agree with each other), ST datasheets DS12814 and DS13012, InvenSense PS-MPU-6000A and
RM-MPU-6000A.
"""

import pytest

from rig.clock import VirtualClock
from rig.devices.bus import Bus
from rig.devices.lsm6 import Lsm6
from rig.devices.mpu6050 import Mpu6050
from rig.settings.model import ImuSettings as ImuSettings
from rig.twin.chips.fake_bus import FakeBus


class Table:
    """Register bytes; a FIFO address gives its bytes one after the other."""

    def __init__(self, registers, fifo_register=-1, fifo=b""):
        self.registers = bytearray(256)
        for register, data in registers.items():
            self.registers[register : register + len(data)] = data
        self.fifo_register = fifo_register
        self.fifo = bytearray(fifo)

    def read(self, register, length, t_s):
        """Give bytes."""
        if register == self.fifo_register:
            data = self.fifo[:length]
            del self.fifo[:length]
            return list(data)
        return list(self.registers[register : register + length])

    def write(self, register, data, t_s):
        """Set a byte; the bits that start a reset clear themselves."""
        (value,) = data
        if (register, value) not in ((0x12, 0x01), (0x6B, 0x80)):
            self.registers[register] = value

    def reset(self, t_s):
        """Nothing."""


def opened(chip, make):
    clock = VirtualClock(start_s=10.0)
    bus = Bus(clock, FakeBus(clock, {0x6A: chip}).open)
    bus.open()
    imu = make(bus, clock)
    imu.open()
    return imu


def lsm6(chip, model="lsm6dsox", *, polled=True):
    return opened(chip, lambda b, c: Lsm6(b, c, model, 0x6A, ImuSettings(), polled=polled))


def mpu(chip, *, polled=True):
    return opened(chip, lambda b, c: Mpu6050(b, c, 0x6A, ImuSettings(), polled=polled))


@pytest.mark.parametrize(
    ("low", "high", "counts", "mg"),
    [
        (0x69, 0x16, 5737, 349.957),
        (0x09, 0x40, 16393, 999.97),  # this row and those below: from memory
        (0x97, 0xE9, -5737, -349.957),
        (0xF7, 0xBF, -16393, -999.97),
    ],
)
def test_st_output_bytes_are_little_endian_at_0_061_mg(low, high, counts, mg):
    zero = bytes(4)
    chip = Table({0x0F: b"\x6c", 0x1E: b"\x01", 0x28: bytes((low, high)) + zero})
    imu = lsm6(chip)
    (batch,) = imu.read_batches()
    assert batch.counts == [(counts, 0, 0)]
    assert batch.counts[0][0] / imu.counts_per_g * 1000 == pytest.approx(mg, abs=0.01)


@pytest.mark.parametrize(("model", "who"), [("lsm6dsox", 0x6C), ("ism330dhcx", 0x6B)])
def test_st_identities(model, who):
    assert lsm6(Table({0x0F: bytes((who,))}), model).identity.model == model


@pytest.mark.parametrize(("raw", "celsius"), [(0, 25.0), (256, 26.0), (-2560, 15.0)])
def test_st_temperature_has_256_counts_per_degree(raw, celsius):
    chip = Table({0x0F: b"\x6c", 0x20: raw.to_bytes(2, "little", signed=True)})
    assert lsm6(chip).temperature_c() == celsius


def test_st_fifo_words_are_told_apart_by_their_tags():
    """Tag: sensor in bits 7:3 (2 is the accelerometer, 1 the gyroscope), time slot in bits 2:1."""

    def word(sensor, slot, x):
        return bytes((sensor << 3 | slot << 1,)) + x.to_bytes(2, "little", signed=True) + bytes(4)

    words = [word(2, 0, 1), word(1, 0, 99), word(2, 1, -2), word(2, 3, 4), word(2, 0, 5)]
    chip = Table({0x0F: b"\x6c"}, 0x78, b"".join(words))
    imu = lsm6(chip, polled=False)
    imu.start()
    chip.registers[0x3A] = len(words)
    first, second = imu.read_batches()
    assert [c[0] for c in first.counts] == [1, -2]
    assert [c[0] for c in second.counts] == [4, 5]
    assert imu.samples_lost == 1
    assert second.t_s - first.t_s == pytest.approx(3 * first.dt_s)
    assert first.dt_s == pytest.approx(32 / 6667, rel=0.005)


@pytest.mark.parametrize(
    ("high", "low", "g"), [(0x40, 0x00, 1.0), (0xC0, 0x00, -1.0), (0x20, 0x01, 8193 / 16384)]
)
def test_mpu_output_bytes_are_big_endian_at_16384_per_g(high, low, g):
    chip = Table({0x75: b"\x68", 0x3A: b"\x01", 0x3B: bytes((high, low)) + bytes(4)})
    imu = mpu(chip)
    (batch,) = imu.read_batches()
    assert batch.counts[0][0] / imu.counts_per_g == g


def test_mpu_fifo_is_big_endian_in_count_and_data():
    fifo = bytes.fromhex("4000 C000 0001") * 2
    chip = Table({0x75: b"\x68", 0x72: b"\x00\x0c"}, 0x74, fifo)
    imu = mpu(chip, polled=False)
    imu.start()
    (batch,) = imu.read_batches()
    assert batch.counts == [(16384, -16384, 1)] * 2


@pytest.mark.parametrize(("raw", "celsius"), [(-521, 35.0), (0, 36.53)])
def test_mpu_temperature(raw, celsius):
    """340 counts per degree, -521 at 35 °C (product specification, 6.3)."""
    chip = Table({0x75: b"\x68", 0x41: raw.to_bytes(2, "big", signed=True)})
    assert mpu(chip).temperature_c() == pytest.approx(celsius, abs=0.01)
