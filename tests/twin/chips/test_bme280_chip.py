import pytest

from rig.twin.chips.bme280_chip import Bme280Chip, Trim, raw_for


@pytest.fixture
def chip():
    return Bme280Chip(lambda t_s: (20.0 + t_s, 50.0, 1000.0))


def raw_temperature(chip, t_s):
    return int.from_bytes(bytes(chip.read(0xFA, 3, t_s)), "big") >> 4


def celsius(chip, t_s):
    return Trim().t_fine(raw_temperature(chip, t_s)) / 5120


def test_nothing_is_measured_in_sleep(chip):
    assert chip.read(0xF7, 8, 100.0) == [0x80, 0, 0, 0x80, 0, 0, 0x80, 0]
    assert chip.read(0xF3, 1, 100.0) == [0]


def test_forced_mode_measures_once_and_sleeps_again(chip):
    chip.write(0xF2, [1], 0.0)
    chip.write(0xF4, [0b001_001_01], 0.0)
    assert chip.read(0xF3, 1, 0.007) == [0x08]
    assert raw_temperature(chip, 0.007) == 0x80000
    assert celsius(chip, 0.009) == pytest.approx(20.0, abs=0.02)
    assert chip.read(0xF4, 1, 0.009) == [0b001_001_00]
    assert celsius(chip, 50.0) == pytest.approx(20.0, abs=0.02)


def test_normal_mode_measures_again_after_each_pause(chip):
    chip.write(0xF5, [4 << 5], 0.0)
    chip.write(0xF4, [0b001_000_11], 0.0)
    assert celsius(chip, 0.4) == pytest.approx(20.0, abs=0.01)
    assert celsius(chip, 0.51) == pytest.approx(20.5, abs=0.01)
    assert celsius(chip, 10.0) == pytest.approx(29.55, abs=0.06)


def test_humidity_is_switched_on_by_the_next_write_of_the_mode(chip):
    chip.write(0xF4, [0b001_001_11], 0.0)
    chip.write(0xF2, [1], 0.0)
    assert chip.read(0xFD, 2, 1.0) == [0x80, 0x00]
    chip.write(0xF4, [0b001_001_11], 1.0)
    assert chip.read(0xFD, 2, 2.0) != [0x80, 0x00]


def test_a_reset_needs_the_right_word(chip):
    chip.write(0xF4, [0b001_001_11], 0.0)
    chip.write(0xE0, [0x01], 0.0)
    assert chip.read(0xF4, 1, 0.0) == [0b001_001_11]
    chip.write(0xE0, [0xB6], 0.0)
    assert chip.read(0xF4, 1, 0.0) == [0]


def test_the_nearest_raw_value_is_found_on_rising_and_falling_formulas():
    assert raw_for(70.2, lambda r: r / 10, 16) == 702
    assert raw_for(1000 - 70.24, lambda r: 1000 - r / 10, 16) == 702
    assert raw_for(-5.0, lambda r: float(r), 16) == 0
