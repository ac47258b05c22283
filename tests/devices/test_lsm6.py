import errno
import time
from typing import Protocol

import pytest

from rig.clock import At, VirtualClock
from rig.devices.bus import Bus
from rig.devices.lsm6 import COUNTS_PER_G, Lsm6, bandwidth_divisor, rate_hz
from rig.errors import BadInputError, MachineFaultError
from rig.settings.model import ImuSettings as ImuSettings
from rig.twin.chips.fake_bus import FakeBus
from rig.twin.chips.lsm6_chip import Lsm6Chip
from tests.devices.conftest import MakeBench


class ImuBench(Protocol):
    """A bench with the chip and its driver."""

    clock: VirtualClock
    wires: FakeBus
    bus: Bus
    chip: Lsm6Chip
    imu: Lsm6


class World:
    """Acceleration that tells when it was sampled: x counts the milliseconds within a second."""

    def __init__(self):
        self.times_s = []

    def sample(self, times_s):
        """Acceleration in g."""
        self.times_s += times_s
        return [(t % 1.0, -0.5, 1.0) for t in times_s]


@pytest.fixture
def one(bench):
    return make(bench)


def make(bench, *, rate=208, lowpass_hz=20.8, polled=False, **chip):
    world = World()
    made = bench({0x6A: Lsm6Chip(world.sample, lambda t_s: 27.5, **chip)})
    made.world = world
    made.chip = made.wires.chips[0x6A]
    wanted = ImuSettings(rate_hz=rate, lowpass_hz=lowpass_hz)
    made.imu = Lsm6(made.bus, made.clock, "lsm6dsox", 0x6A, wanted, polled=polled)
    return made


def collect(one, seconds, period_s=0.02):
    """Open, start and read for a while; the times and counts of all samples."""
    times_s: list[float] = []
    counts: list[tuple[int, int, int]] = []

    def task():
        one.imu.open()
        one.imu.start()
        one.world.times_s.clear()
        start_s = one.clock.time_s()
        for k in range(1, int(seconds / period_s) + 1):
            yield At(start_s + k * period_s)
            for batch in one.imu.read_batches():
                times_s.extend(batch.t_s + i * batch.dt_s for i in range(len(batch.counts)))
                counts.extend(batch.counts)

    one.clock.run(task())
    return times_s, counts


@pytest.mark.parametrize("period_s", [0.01, 0.048, 0.25])
@pytest.mark.parametrize(("fine", "rate_error"), [(0, 0.0), (-7, 7e-4), (12, -7e-4)])
def test_every_sample_comes_once_with_its_time(bench, period_s, fine, rate_error):
    one = make(bench, frequency_fine=fine, rate_error=rate_error)
    times_s, counts = collect(one, 8.0, period_s)
    true_s = one.world.times_s[: len(times_s)]
    assert len(one.world.times_s) - len(times_s) <= 2
    assert [c[0] for c in counts] == [round(t % 1.0 * COUNTS_PER_G) for t in true_s]
    errors_ms = [1e3 * abs(a - b) for a, b in zip(times_s, true_s, strict=True)]
    late = [e for e, t in zip(errors_ms, true_s, strict=True) if t > true_s[0] + 1.0]
    assert max(late) < 0.7
    assert max(errors_ms) < 1.0
    assert one.imu.samples_lost == 0


def test_setup_is_as_wanted_and_as_the_chip_has_it(one):
    one.imu.open()
    setup = one.imu.setup
    assert setup.rate_hz == pytest.approx(one.chip.rate_hz)
    assert setup.lowpass_hz == pytest.approx(one.chip.lowpass_hz) == pytest.approx(20.83, abs=0.01)
    assert (setup.model, setup.mode) == ("lsm6dsox", "fifo")
    assert one.imu.temperature_c() == 27.5
    assert one.imu.identity.identity == "6c-+0"
    assert one.imu.counts_per_g == COUNTS_PER_G


@pytest.mark.parametrize("nominal", [104, 208, 416])
def test_true_rate_follows_the_factory_trim(nominal):
    assert rate_hz(nominal, 0) == pytest.approx(nominal, rel=0.002)
    assert rate_hz(nominal, -128) == pytest.approx(rate_hz(nominal, 0) * (1 - 0.192))


@pytest.mark.parametrize(
    ("wanted_hz", "divisor"), [(200, 2), (52, 4), (34, 4), (20.8, 10), (12, 20), (4, 45), (1, 200)]
)
def test_the_nearest_corner_is_taken(wanted_hz, divisor):
    assert bandwidth_divisor(208.0, wanted_hz) == divisor


def test_the_highest_corner_is_the_first_filter_alone(bench):
    one = make(bench, lowpass_hz=150)
    one.imu.open()
    assert one.chip.lowpass_hz == pytest.approx(one.chip.rate_hz / 2)


def test_start_throws_old_samples_away(one):
    one.imu.open()
    one.imu.start()
    one.clock.pause_s(0.5)
    one.imu.start()
    assert sum(len(b.counts) for b in one.imu.read_batches()) <= 1


def test_an_overrun_is_counted_and_the_clock_goes_on(one):
    times_s, _ = collect(one, 1.0)
    before_s = one.clock.time_s()
    one.clock.pause_s(5.0)
    (batch,) = one.imu.read_batches()
    made = 5.0 * 208.34
    assert len(batch.counts) == 512
    assert one.imu.samples_lost == pytest.approx(made - 512, abs=3)
    newest_s = batch.t_s + 511 * batch.dt_s
    assert newest_s == pytest.approx(before_s + 5.0, abs=0.006)
    assert newest_s > times_s[-1]


def test_a_chip_that_reset_itself_is_a_fault(one):
    one.imu.open()
    one.imu.start()
    one.imu.verify()
    one.chip.reset(one.clock.time_s())
    with pytest.raises(MachineFaultError, match="lost its configuration") as caught:
        one.imu.verify()
    assert caught.value.cause == "imu_reset"


def test_a_chip_that_does_not_keep_its_configuration_is_refused(one, monkeypatch):
    write = one.chip.write
    monkeypatch.setattr(
        one.chip, "write", lambda r, data, t_s: None if r == 0x17 else write(r, data, t_s)
    )
    with pytest.raises(MachineFaultError, match="does not keep") as caught:
        one.imu.open()
    assert caught.value.cause == "imu_setup"


def test_a_reset_that_never_ends_is_a_fault(one, monkeypatch):
    read = one.chip.read
    monkeypatch.setattr(
        one.chip, "read", lambda r, n, t_s: [1] * n if r == 0x12 else read(r, n, t_s)
    )
    with pytest.raises(MachineFaultError, match="does not end its reset"):
        one.imu.open()


def test_absent_and_wrong_chip(bench):
    one = bench({0x6A: Lsm6Chip(World().sample, lambda t_s: 25.0, identity=0x6B)})
    with pytest.raises(BadInputError, match=r"is not a lsm6dsox.*0x6B"):
        Lsm6(one.bus, one.clock, "lsm6dsox", 0x6A, ImuSettings()).open()
    Lsm6(one.bus, one.clock, "ism330dhcx", 0x6A, ImuSettings()).open()
    with pytest.raises(BadInputError, match=r"No ism330dhcx answers at address 0x6B"):
        Lsm6(one.bus, one.clock, "ism330dhcx", 0x6B, ImuSettings()).open()


def test_polled_samples_carry_the_time_of_the_poll(bench):
    one = make(bench, polled=True)
    times_s, counts = collect(one, 2.0, 0.003)
    assert one.imu.setup.mode == "polled"
    assert len(times_s) == pytest.approx(2.0 * 208.34, abs=3)
    for t_s, (x, _, _) in zip(times_s, counts, strict=True):
        assert (t_s - x / COUNTS_PER_G + 0.5) % 1.0 - 0.5 == pytest.approx(0.0, abs=0.0021)


def test_closing_puts_the_chip_to_sleep_even_when_it_is_gone(one):
    one.imu.open()
    one.imu.close()
    assert one.chip.rate_hz == 0
    one.imu.open()
    one.wires.chips.clear()
    one.imu.close()


@pytest.mark.timing
def test_thirty_seconds_cost_little(one):
    start_s = time.process_time()
    _, counts = collect(one, 30.0)
    assert len(counts) > 6200
    assert time.process_time() - start_s < 0.5  # 0.12 s on the machine it was written on


@pytest.mark.parametrize("error", [0.0035, -0.0035])
def test_a_rate_that_the_trim_leaves_open_is_followed(bench: MakeBench, error: float) -> None:
    one = make(bench, rate_error=error)
    assert last_period_s(one) * one.imu.setup.rate_hz == pytest.approx(1 / (1 + error), abs=2e-4)


@pytest.mark.parametrize("error", [0.01, -0.01])
def test_a_rate_that_the_data_sheet_rules_out_is_followed_half_way(
    bench: MakeBench, error: float
) -> None:
    """0.4 % beside the trim is allowed; the middle of that and of what is measured is taken."""
    one = make(bench, rate_error=error)
    allowed = 0.996 if error > 0 else 1.004
    half_way = (1 / (1 + error) + allowed) / 2
    assert last_period_s(one) * one.imu.setup.rate_hz == pytest.approx(half_way, abs=4e-4)


def last_period_s(one: ImuBench) -> float:
    """The time between two samples, as worked out after two seconds."""
    collect(one, 2.0)
    one.clock.pause_s(0.1)
    return float(one.imu.read_batches()[-1].dt_s)


@pytest.mark.parametrize(
    ("register", "value"),
    [
        (0x12, 0x44),  # CTRL3_C: BDU 6, IF_INC 2
        (0x13, 0x08),  # CTRL4_C: DRDY_MASK 3
        (0x11, 0x00),  # CTRL2_G: gyroscope off
        (0x10, 0x52),  # CTRL1_XL: 208 Hz 0101, ±2 g 00, LPF2_XL_EN 1
        (0x17, 0x20),  # CTRL8_XL: rate / 10 001
        (0x09, 0x05),  # FIFO_CTRL3: accelerometer in batches at 208 Hz 0101
        (0x0A, 0x06),  # FIFO_CTRL4: continuous mode 110, no temperature, no time stamps
    ],
)
def test_each_control_register_holds_what_the_data_sheet_asks_for(
    one: ImuBench, register: int, value: int
) -> None:
    """Bits by ST's datasheet DS12814."""
    one.imu.open()
    one.imu.start()
    assert one.bus.read(0x6A, register) == (value,)


CONTROLS = (0x09, 0x0A, 0x10, 0x11, 0x12, 0x13, 0x17)


@pytest.mark.parametrize("register", CONTROLS)
def test_each_control_register_is_read_back(
    one: ImuBench, monkeypatch: pytest.MonkeyPatch, register: int
) -> None:
    write = one.chip.write

    def one_bit_off(r: int, data: list[int], t_s: float) -> None:
        write(r, [data[0] ^ 0x10] if r == register else data, t_s)

    monkeypatch.setattr(one.chip, "write", one_bit_off)
    with pytest.raises(MachineFaultError, match=rf"does not keep .*0x{register:02X} reads"):
        one.imu.open()


@pytest.mark.parametrize("register", CONTROLS)
def test_a_change_of_any_control_register_is_noticed(one: ImuBench, register: int) -> None:
    one.imu.open()
    one.imu.start()
    one.imu.verify()
    one.chip.write(register, [0x02], one.clock.time_s())
    with pytest.raises(MachineFaultError, match=f"register 0x{register:02X} reads 0x02"):
        one.imu.verify()


@pytest.mark.parametrize("divisor", [2, 4, 10, 20, 45, 100, 200])
def test_each_corner_is_set_in_the_chip(bench: MakeBench, divisor: int) -> None:
    one = make(bench, lowpass_hz=208.34 / divisor)
    one.imu.open()
    assert one.chip.lowpass_hz == pytest.approx(208.34 / divisor, rel=1e-3)
    assert one.imu.setup.lowpass_hz == pytest.approx(one.chip.lowpass_hz)


@pytest.mark.parametrize(("rate", "lowpass_hz", "wait_s"), [(208, 100.0, 0.096), (104, 1.04, 3.84)])
def test_the_filter_settles_before_the_sensor_counts_as_open(
    bench: MakeBench, rate: int, lowpass_hz: float, wait_s: float
) -> None:
    """Twenty samples, or four periods of the corner if that is longer."""
    one = make(bench, rate=rate, lowpass_hz=lowpass_hz)
    begun_s = one.clock.time_s()
    one.imu.open()
    assert one.clock.time_s() - begun_s == pytest.approx(wait_s, abs=0.01)


@pytest.mark.parametrize(("reads", "ends"), [(19, True), (20, False)])
def test_the_reset_has_20_ms(
    one: ImuBench, monkeypatch: pytest.MonkeyPatch, reads: int, ends: bool
) -> None:
    """Asked every millisecond, it says `reads` times that it is at it."""
    left = [reads]
    read = one.chip.read

    def busy(register: int, length: int, t_s: float) -> list[int]:
        if register == 0x12 and length == 1 and left[0]:
            left[0] -= 1
            return [0x01]
        return read(register, length, t_s)

    monkeypatch.setattr(one.chip, "read", busy)
    begun_s = one.clock.time_s()
    if ends:
        one.imu.open()
    else:
        with pytest.raises(MachineFaultError, match="does not end its reset") as caught:
            one.imu.open()
        assert caught.value.cause == "imu_setup"
        assert one.clock.time_s() - begun_s == pytest.approx(0.020, abs=0.004)


def test_the_reset_is_sent_once_only(one: ImuBench, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = []

    def refuse(i2c_addr: int, register: int, value: int) -> None:
        sent.append((register, value))
        raise OSError(errno.EREMOTEIO, "no acknowledge")

    monkeypatch.setattr(one.wires, "write_byte_data", refuse)
    with pytest.raises(MachineFaultError):
        one.imu.open()
    assert sent == [(0x12, 0x01)]


@pytest.mark.parametrize("bit", [0x40, 0x08])
def test_either_bit_of_an_overrun_counts(
    one: ImuBench, monkeypatch: pytest.MonkeyPatch, bit: int
) -> None:
    """FIFO_OVR_IA and FIFO_OVR_LATCHED; at least one sample is lost then, whatever time says."""
    one.imu.open()
    one.imu.start()
    one.clock.pause_s(0.05)
    one.imu.read_batches()
    set_flags(one, monkeypatch, bit)
    one.imu.read_batches()
    assert one.imu.samples_lost == 1


def set_flags(one: ImuBench, monkeypatch: pytest.MonkeyPatch, bits: int) -> None:
    """Set bits of FIFO_STATUS2 from now on, whatever the chip says."""
    read = one.chip.read

    def flagged(register: int, length: int, t_s: float) -> list[int]:
        data = read(register, length, t_s)
        return [data[0], data[1] | bits] if (register, length) == (0x3A, 2) else data

    monkeypatch.setattr(one.chip, "read", flagged)


def test_flags_beside_the_level_are_not_part_of_it(
    one: ImuBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FIFO_WTM_IA, FIFO_FULL_IA and COUNTER_BDR_IA; the level has bits 1:0 alone."""
    one.imu.open()
    one.imu.start()
    one.clock.pause_s(0.0485)
    set_flags(one, monkeypatch, 0x80 | 0x20 | 0x10)
    before = one.wires.transfers
    assert sum(len(batch.counts) for batch in one.imu.read_batches()) in (10, 11)
    assert one.wires.transfers - before < 100


def test_a_chip_that_has_stopped_is_not_waited_for(one: ImuBench) -> None:
    """The next sample is asked for over two periods, no longer."""
    collect(one, 0.2)
    one.wires.stuck[0x6A] = 0x00
    one.clock.pause_s(1.0)
    asked_s = one.clock.time_s()
    assert one.imu.read_batches() == []
    assert one.clock.time_s() - asked_s == pytest.approx(2 / 208.34, abs=0.001)


def test_start_begins_a_new_count_of_lost_samples(one: ImuBench) -> None:
    collect(one, 0.2)
    one.clock.pause_s(5.0)
    one.imu.read_batches()
    assert one.imu.samples_lost > 0
    one.imu.start()
    assert one.imu.samples_lost == 0


def test_a_sensor_that_is_not_open_has_no_identity_and_no_setup(one: ImuBench) -> None:
    for ask in (lambda: one.imu.identity, lambda: one.imu.setup):
        with pytest.raises(RuntimeError, match="not open"):
            ask()


def test_polled_there_is_nothing_before_the_next_sample(bench: MakeBench) -> None:
    one = make(bench, polled=True)
    one.imu.open()
    one.imu.start()
    assert len(one.imu.read_batches()) == 1
    assert one.imu.read_batches() == []


def test_polled_late_the_sample_is_no_older_than_a_period(bench: MakeBench) -> None:
    one = make(bench, polled=True)
    one.imu.open()
    one.imu.start()
    one.imu.read_batches()
    one.clock.pause_s(1.0)
    asked_s = one.clock.time_s()
    (batch,) = one.imu.read_batches()
    assert batch.t_s == pytest.approx(asked_s - 0.5 / 208.34, abs=0.0003)
