import errno
import sys
import threading
from typing import Protocol

import pytest

from rig.clock import VirtualClock
from rig.devices.climate import ClimateSensor
from rig.errors import BadInputError, MachineFaultError
from rig.twin.chips.bme280_chip import Bme280Chip
from rig.twin.chips.fake_bus import FakeBus
from tests.devices.conftest import MakeBench


class AirBench(Protocol):
    """A bench with the chip and its sensor."""

    clock: VirtualClock
    wires: FakeBus
    chip: Bme280Chip
    sensor: ClimateSensor


@pytest.fixture
def one(bench):
    chip = Bme280Chip(lambda t_s: (20.0 + t_s / 100, 45.0, 990.0))
    made = bench({0x76: chip})
    made.chip = chip
    made.sensor = ClimateSensor(made.bus, made.clock, 0x76)
    return made


def test_reads_the_air_as_it_is(one):
    one.sensor.open()
    for later_s in (0.0, 10.0, 100.0):
        one.clock.pause_s(later_s)
        reading = one.sensor.read()
        assert reading.temperature_c == pytest.approx(20 + one.clock.time_s() / 100, abs=0.012)
        assert reading.relative_humidity_pct == pytest.approx(45.0, abs=0.02)
        assert reading.pressure_hpa == pytest.approx(990.0, abs=0.02)
        assert reading.doubts == ()


def test_measures_with_pauses_so_that_it_stays_cool(one):
    """The driver alone leaves 0.5 ms between measurements, whatever standby it is told."""
    one.sensor.open()
    assert one.bus.read(0x76, 0xF5)[0] >> 5 == 4  # 500 ms
    assert one.bus.read(0x76, 0xF4)[0] & 3 == 3


def test_a_reading_takes_little_of_the_bus(one):
    one.sensor.open()
    before = one.wires.transfers
    one.sensor.read()
    assert one.wires.transfers - before <= 8


def test_closing_puts_the_chip_to_sleep_even_when_it_is_gone(one):
    one.sensor.open()
    one.sensor.close()
    assert one.bus.read(0x76, 0xF4)[0] == 0
    one.sensor.open()
    one.wires.chips.clear()
    one.sensor.close()


def test_absent_chip(bench):
    one = bench({})
    with pytest.raises(BadInputError, match=r"No BME280 answers at address 0x76"):
        ClimateSensor(one.bus, one.clock, 0x76).open()


def test_bmp280_has_no_humidity(bench):
    one = bench({0x76: Bme280Chip(lambda t_s: (20, 50, 1000), identity=0x58)})
    with pytest.raises(BadInputError, match=r"BMP280, which has no humidity"):
        ClimateSensor(one.bus, one.clock, 0x76).open()


def test_wrong_chip(bench):
    one = bench({0x76: Bme280Chip(lambda t_s: (20, 50, 1000), identity=0x61)})
    with pytest.raises(BadInputError, match=r"is not a BME280.*0x61"):
        ClimateSensor(one.bus, one.clock, 0x76).open()


@pytest.mark.parametrize("blank", [0x00, 0xFF])
def test_blank_trimming_constants_are_refused(one, blank):
    one.chip.set_registers(0x88, bytes((blank,)) * 26)
    one.chip.set_registers(0xE1, bytes((blank,)) * 7)
    with pytest.raises(MachineFaultError, match="blank trimming"):
        one.sensor.open()


@pytest.mark.parametrize("blank", [0x00, 0xFF])
@pytest.mark.parametrize("register", [0x88, 0x8E, 0xE1], ids=["T1", "P1", "H2"])
def test_one_blank_constant_is_enough(one: AirBench, register: int, blank: int) -> None:
    one.chip.set_registers(register, bytes((blank, blank)))
    with pytest.raises(MachineFaultError, match="blank trimming") as caught:
        one.sensor.open()
    assert caught.value.cause == "climate_blank"


def test_all_ones_on_the_bus_is_no_bme280(one):
    one.wires.stuck[0x76] = 0xFF
    with pytest.raises(BadInputError, match="0xFF"):
        one.sensor.open()


@pytest.mark.parametrize(("raw", "end"), [(0x0000, 0), (0xFFF0, 100)])
def test_an_end_of_the_humidity_range_is_doubted(one, raw, end):
    one.chip.raw = (529191, 326816, raw)
    one.sensor.open()
    reading = one.sensor.read()
    assert reading.relative_humidity_pct is None
    assert f"exactly {end} %" in reading.doubts[0]
    assert reading.temperature_c == pytest.approx(24.79, abs=0.01)


def test_channels_that_were_not_measured_are_left_out(one):
    one.chip.raw = (529191, 0x80000, 0x8000)
    one.sensor.open()
    reading = one.sensor.read()
    assert (reading.relative_humidity_pct, reading.pressure_hpa) == (None, None)
    assert len(reading.doubts) == 2


def test_temperature_that_was_not_measured_spoils_the_rest(one):
    one.chip.raw = (0x80000, 0x80000, 0x8000)
    one.sensor.open()
    assert one.sensor.read()[:3] == (None, None, None)


def test_out_of_range_values_are_left_out(one):
    one.chip.raw = (900000, 326816, 30281)
    one.sensor.open()
    assert "outside of -40 to 85" in one.sensor.read().doubts[0]
    one.sensor.close()
    one.chip.raw = (529191, 900000, 30281)
    one.sensor.open()
    assert "hPa is outside" in one.sensor.read().doubts[0]


@pytest.mark.parametrize(
    ("air", "doubts"),
    [
        ((-39.8, 50.0, 1000.0), []),
        ((-40.2, 50.0, 1000.0), ["temperature"]),
        ((84.8, 50.0, 1000.0), []),
        ((85.2, 50.0, 1000.0), ["temperature"]),
        ((20.0, 50.0, 301.0), []),
        ((20.0, 50.0, 299.0), ["pressure"]),
        ((20.0, 50.0, 1099.0), []),
        ((20.0, 50.0, 1101.0), ["pressure"]),
        ((20.0, 0.5, 1000.0), []),
        ((20.0, 99.5, 1000.0), []),
    ],
)
def test_the_ranges_of_the_data_sheet_are_kept_from_both_sides(
    bench: MakeBench, air: tuple[float, float, float], doubts: list[str]
) -> None:
    one = bench({0x76: Bme280Chip(lambda t_s: air)})
    sensor = ClimateSensor(one.bus, one.clock, 0x76)
    sensor.open()
    reading = sensor.read()
    assert [doubt.split()[0] for doubt in reading.doubts] == doubts
    assert (reading.temperature_c is None) == (doubts == ["temperature"])
    assert (reading.relative_humidity_pct is None) == (doubts == ["temperature"])
    assert (reading.pressure_hpa is None) == bool(doubts)


@pytest.mark.parametrize(("transfer_s", "in_time"), [(0.24, True), (0.26, False)])
def test_a_reading_that_takes_a_second_is_given_up(
    one: AirBench, monkeypatch: pytest.MonkeyPatch, transfer_s: float, in_time: bool
) -> None:
    """The driver reads five times, the temperature before each channel; four come before the last.

    What has begun in time is let end.
    """
    one.sensor.open()
    read = one.chip.read

    def slow(register: int, length: int, t_s: float) -> list[int]:
        if (register, length) in ((0xFA, 3), (0xFD, 2), (0xF7, 3)):
            one.clock.pause_s(transfer_s)
        return read(register, length, t_s)

    monkeypatch.setattr(one.chip, "read", slow)
    if in_time:
        assert one.sensor.read().doubts == ()
    else:
        with pytest.raises(MachineFaultError) as caught:
            one.sensor.read()
        assert caught.value.cause == "climate_silent"


def test_the_reset_of_the_chip_is_sent_once_only(
    one: AirBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = one.wires.write_byte_data
    resets = []

    def refuse(i2c_addr: int, register: int, value: int) -> None:
        if register == 0xE0:
            resets.append(value)
            raise OSError(errno.EREMOTEIO, "no acknowledge")
        write(i2c_addr, register, value)

    monkeypatch.setattr(one.wires, "write_byte_data", refuse)
    with pytest.raises(MachineFaultError) as caught:
        one.sensor.open()
    assert caught.value.cause == "bus"
    assert resets == [0xB6]


def test_a_chip_that_changes_while_it_is_set_up_is_a_fault(
    one: AirBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The driver, too, reads the identity: the third time it is that of a relative."""
    identities = iter((0x60, 0x60, 0x58))
    read = one.wires.read_byte_data
    monkeypatch.setattr(
        one.wires,
        "read_byte_data",
        lambda address, register: next(identities) if register == 0xD0 else read(address, register),
    )
    with pytest.raises(MachineFaultError, match="fell silent") as caught:
        one.sensor.open()
    assert caught.value.cause == "climate_silent"


def test_a_sensor_that_is_not_open_is_not_read(one: AirBench) -> None:
    with pytest.raises(RuntimeError, match="not open"):
        one.sensor.read()


def test_a_chip_that_fell_asleep_is_set_up_again(one):
    one.sensor.open()
    one.chip.reset(one.clock.time_s())
    reading = one.sensor.read()
    assert reading.temperature_c is not None
    assert one.sensor.restarts == 1


def test_a_chip_that_is_pulled_out_is_a_fault(one):
    one.sensor.open()
    one.wires.chips.clear()
    with pytest.raises(MachineFaultError) as caught:
        one.sensor.read()
    assert caught.value.cause == "bus"


@pytest.mark.parametrize("error", [NotImplementedError, RuntimeError, ImportError])
def test_a_driver_that_does_not_load_here_is_told(one, monkeypatch, error):
    class Refuses:
        def find_spec(self, name, path=None, target=None):
            if name.startswith("adafruit_bme280"):
                raise error("not on this board")

    for name in [m for m in sys.modules if m.startswith("adafruit_bme280")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(sys, "meta_path", [Refuses(), *sys.meta_path])
    with pytest.raises(BadInputError, match="not on this board"):
        one.sensor.open()


def test_loading_the_driver_starts_no_thread(one):
    before = threading.active_count()
    one.sensor.open()
    assert threading.active_count() == before
