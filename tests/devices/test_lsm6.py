import time

import pytest

from rig.clock import At
from rig.devices.lsm6 import COUNTS_PER_G, Lsm6, bandwidth_divisor, rate_hz
from rig.errors import BadInputError, MachineFaultError
from rig.settings.model import Imu as ImuSettings
from rig.twin.chips.lsm6_chip import Lsm6Chip


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
    times_s, counts = [], []

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
    ("wanted_hz", "divisor"), [(200, 2), (52, 4), (20.8, 10), (12, 20), (4, 45), (1, 200)]
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


def test_thirty_seconds_cost_little(one):
    start_s = time.process_time()
    _, counts = collect(one, 30.0)
    assert len(counts) > 6200
    assert time.process_time() - start_s < 0.5  # 0.12 s on the machine it was written on
