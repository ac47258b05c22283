import errno

import pytest

from rig.clock import RealClock, VirtualClock
from rig.twin.chips.bme280_chip import Bme280Chip
from rig.twin.chips.fake_bus import FakeBus


@pytest.fixture
def wires():
    chip = Bme280Chip(lambda t_s: (20.0, 50.0, 1000.0))
    return FakeBus(VirtualClock(start_s=5.0), {0x76: chip})


def elapsed_us(wires, use):
    start_s = wires._clock.time_s()  # noqa: SLF001 - the bus under test holds the clock
    use()
    return 1e6 * (wires._clock.time_s() - start_s)  # noqa: SLF001


def test_a_transfer_takes_the_time_of_its_bits(wires):
    """400 kHz: 2.5 µs a bit; address, register, address again and each byte have nine bits."""
    read = elapsed_us(wires, lambda: wires.read_i2c_block_data(0x76, 0xF7, 28))
    assert read == pytest.approx(2.5 * (3 + 27 + 9 * 28))
    assert elapsed_us(wires, lambda: wires.read_byte_data(0x76, 0xD0)) == pytest.approx(97.5)
    assert elapsed_us(wires, lambda: wires.write_byte_data(0x76, 0xF5, 0)) == pytest.approx(72.5)


def test_nobody_there(wires):
    with pytest.raises(OSError, match="I/O") as caught:
        wires.read_byte(0x20)
    assert caught.value.errno == errno.EREMOTEIO


def test_faults_come_at_the_transfer_that_was_named(wires):
    wires.fail(2, errno.ETIMEDOUT, times=2)
    wires.read_byte_data(0x76, 0xD0)
    for _ in range(2):
        with pytest.raises(OSError) as caught:  # noqa: PT011 - the number says it
            wires.read_byte_data(0x76, 0xD0)
        assert caught.value.errno == errno.ETIMEDOUT
    assert wires.read_byte_data(0x76, 0xD0) == 0x60
    assert wires.transfers == 4


def test_a_stuck_chip_reads_the_same_everywhere(wires):
    wires.stuck[0x76] = 0xFF
    wires.write_byte_data(0x76, 0xF4, 3)
    assert wires.read_i2c_block_data(0x76, 0x00, 3) == [0xFF] * 3
    wires.stuck.clear()
    assert wires.read_byte_data(0x76, 0xF4) == 0


def test_a_byte_is_read_from_where_the_pointer_stands(wires):
    wires.read_byte_data(0x76, 0xD0)
    assert wires.read_byte(0x76) == 0x60
    wires.write_quick(0x76)


def test_blocks_are_limited_as_on_the_real_bus(wires):
    with pytest.raises(ValueError, match="1 to 32"):
        wires.read_i2c_block_data(0x76, 0, 33)


def test_on_a_real_clock_it_takes_real_time():
    clock = RealClock()
    wires = FakeBus(clock, {0x76: Bme280Chip(lambda t_s: (20.0, 50.0, 1000.0))})
    assert elapsed_us(wires, lambda: wires.read_byte_data(0x76, 0xD0)) >= 97
