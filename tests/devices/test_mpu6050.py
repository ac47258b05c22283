import msgspec
import pytest

from rig.clock import At
from rig.devices.lsm6 import Lsm6
from rig.devices.mpu6050 import COUNTS_PER_G, Mpu6050
from rig.devices.open_imu import make_imu
from rig.errors import BadInputError, MachineFaultError
from rig.settings.model import Imu as ImuSettings
from rig.settings.model import Settings
from rig.twin.chips.mpu6050_chip import Mpu6050Chip


def make(bench, *, rate=208, lowpass_hz=20.8, polled=False, **chip):
    seen_s = []

    def sample(times_s):
        seen_s.extend(times_s)
        return [(t % 1.0, -0.5, 1.0) for t in times_s]

    made = bench({0x68: Mpu6050Chip(sample, lambda t_s: 30.0, **chip)})
    made.seen_s = seen_s
    made.chip = made.wires.chips[0x68]
    wanted = ImuSettings(rate_hz=rate, lowpass_hz=lowpass_hz)
    made.imu = Mpu6050(made.bus, made.clock, 0x68, wanted, polled=polled)
    return made


def collect(one, seconds, period_s):
    times_s, counts = [], []

    def task():
        one.imu.open()
        one.imu.start()
        one.seen_s.clear()
        start_s = one.clock.time_s()
        for k in range(1, int(seconds / period_s) + 1):
            yield At(start_s + k * period_s)
            for batch in one.imu.read_batches():
                times_s.extend(batch.t_s + i * batch.dt_s for i in range(len(batch.counts)))
                counts.extend(batch.counts)

    one.clock.run(task())
    return times_s, counts


@pytest.mark.parametrize("period_s", [0.02, 0.1])
@pytest.mark.parametrize("rate_error", [0.0, 0.012, -0.012])
def test_every_sample_comes_once_with_its_time(bench, period_s, rate_error):
    one = make(bench, rate_error=rate_error)
    times_s, counts = collect(one, 6.0, period_s)
    true_s = one.seen_s[: len(times_s)]
    assert len(one.seen_s) - len(times_s) <= 2
    assert [c[0] for c in counts] == [round(t % 1.0 * COUNTS_PER_G) for t in true_s]
    errors_ms = [1e3 * abs(a - b) for a, b in zip(times_s, true_s, strict=True)]
    assert max(e for e, t in zip(errors_ms, true_s, strict=True) if t > true_s[0] + 1.0) < 0.7
    assert one.imu.samples_lost == 0


@pytest.mark.parametrize(
    ("rate", "true_hz", "lowpass_hz", "corner_hz"),
    [(104, 100.0, 20.8, 21.0), (208, 200.0, 8.0, 10.0), (416, 1000 / 2, 200.0, 184.0)],
)
def test_takes_the_nearest_rate_and_corner(bench, rate, true_hz, lowpass_hz, corner_hz):
    one = make(bench, rate=rate, lowpass_hz=lowpass_hz)
    one.imu.open()
    assert one.imu.setup.rate_hz == one.chip.rate_hz
    assert one.imu.setup.rate_hz == pytest.approx(true_hz, rel=0.35)
    assert one.imu.setup.lowpass_hz == one.chip.lowpass_hz == corner_hz


def test_an_overflow_is_counted_and_leaves_no_broken_samples(bench):
    one = make(bench)
    collect(one, 1.0, 0.02)
    one.clock.pause_s(3.0)
    assert one.imu.read_batches() == []
    assert one.imu.samples_lost == pytest.approx(600, abs=4)
    one.clock.pause_s(0.1)
    (batch,) = one.imu.read_batches()
    assert all(c[1:] == (-8192, 16384) for c in batch.counts)
    assert batch.t_s == pytest.approx(one.clock.time_s() - 0.1, abs=0.02)


def test_identity_and_temperature(bench):
    one = make(bench)
    one.imu.open()
    assert one.imu.identity.identity == "68-312c5a17"
    assert one.imu.temperature_c() == pytest.approx(30.0, abs=0.003)


def test_a_chip_that_reset_itself_is_a_fault(bench):
    one = make(bench)
    one.imu.open()
    one.imu.verify()
    one.chip.reset(one.clock.time_s())
    with pytest.raises(MachineFaultError) as caught:
        one.imu.verify()
    assert caught.value.cause == "imu_reset"


def test_a_relative_with_other_filters_is_refused(bench):
    with pytest.raises(BadInputError, match=r"is not a mpu6050.*0x70"):
        make(bench, identity=0x70).imu.open()


def test_polled(bench):
    one = make(bench, polled=True)
    times_s, counts = collect(one, 1.0, 0.003)
    assert len(times_s) == pytest.approx(200, abs=2)
    for t_s, (x, _, _) in zip(times_s, counts, strict=True):
        assert (t_s - x / COUNTS_PER_G + 0.5) % 1.0 - 0.5 == pytest.approx(0.0, abs=0.0021)


def test_closing_puts_the_chip_to_sleep_even_when_it_is_gone(bench):
    one = make(bench)
    one.imu.open()
    one.imu.close()
    assert one.chip.rate_hz == 0
    one.imu.open()
    one.wires.chips.clear()
    one.imu.close()


@pytest.mark.parametrize(
    ("model", "kind"), [("lsm6dsox", Lsm6), ("ism330dhcx", Lsm6), ("mpu6050", Mpu6050)]
)
def test_the_settings_choose_the_driver(bench, model, kind):
    one = bench({})
    settings = Settings()
    bus = msgspec.structs.replace(settings.bus, imu_model=model)
    imu = make_imu(msgspec.structs.replace(settings, bus=bus), one.bus, one.clock)
    assert isinstance(imu, kind)
