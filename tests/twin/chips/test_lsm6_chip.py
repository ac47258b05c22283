from struct import unpack

import pytest

from rig.twin.chips.lsm6_chip import FIFO_WORDS, Lsm6Chip

PERIOD_S = 32 / 6667


@pytest.fixture
def chip():
    made = Lsm6Chip(lambda times_s: [(t / 10, -0.5, 1.0) for t in times_s], lambda t_s: 30.0)
    made.write(0x12, [0x44], 0.0)
    return made


def level(chip, t_s):
    low, high = chip.read(0x3A, 2, t_s)
    return low | (high & 3) << 8, high & 0xFC


def test_defaults(chip):
    chip.write(0x12, [0x01], 0.0)
    assert chip.read(0x0F, 4, 0.0) == [0x6C, 0, 0, 0x04]
    assert chip.rate_hz == 0


def test_identity_and_trim_cannot_be_written(chip):
    chip.write(0x0F, [1], 0.0)
    chip.write(0x63, [1], 0.0)
    assert (chip.read(0x0F, 1, 0.0), chip.read(0x63, 1, 0.0)) == ([0x6C], [0])


def test_samples_come_at_the_chips_own_rate(chip):
    chip.write(0x10, [0x50], 1.0)
    assert chip.read(0x1E, 1, 1.0 + 0.9 * PERIOD_S)[0] & 1 == 0
    assert chip.read(0x1E, 1, 1.0 + 1.1 * PERIOD_S)[0] & 1 == 1
    x, y, z = unpack("<hhh", bytes(chip.read(0x28, 6, 1.0 + 1.2 * PERIOD_S)))
    assert x == round((1.0 + PERIOD_S) / 10 / 0.061e-3)
    assert (y, z) == (round(-0.5 / 0.061e-3), round(1.0 / 0.061e-3))
    assert chip.read(0x1E, 1, 1.0 + 1.3 * PERIOD_S)[0] & 1 == 0


def test_trim_and_error_change_the_rate():
    chip = Lsm6Chip(lambda t: [], lambda t: 25.0, frequency_fine=-10, rate_error=0.001)
    chip.write(0x10, [0x40], 0.0)
    assert chip.rate_hz == pytest.approx(6667 / 64 * (1 - 0.015) * 1.001)
    assert chip.read(0x63, 1, 0.0) == [256 - 10]


@pytest.mark.parametrize(("scale", "mg"), [(0, 0.061), (1, 0.488), (2, 0.122), (3, 0.244)])
def test_full_scale(chip, scale, mg):
    chip.write(0x10, [0x50 | scale << 2], 0.0)
    chip.read(0x1E, 1, 1.0)
    assert unpack("<h", bytes(chip.read(0x2C, 2, 1.0)))[0] == round(1000 / mg)


def test_saturation():
    chip = Lsm6Chip(lambda times_s: [(3.0, -3.0, 0.0) for _ in times_s], lambda t_s: 25.0)
    chip.write(0x10, [0x50], 0.0)
    assert unpack("<hh", bytes(chip.read(0x28, 4, 1.0))) == (32767, -32768)


def start_fifo(chip, t_s=0.0):
    chip.write(0x10, [0x50], t_s)
    chip.write(0x09, [0x05, 0x06], t_s)


def test_fifo_words_carry_a_tag_and_a_slot_that_counts(chip):
    start_fifo(chip)
    assert level(chip, 5.5 * PERIOD_S) == (5, 0)
    data = bytes(chip.read(0x78, 28, 5.5 * PERIOD_S))
    assert [data[i] >> 3 for i in (0, 7, 14, 21)] == [2] * 4
    assert [data[i] >> 1 & 3 for i in (0, 7, 14, 21)] == [0, 1, 2, 3]
    assert all(data[i].bit_count() % 2 == 0 for i in (0, 7, 14, 21))
    assert level(chip, 5.5 * PERIOD_S) == (1, 0)


def test_a_word_read_in_pieces_is_taken_at_its_end(chip):
    start_fifo(chip)
    whole = Lsm6Chip(lambda times_s: [(t / 10, -0.5, 1.0) for t in times_s], lambda t_s: 30.0)
    start_fifo(whole)
    t_s = 3.5 * PERIOD_S
    pieces = chip.read(0x78, 1, t_s) + chip.read(0x79, 6, t_s)
    assert pieces == whole.read(0x78, 7, t_s)
    assert level(chip, t_s)[0] == 2


def test_watermark_and_overrun(chip):
    chip.write(0x07, [100], 0.0)
    start_fifo(chip)
    assert level(chip, 99.5 * PERIOD_S) == (99, 0x00)
    assert level(chip, 100.5 * PERIOD_S) == (100, 0x80)
    assert level(chip, 512.5 * PERIOD_S) == (FIFO_WORDS, 0xA0)
    assert level(chip, 514.5 * PERIOD_S) == (FIFO_WORDS, 0xE8)
    assert level(chip, 514.6 * PERIOD_S) == (FIFO_WORDS, 0xA0)
    oldest = unpack("<h", bytes(chip.read(0x78, 7, 514.6 * PERIOD_S))[1:3])[0]
    assert oldest == round(3 * PERIOD_S / 10 / 0.061e-3)


def test_the_world_is_asked_only_for_samples_that_can_be_kept():
    asked = []

    def sample(times_s):
        asked.extend(times_s)
        return [(0.0, 0.0, 1.0)] * len(times_s)

    chip = Lsm6Chip(sample, lambda t_s: 25.0)
    start_fifo(chip)
    assert level(chip, 3600.0) == (FIFO_WORDS, 0x68)
    assert len(asked) == FIFO_WORDS + 1
    assert asked == sorted(asked)
    assert 3600.0 - PERIOD_S < asked[-1] <= 3600.0


def test_bypass_empties_the_fifo(chip):
    start_fifo(chip)
    chip.write(0x0A, [0x00], 10 * PERIOD_S)
    assert level(chip, 20.5 * PERIOD_S)[0] == 0


@pytest.mark.parametrize(("code", "divisor"), [(0, 4), (1, 10), (2, 20), (3, 45), (7, 800)])
def test_corner_of_the_second_filter(chip, code, divisor):
    chip.write(0x10, [0x52], 0.0)
    chip.write(0x17, [code << 5], 0.0)
    assert chip.lowpass_hz == pytest.approx(chip.rate_hz / divisor)
    chip.write(0x10, [0x50], 0.0)
    assert chip.lowpass_hz == pytest.approx(chip.rate_hz / 2)


def test_temperature(chip):
    assert unpack("<h", bytes(chip.read(0x20, 2, 0.0)))[0] == 5 * 256
