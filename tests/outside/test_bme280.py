"""The BME280 driver on the simulated chip, against published examples.

Temperature and pressure: worked example of Bosch datasheet BST-BMP280-DS001, 3.12 (the BME280 uses
the same formulas). Humidity: the datasheet has no example; the constants are those of the tests of
the public library pimoroni/bme280-python, the expected values follow from the datasheet's
integer formula (BST-BME280-DS002, 4.2.3), written out below. Nibbles: worked by hand from the
datasheet's layout, with the bytes of a public C++ test whose name was not noted.
"""

import pytest

from rig.clock import VirtualClock
from rig.devices.bus import Bus
from rig.devices.climate import ClimateSensor
from rig.twin.chips.bme280_chip import Bme280Chip, Trim
from rig.twin.chips.fake_bus import FakeBus

EXAMPLE_TRIM = bytes.fromhex("706B436718FC7D8E43D6D00B270B8C00F9FF8C3CF8C67017")
HUMIDITY_A = Trim(
    t=(28009, 25654, 50),
    p=(39145, -10750, 3024, 5667, -120, -7, 15500, -14600, 6000),
    h=(75, 376, 0, 286, 50, 30),
)


def measure(chip):
    clock = VirtualClock()
    bus = Bus(clock, FakeBus(clock, {0x76: chip}).open)
    bus.open()
    sensor = ClimateSensor(bus, clock, 0x76)
    sensor.open()
    reading = sensor.read()
    sensor.close()
    bus.close()
    return reading


def chip_with(raw, trim=HUMIDITY_A):
    chip = Bme280Chip(lambda t_s: (0.0, 0.0, 0.0), trim=trim)
    chip.raw = raw
    return chip


def humidity_q10(raw, t_fine, h1, h2, h3, h4, h5, h6):
    """The datasheet's 32-bit integer formula: %RH in units of 1/1024."""
    v = t_fine - 76800
    left = ((raw << 14) - (h4 << 20) - h5 * v + 16384) >> 15
    right = (((v * h6) >> 10) * (((v * h3) >> 11) + 32768) >> 10) + 2097152
    v = left * ((right * h2 + 8192) >> 14)
    v -= (((v >> 15) * (v >> 15)) >> 7) * h1 >> 4
    return min(max(v, 0), 419430400) >> 12


def test_datasheet_example():
    chip = chip_with((519888, 415148, 30281))
    chip.set_registers(0x88, EXAMPLE_TRIM)
    reading = measure(chip)
    assert reading.temperature_c == pytest.approx(25.08, abs=0.005)
    assert reading.pressure_hpa == pytest.approx(1006.5327, abs=0.0002)


def test_datasheet_example_data_registers():
    """0x7EED00 and 0x655AC0: the most significant byte first, the lowest four bits unused."""
    chip = chip_with((519888, 415148, 30281))
    clock = VirtualClock()
    wires = FakeBus(clock, {0x76: chip})
    wires.write_byte_data(0x76, 0xF4, 0b001_001_11)
    clock.pause_s(0.05)
    assert wires.read_i2c_block_data(0x76, 0xF7, 6) == [0x65, 0x5A, 0xC0, 0x7E, 0xED, 0x00]


def test_humidity_example():
    reading = measure(chip_with((529191, 326816, 30281)))
    assert reading.temperature_c == pytest.approx(24.7895, abs=0.0003)
    assert reading.pressure_hpa == pytest.approx(1006.6152, abs=0.0002)
    assert humidity_q10(30281, 126911, *HUMIDITY_A.h) == 70317
    assert reading.relative_humidity_pct == pytest.approx(70317 / 1024, abs=0.003)
    assert reading.relative_humidity_pct == pytest.approx(68.66997, abs=0.0005)


def test_negative_constants_that_share_a_byte():
    """0xF0, 0x5A, 0x81 at 0xE4 to 0xE6: H4 = -16·16 + 0xA = -246 and H5 = -127·16 + 5 = -2027."""
    trim = HUMIDITY_A._replace(h=(75, 376, 0, -246, -2027, 30))
    assert trim.bytes_high()[3:6] == bytes((0xF0, 0x5A, 0x81))
    chip = chip_with((529191, 326816, 3000), HUMIDITY_A._replace(h=(75, 200, 0, 0, 0, 30)))
    chip.set_registers(0xE4, bytes((0xF0, 0x5A, 0x81)))
    expected_pct = humidity_q10(3000, 126911, 75, 200, 0, -246, -2027, 30) / 1024
    assert 20 < expected_pct < 90
    assert measure(chip).relative_humidity_pct == pytest.approx(expected_pct, abs=0.01)


@pytest.mark.parametrize(
    "air", [(5.0, 15.0, 950.0), (20.0, 65.0, 1013.25), (23.0, 50.0, 1000.0), (38.0, 88.0, 1040.0)]
)
def test_raw_values_of_the_simulated_chip_invert_the_formula(air):
    reading = measure(Bme280Chip(lambda t_s: air))
    assert reading.temperature_c == pytest.approx(air[0], abs=0.006)
    assert reading.relative_humidity_pct == pytest.approx(air[1], abs=0.01)
    assert reading.pressure_hpa == pytest.approx(air[2], abs=0.003)
