"""Tables and bits of the simulated chips, as in the makers' datasheets."""

from collections.abc import Callable, Sequence
from struct import unpack

import pytest

from rig.clock import VirtualClock
from rig.twin.chips.bme280_chip import Bme280Chip
from rig.twin.chips.chip import SampleGrid, to_counts
from rig.twin.chips.fake_bus import FakeBus
from rig.twin.chips.lsm6_chip import Lsm6Chip
from rig.twin.chips.mpu6050_chip import Mpu6050Chip

AIR = (20.0, 50.0, 1000.0)


def busy_s(chip: Bme280Chip, from_s: float) -> float:
    """How long the status says that it measures, to 10 µs."""
    low, high = 0.0, 0.5
    while high - low > 1e-5:
        middle = 0.5 * (low + high)
        if chip.read(0xF3, 1, from_s + middle)[0] & 0x08:
            low = middle
        else:
            high = middle
    return high


# 1 + 2·T + (2·P + 0.5) + (2·H + 0.5) ms, a channel that is off leaving its bracket out.
@pytest.mark.parametrize(
    ("humidity", "control", "ms"),
    [
        (0, 0b001_000_11, 3.0),
        (0, 0b010_001_11, 7.5),
        (1, 0b011_010_11, 1 + 8 + 4.5 + 2.5),
        (3, 0b100_011_11, 1 + 16 + 8.5 + 8.5),
        (5, 0b101_100_11, 1 + 32 + 16.5 + 32.5),
        (4, 0b110_101_11, 1 + 32 + 32.5 + 16.5),
        (7, 0b111_111_11, 1 + 32 + 32.5 + 32.5),
        (2, 0b001_110_11, 1 + 2 + 32.5 + 4.5),
    ],
)
def test_how_long_a_measurement_takes(humidity: int, control: int, ms: float) -> None:
    chip = Bme280Chip(lambda t_s: AIR)
    chip.write(0xF5, [0b101_00000], 0.0)
    chip.write(0xF2, [humidity], 0.0)
    chip.write(0xF4, [control], 0.0)
    assert busy_s(chip, 0.0) == pytest.approx(ms / 1000.0, abs=3e-5)


@pytest.mark.parametrize(
    ("code", "ms"), list(enumerate([0.5, 62.5, 125.0, 250.0, 500.0, 1000.0, 10.0, 20.0]))
)
def test_pauses_between_measurements(code: int, ms: float) -> None:
    chip = Bme280Chip(lambda t_s: AIR)
    chip.write(0xF5, [code << 5], 0.0)
    chip.write(0xF4, [0b001_000_11], 0.0)
    period_s = (3.0 + ms) / 1000.0
    for n in range(4):
        begun_s = n * period_s
        assert chip.read(0xF3, 1, begun_s + 0.0001)[0] == 0x08
        assert chip.read(0xF3, 1, begun_s + 0.0029)[0] == 0x08
        assert chip.read(0xF3, 1, begun_s + 0.0031)[0] == 0
        assert chip.read(0xF3, 1, begun_s + period_s - 0.0001)[0] == 0


def test_trimming_constants_lie_where_the_datasheet_has_them() -> None:
    chip = Bme280Chip(lambda t_s: AIR, identity=0x58)
    assert chip.read(0xD0, 1, 0.0) == [0x58]
    low = bytes(chip.read(0x88, 26, 0.0))
    assert unpack("<Hhh", low[:6]) == (28009, 25654, 50)
    pressure = (39145, -10750, 3024, 5667, -120, -7, 15500, -14600, 6000)
    assert unpack("<H8h", low[6:24]) == pressure
    assert (low[24], low[25]) == (0, 75)
    high = bytes(chip.read(0xE1, 7, 0.0))
    assert (unpack("<h", high[:2])[0], high[2]) == (376, 0)
    # dig_H4 is 0xE4 << 4 with the low half of 0xE5, dig_H5 is 0xE6 << 4 with the high half.
    assert (high[3] << 4 | high[4] & 0x0F, high[5] << 4 | high[4] >> 4) == (286, 50)
    assert high[6] == 30


def test_channels_that_are_off_read_as_skipped() -> None:
    chip = Bme280Chip(lambda t_s: AIR)
    chip.raw = (0x12345, 0x6789A, 0xBCDE)
    chip.write(0xF2, [1], 0.0)
    for control, expected in (
        (0b001_001_01, "6789a0 123450 bcde"),
        (0b000_001_01, "6789a0 800000 bcde"),
        (0b001_000_01, "800000 123450 bcde"),
    ):
        chip.write(0xF4, [control], 0.0)
        assert bytes(chip.read(0xF7, 8, 1.0)) == bytes.fromhex(expected)
    chip.write(0xF2, [0], 2.0)
    chip.write(0xF4, [0b001_001_01], 2.0)
    assert bytes(chip.read(0xFD, 2, 3.0)) == bytes.fromhex("8000")


class Silent:
    """A chip that has nothing to say."""

    def read(self, register: int, length: int, t_s: float) -> list[int]:
        return [0] * length

    def write(self, register: int, data: Sequence[int], t_s: float) -> None:
        pass

    def reset(self, t_s: float) -> None:
        pass


# Start, stop and repeated start are a bit each, and every byte has its acknowledge.
@pytest.mark.parametrize(
    ("transfer", "bits"),
    [
        (lambda bus: bus.write_quick(0x20), 1 + 9 + 1),
        (lambda bus: bus.read_byte(0x20), 1 + 9 + 9 + 1),
        (lambda bus: bus.read_byte_data(0x20, 5), 1 + 18 + 1 + 18 + 1),
        (lambda bus: bus.read_i2c_block_data(0x20, 5, 7), 1 + 18 + 1 + 9 + 63 + 1),
        (lambda bus: bus.write_byte_data(0x20, 5, 1), 1 + 18 + 9 + 1),
        (lambda bus: bus.write_i2c_block_data(0x20, 5, [1, 2, 3]), 1 + 18 + 27 + 1),
    ],
)
def test_each_transfer_takes_the_time_of_its_bits(
    transfer: Callable[[FakeBus], object], bits: int
) -> None:
    clock = VirtualClock(7.0)
    bus = FakeBus(clock, {0x20: Silent()})
    transfer(bus)
    # 400 kHz.
    assert clock.time_s() - 7.0 == pytest.approx(2.5e-6 * bits)
    bus.fail(1)
    with pytest.raises(OSError, match="Remote I/O"):
        transfer(bus)
    assert clock.time_s() - 7.0 == pytest.approx(2.5e-6 * (bits + 11))


def still(times_s: list[float]) -> list[tuple[float, float, float]]:
    return [(0.0, 0.0, 1.0) for _ in times_s]


@pytest.fixture
def older() -> Mpu6050Chip:
    chip = Mpu6050Chip(still, lambda t_s: 36.53 + 10.0, rate_error=0.01)
    chip.write(0x6B, [0x01], 0.0)
    return chip


@pytest.mark.parametrize(
    ("code", "corner_hz", "base_hz"),
    [
        (0, 260.0, 8000),
        (1, 184.0, 1000),
        (2, 94.0, 1000),
        (3, 44.0, 1000),
        (4, 21.0, 1000),
        (5, 10.0, 1000),
        (6, 5.0, 1000),
        (7, 260.0, 8000),
    ],
)
def test_filters_of_the_older_chip(
    older: Mpu6050Chip, code: int, corner_hz: float, base_hz: int
) -> None:
    older.write(0x19, [9, code], 0.0)
    assert older.lowpass_hz == corner_hz
    assert older.rate_hz == pytest.approx(base_hz / 10 * 1.01)


def test_what_nobody_can_write_in_the_older_chip(older: Mpu6050Chip) -> None:
    assert bytes(older.read(0x0D, 4, 0.0)) == bytes((0x31, 0x2C, 0x5A, 0x17))
    older.write(0x75, [1], 0.0)
    older.write(0x3A, [0xFF] * 15, 0.0)
    assert older.read(0x75, 1, 0.0) == [0x68]
    status, *rest = older.read(0x3A, 15, 0.0)
    assert status == 0
    # 340 counts per kelvin from 36.53 °C.
    assert unpack(">7h", bytes(rest)) == (0, 0, 0, 3400, 0, 0, 0)
    older.write(0x3A + 15, [0x55], 0.0)
    assert older.read(0x3A + 15, 1, 0.0) == [0x55]
    older.write(0x6B, [0x80], 0.0)
    assert (older.read(0x6B, 1, 0.0), older.rate_hz) == ([0x40], 0.0)


@pytest.mark.parametrize(("kelvin", "raw"), [(1e4, 32767), (-1e4, -32768)])
def test_temperatures_end_where_16_bits_do(kelvin: float, raw: int) -> None:
    older = Mpu6050Chip(still, lambda t_s: kelvin)
    assert unpack(">h", bytes(older.read(0x41, 2, 0.0)))[0] == raw
    newer = Lsm6Chip(still, lambda t_s: kelvin)
    assert unpack("<h", bytes(newer.read(0x20, 2, 0.0)))[0] == raw


def test_the_older_chips_fifo_holds_1024_bytes_and_says_when_it_overflows(
    older: Mpu6050Chip,
) -> None:
    older.write(0x19, [9, 1], 0.0)
    older.write(0x23, [0x08], 0.0)
    older.write(0x6A, [0x40], 0.0)
    # 101 samples of 6 bytes a second: 1020 bytes after 170, 6 too many after the next.
    for samples, held, flags in ((170, 1020, 0x01), (171, 1024, 0x11), (400, 1024, 0x11)):
        t_s = (samples + 0.5) / 101.0
        assert unpack(">H", bytes(older.read(0x72, 2, t_s)))[0] == held
        assert older.read(0x3A, 1, t_s) == [flags]


def test_a_status_that_is_not_read_stays(older: Mpu6050Chip) -> None:
    older.write(0x19, [9, 1], 0.0)
    assert older.read(0x3B, 6, 0.1)[4:] == [0x40, 0x00]
    assert older.read(0x39, 2, 0.1) == [0, 1]
    assert older.read(0x39, 2, 0.1) == [0, 0]


@pytest.mark.parametrize(
    ("code", "divisor"),
    [(1, 512), (2, 256), (3, 128), (4, 64), (5, 32), (6, 16), (7, 8), (8, 4), (9, 2), (10, 1)],
)
def test_rates_of_the_newer_chip(code: int, divisor: int) -> None:
    chip = Lsm6Chip(still, lambda t_s: 25.0)
    chip.write(0x10, [code << 4], 0.0)
    assert chip.rate_hz == pytest.approx(6667 / divisor)
    chip.write(0x10, [0xB0], 0.0)
    assert chip.rate_hz == 0.0


@pytest.mark.parametrize("code", [4, 5, 6])
def test_the_other_corners_of_the_newer_chip(code: int) -> None:
    chip = Lsm6Chip(still, lambda t_s: 25.0)
    chip.write(0x10, [0x52], 0.0)
    chip.write(0x17, [code << 5], 0.0)
    assert chip.rate_hz / chip.lowpass_hz == pytest.approx({4: 100, 5: 200, 6: 400}[code])


def test_what_nobody_can_write_in_the_newer_chip() -> None:
    chip = Lsm6Chip(still, lambda t_s: 25.0, identity=0x6B, frequency_fine=3)
    chip.write(0x1A, [0xFF] * (0x3F - 0x1A + 1), 0.0)
    assert bytes(chip.read(0x1A, 4, 0.0)) == bytes(4)
    assert bytes(chip.read(0x3C, 4, 0.0)) == bytes(4)
    chip.write(0x19, [0xAB], 0.0)
    chip.write(0x40, [0xCD], 0.0)
    assert (chip.read(0x19, 1, 0.0), chip.read(0x40, 1, 0.0)) == ([0xAB], [0xCD])
    assert (chip.read(0x0F, 1, 0.0), chip.read(0x63, 1, 0.0)) == ([0x6B], [3])
    assert chip.read(0x18, 1, 0.0) == [0xE0]
    assert chip.read(0x1E, 1, 0.0) == [0x04]


def test_a_watermark_of_nine_bits_and_a_stop_when_full() -> None:
    chip = Lsm6Chip(still, lambda t_s: 25.0)
    period_s = 32 / 6667
    chip.write(0x07, [0x2C, 0x01], 0.0)
    chip.write(0x10, [0x50], 0.0)
    # Mode 1 stops when it is full; 0x12C is 300.
    chip.write(0x09, [0x05, 0x01], 0.0)
    for samples, low, flags in ((299, 0x2B, 0x01), (300, 0x2C, 0x81), (700, 0x00, 0xA2)):
        assert chip.read(0x3A, 2, (samples + 0.5) * period_s) == [low, flags]
    chip.write(0x0A, [0x00], 4.0)
    assert chip.read(0x3A, 2, 4.0)[0] == 0


def test_a_word_in_pieces_and_beyond_the_end_of_the_fifo() -> None:
    chip = Lsm6Chip(lambda times_s: [(0.1, 0.2, 0.3) for _ in times_s], lambda t_s: 25.0)
    chip.write(0x10, [0x50], 0.0)
    chip.write(0x09, [0x05, 0x06], 0.0)
    t_s = 2.5 * 32 / 6667
    first = bytes(chip.read(0x78, 10, t_s))
    assert unpack("<hhh", first[1:7]) == (1639, 3279, 4918)
    # The rest of the second word, then nothing but zeros.
    assert bytes(chip.read(0x7B, 6, t_s)) == first[3:7] + bytes(2)
    assert chip.read(0x78, 14, t_s) == [0] * 14


def test_samples_are_due_on_a_grid_from_the_start() -> None:
    grid = SampleGrid()
    assert grid.due(5.0, 10) == ([], 0)
    grid.restart(1.0, 4.0)
    assert grid.due(1.9, 10) == ([1.25, 1.5, 1.75], 0)
    assert grid.due(1.9, 10) == ([], 0)
    assert grid.due(4.1, 2) == ([3.75, 4.0], 7)
    assert grid.due(3.0, 2) == ([], 0)
    assert grid.due(4.3, 2) == ([4.25], 0)
    grid.restart(9.0, 0.0)
    assert grid.due(99.0, 2) == ([], 0)


def test_counts_are_rounded_and_end_where_16_bits_do() -> None:
    samples = [(0.16, -0.16, 3276.7), (-3276.8, 5000.0, -5000.0), (1.0, 1.0, 4000.0)]
    expected = [(2, -2, 32767), (-32768, 32767, -32768), (10, 10, 32767)]
    assert to_counts(samples, 10.0) == expected
