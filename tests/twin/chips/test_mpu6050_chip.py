from struct import unpack

import pytest

from rig.twin.chips.mpu6050_chip import FIFO_BYTES, Mpu6050Chip


@pytest.fixture
def chip():
    made = Mpu6050Chip(lambda times_s: [(t / 10, -0.5, 3.0) for t in times_s], lambda t_s: 35.0)
    for register, value in ((0x6B, 0x01), (0x19, 4), (0x1A, 4)):
        made.write(register, [value], 0.0)
    return made


def level(chip, t_s):
    return unpack(">H", bytes(chip.read(0x72, 2, t_s)))[0]


def test_sleeps_after_a_reset():
    chip = Mpu6050Chip(lambda times_s: [], lambda t_s: 25.0)
    assert (chip.read(0x6B, 1, 0.0), chip.read(0x75, 1, 0.0)) == ([0x40], [0x68])
    assert chip.rate_hz == 0
    assert chip.read(0x3A, 1, 10.0) == [0]


def test_rate_and_corner(chip):
    assert (chip.rate_hz, chip.lowpass_hz) == (200.0, 21.0)


def test_samples_are_big_endian_and_saturate(chip):
    assert chip.read(0x3A, 1, 0.0049) == [0]
    assert chip.read(0x3A, 1, 0.0051) == [1]
    assert chip.read(0x3A, 1, 0.0052) == [0]
    x, y, z, raw = unpack(">hhhh", bytes(chip.read(0x3B, 8, 0.0053)))
    assert (x, y, z) == (round(0.0005 * 16384), -8192, 32767)
    assert raw == round((35 - 36.53) * 340)


def test_full_scale(chip):
    chip.write(0x1C, [0x10], 0.0)
    assert unpack(">h", bytes(chip.read(0x3F, 2, 0.01)))[0] == 3 * 4096


def test_fifo_counts_bytes_and_overflows(chip):
    chip.write(0x23, [0x08], 0.0)
    chip.write(0x6A, [0x40], 0.0)
    assert level(chip, 0.0501) == 60
    assert unpack(">h", bytes(chip.read(0x74, 6, 0.0501))[2:4])[0] == -8192
    assert level(chip, 0.0501) == 54
    assert chip.read(0x3A, 1, 0.0501)[0] & 0x10 == 0
    assert level(chip, 5.0) == FIFO_BYTES
    assert chip.read(0x3A, 1, 5.0)[0] & 0x10
    chip.write(0x6A, [0x44], 5.0)
    assert level(chip, 5.0) == 0
    assert chip.read(0x6A, 1, 5.0) == [0x40]
