import errno
from typing import Protocol

import msgspec
import pytest

from rig.clock import At, VirtualClock
from rig.devices.bus import Bus
from rig.devices.lsm6 import Lsm6
from rig.devices.mpu6050 import COUNTS_PER_G, Mpu6050
from rig.devices.open_imu import make_imu
from rig.errors import BadInputError, MachineFaultError
from rig.settings.model import ImuSettings as ImuSettings
from rig.settings.model import Settings
from rig.twin.chips.fake_bus import FakeBus
from rig.twin.chips.lsm6_chip import Lsm6Chip
from rig.twin.chips.mpu6050_chip import Mpu6050Chip
from tests.devices.conftest import MakeBench


class ImuBench(Protocol):
    """A bench with the chip and its driver."""

    clock: VirtualClock
    wires: FakeBus
    bus: Bus
    chip: Mpu6050Chip
    imu: Mpu6050


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
    times_s: list[float] = []
    counts: list[tuple[int, int, int]] = []

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


@pytest.mark.parametrize(("model", "chip"), [("lsm6dsox", Lsm6Chip), ("mpu6050", Mpu6050Chip)])
@pytest.mark.parametrize("mode", ["fifo", "polled"])
def test_the_settings_choose_how_it_is_read(
    bench: MakeBench, model: str, chip: type[Lsm6Chip | Mpu6050Chip], mode: str
) -> None:
    one = bench({0x6A: chip(lambda times_s: [(0.0, 0.0, 1.0) for _ in times_s], lambda t_s: 25.0)})
    settings = Settings()
    bus = msgspec.structs.replace(settings.bus, imu_model=model, imu_mode=mode)
    imu = make_imu(msgspec.structs.replace(settings, bus=bus), one.bus, one.clock)
    imu.open()
    assert imu.setup.mode == mode


@pytest.mark.parametrize("error", [0.018, -0.018])
def test_a_rate_that_the_oscillator_may_have_is_followed(bench: MakeBench, error: float) -> None:
    one = make(bench, rate_error=error)
    assert last_period_s(one) == pytest.approx(0.005 / (1 + error), rel=2e-4)


@pytest.mark.parametrize("error", [0.04, -0.04])
def test_a_rate_that_no_oscillator_has_is_followed_half_way(bench: MakeBench, error: float) -> None:
    """2 % is allowed; the middle of that and of what is measured is taken."""
    one = make(bench, rate_error=error)
    half_way = (1 / (1 + error) + (0.98 if error > 0 else 1.02)) / 2
    assert last_period_s(one) == pytest.approx(0.005 * half_way, rel=6e-4)


def last_period_s(one: ImuBench) -> float:
    """The time between two samples, as worked out after two seconds."""
    collect(one, 2.0, 0.02)
    one.clock.pause_s(0.1)
    return float(one.imu.read_batches()[-1].dt_s)


CONTROLS = {
    0x6B: 0x01,  # PWR_MGMT_1: awake, clock by the X gyroscope
    0x19: 0x04,  # SMPLRT_DIV: 1 kHz / (1 + 4)
    0x1A: 0x04,  # CONFIG: 21 Hz
    0x1C: 0x00,  # ACCEL_CONFIG: ±2 g
    0x23: 0x08,  # FIFO_EN: accelerometer
}
"""By the register map RM-MPU-6000A, for 200 Hz and 20.8 Hz."""


@pytest.mark.parametrize("register", CONTROLS)
def test_each_control_register_is_set_and_read_back(
    bench: MakeBench, monkeypatch: pytest.MonkeyPatch, register: int
) -> None:
    one = make(bench)
    one.imu.open()
    assert one.bus.read(0x68, register) == (CONTROLS[register],)
    one.imu.verify()
    one.imu.close()
    write = one.chip.write

    def one_bit_off(r: int, data: list[int], t_s: float) -> None:
        write(r, [data[0] ^ 0x10] if r == register else data, t_s)

    monkeypatch.setattr(one.chip, "write", one_bit_off)
    with pytest.raises(MachineFaultError, match="does not keep") as caught:
        one.imu.open()
    assert caught.value.cause == "imu_setup"


@pytest.mark.parametrize("register", CONTROLS)
def test_a_change_of_any_control_register_is_noticed(bench: MakeBench, register: int) -> None:
    one = make(bench)
    one.imu.open()
    one.chip.write(register, [0x02], one.clock.time_s())
    with pytest.raises(MachineFaultError, match=f"register 0x{register:02X} reads 0x02"):
        one.imu.verify()


def test_the_reset_is_sent_once_only(bench: MakeBench, monkeypatch: pytest.MonkeyPatch) -> None:
    one = make(bench)
    sent = []

    def refuse(i2c_addr: int, register: int, value: int) -> None:
        sent.append((register, value))
        raise OSError(errno.EREMOTEIO, "no acknowledge")

    monkeypatch.setattr(one.wires, "write_byte_data", refuse)
    with pytest.raises(MachineFaultError):
        one.imu.open()
    assert sent == [(0x6B, 0x80)]


@pytest.mark.parametrize(("lowpass_hz", "wait_s"), [(184.0, 0.2), (5.0, 0.9)])
def test_reset_and_filter_are_waited_for(
    bench: MakeBench, lowpass_hz: float, wait_s: float
) -> None:
    """0.1 s for the reset; twenty samples, or four periods of the corner if that is longer."""
    one = make(bench, lowpass_hz=lowpass_hz)
    begun_s = one.clock.time_s()
    one.imu.open()
    assert one.clock.time_s() - begun_s == pytest.approx(wait_s, abs=0.01)


def test_start_throws_old_samples_away_and_counts_afresh(bench: MakeBench) -> None:
    one = make(bench)
    collect(one, 0.1, 0.02)
    one.clock.pause_s(3.0)
    one.imu.read_batches()
    assert one.imu.samples_lost > 0
    one.clock.pause_s(0.1)
    one.imu.start()
    assert one.imu.samples_lost == 0
    assert sum(len(batch.counts) for batch in one.imu.read_batches()) <= 1


def test_an_overflow_before_the_start_is_none_of_the_new_count(bench: MakeBench) -> None:
    one = make(bench)
    collect(one, 0.1, 0.02)
    one.clock.pause_s(3.0)
    one.imu.start()
    one.clock.pause_s(0.1)
    assert len(one.imu.read_batches()) == 1
    assert one.imu.samples_lost == 0


def test_an_overflow_loses_one_sample_at_least(
    bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = make(bench)
    one.imu.open()
    one.imu.start()
    read = one.chip.read
    monkeypatch.setattr(
        one.chip, "read", lambda r, n, t_s: [0x11] if r == 0x3A else read(r, n, t_s)
    )
    assert one.imu.read_batches() == []
    assert one.imu.samples_lost == 1


def test_a_chip_that_has_stopped_is_not_waited_for(bench: MakeBench) -> None:
    """The next sample is asked for over two periods, no longer."""
    one = make(bench)
    collect(one, 0.2, 0.02)
    one.wires.stuck[0x68] = 0x00
    one.clock.pause_s(1.0)
    asked_s = one.clock.time_s()
    assert one.imu.read_batches() == []
    assert one.clock.time_s() - asked_s == pytest.approx(2 / 200, abs=0.001)


def test_a_sensor_that_is_not_open_has_no_identity(bench: MakeBench) -> None:
    with pytest.raises(RuntimeError, match="not open"):
        _ = make(bench).imu.identity


def test_polled_late_the_sample_is_no_older_than_a_period(bench: MakeBench) -> None:
    one = make(bench, polled=True)
    one.imu.open()
    one.imu.start()
    one.imu.read_batches()
    one.clock.pause_s(1.0)
    asked_s = one.clock.time_s()
    (batch,) = one.imu.read_batches()
    assert batch.t_s == pytest.approx(asked_s - 0.5 / 200, abs=0.0003)
    assert one.imu.read_batches() == []
