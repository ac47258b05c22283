import pytest

from rig.devices.bus_view import BusView
from rig.errors import MachineFaultError
from rig.twin.chips.bme280_chip import Bme280Chip
from tests.devices.conftest import Bench


def air(_t_s):
    return 23.0, 50.0, 1000.0


@pytest.fixture
def one(bench):
    return bench({0x76: Bme280Chip(air)})


def test_a_register_read_is_one_transfer(one):
    view = BusView(one.bus, one.clock)
    view.writeto(0x76, b"\xd0")
    before = one.wires.transfers
    buffer = bytearray(4)
    view.readfrom_into(0x76, buffer, start=1, end=2)
    assert buffer == b"\x00\x60\x00\x00"
    assert one.wires.transfers == before + 1


def test_long_reads_are_cut_to_what_the_bus_carries(one):
    view = BusView(one.bus, one.clock)
    buffer = bytearray(100)
    view.writeto_then_readfrom(0x76, b"\x80", buffer)
    assert buffer[0xD0 - 0x80] == 0x60
    assert buffer[0x88 - 0x80 : 0x8A - 0x80] == (28009).to_bytes(2, "little")


def test_asking_an_absent_chip_raises_as_the_driver_expects(one):
    with pytest.raises(OSError, match="no chip"):
        BusView(one.bus, one.clock).writeto(0x20, b"")


def test_a_reset_is_not_repeated(one):
    view = BusView(one.bus, one.clock, once_only=frozenset((0xE0,)))
    one.wires.fail(1)
    with pytest.raises(MachineFaultError):
        view.writeto(0x76, b"\xe0\xb6")
    one.wires.fail(1)
    view.writeto(0x76, b"\xf2\x01")


def test_the_endless_wait_of_the_driver_is_ended(one):
    """With a status of 0xFF the driver waits for ever for a measurement to finish."""
    from adafruit_bme280.basic import Adafruit_BME280_I2C

    view = BusView(one.bus, one.clock)
    driver = Adafruit_BME280_I2C(view, 0x76)
    one.wires.stuck[0x76] = 0xFF
    with pytest.raises(MachineFaultError) as caught, view.within(0.02):
        _ = driver.temperature
    assert caught.value.cause == "climate_silent"


def test_the_wait_also_ends_when_time_stands_still(one):
    view = BusView(one.bus, one.clock)
    with view.within(1e9):
        for _ in range(200):
            view.writeto(0x76, b"\xf3")
        with pytest.raises(MachineFaultError):
            view.writeto(0x76, b"\xf3")


def test_each_piece_of_work_has_transfers_and_time_of_its_own(one: Bench) -> None:
    view = BusView(one.bus, one.clock)

    def work() -> None:
        for _ in range(150):
            view.writeto(0x76, b"\xf3")

    work()
    for _ in range(2):
        with view.within(0.1):
            work()
    one.clock.pause_s(1.0)
    work()


@pytest.mark.parametrize("later_s", [0.49, 0.51])
def test_no_transfer_begins_after_the_deadline(one: Bench, later_s: float) -> None:
    view = BusView(one.bus, one.clock)
    buffer = bytearray(1)
    with view.within(0.5):
        one.clock.pause_s(later_s)
        before = one.wires.transfers
        if later_s < 0.5:
            view.writeto(0x76, b"\xd0")
            view.readfrom_into(0x76, buffer)
            assert buffer == b"\x60"
        else:
            with pytest.raises(MachineFaultError, match="never finishes") as caught:
                view.writeto(0x76, b"\xe0\xb6")
            assert caught.value.cause == "climate_silent"
            with pytest.raises(MachineFaultError):
                view.readfrom_into(0x76, buffer)
            assert one.wires.transfers == before


def test_several_registers_are_written_each_at_its_place(one: Bench) -> None:
    view = BusView(one.bus, one.clock)
    view.writeto(0x76, b"??\xf4\x24\xa0??", start=2, end=5)
    assert list(one.bus.read(0x76, 0xF4, 2)) == [0x24, 0xA0]
