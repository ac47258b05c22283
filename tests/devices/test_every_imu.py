"""What any driver of an angle sensor must do, tried on each model and mode that settings can name.

A new model needs a chip in `CHIPS`; everything else here holds for it as it stands.
"""

import errno
import itertools
from collections.abc import Callable, Sequence
from typing import get_args, get_type_hints

import msgspec
import pytest

from rig.clock import At, Task
from rig.devices.imu import Counts, Imu
from rig.devices.open_imu import make_imu
from rig.errors import BadInputError, MachineFaultError
from rig.settings.model import BusSettings, Settings
from rig.twin.chips.chip import Chip
from rig.twin.chips.lsm6_chip import Lsm6Chip
from rig.twin.chips.mpu6050_chip import Mpu6050Chip
from tests.devices.conftest import Bench, MakeBench

Sampler = Callable[[Sequence[float]], list[tuple[float, float, float]]]
CHIPS: dict[str, Callable[[Sampler], Chip]] = {
    "lsm6dsox": lambda sample: Lsm6Chip(sample, lambda _: 31.0),
    "ism330dhcx": lambda sample: Lsm6Chip(sample, lambda _: 31.0, identity=0x6B),
    "mpu6050": lambda sample: Mpu6050Chip(sample, lambda _: 31.0),
}
ADDRESS = 0x6A
PERIOD_S = 0.02


def named(key: str) -> tuple[str, ...]:
    """The words that a key of the settings may have."""
    values: tuple[str, ...] = get_args(
        get_args(get_type_hints(BusSettings, include_extras=True)[key])[0]
    )
    return values


@pytest.fixture(params=itertools.product(named("imu_model"), named("imu_mode")), ids="-".join)
def setting(request: pytest.FixtureRequest) -> Settings:
    """Settings with one sensor in one mode."""
    model, mode = request.param
    settings = Settings()
    bus = msgspec.structs.replace(settings.bus, imu_model=model, imu_mode=mode, imu_address=ADDRESS)
    return msgspec.structs.replace(settings, bus=bus)


def tilted(times_s: Sequence[float]) -> list[tuple[float, float, float]]:
    """A frame whose first axis shows when the sample was taken."""
    return [(0.5 * (t % 1.0), -0.6, 0.8) for t in times_s]


@pytest.fixture
def one(bench: MakeBench, setting: Settings) -> tuple[Bench, Imu]:
    """The sensor on its bus, not open yet."""
    made = bench({ADDRESS: CHIPS[setting.bus.imu_model](tilted)})
    return made, make_imu(setting, made.bus, made.clock)


def test_making_one_touches_no_hardware(one: tuple[Bench, Imu]) -> None:
    bench, imu = one
    assert bench.wires.transfers == 0
    imu.close()


def test_identity_and_setup_are_known_once_it_is_open(
    one: tuple[Bench, Imu], setting: Settings
) -> None:
    _, imu = one
    imu.open()
    assert imu.identity.model == setting.bus.imu_model
    assert imu.setup.rate_hz == pytest.approx(setting.imu.rate_hz, rel=0.1)
    assert imu.setup.lowpass_hz > 0.0
    assert imu.setup.mode == setting.bus.imu_mode
    assert imu.identity.address == ADDRESS
    assert imu.temperature_c() == pytest.approx(31.0, abs=0.1)
    imu.verify()


def test_samples_come_in_order_once_each_and_at_their_times(one: tuple[Bench, Imu]) -> None:
    bench, imu = one
    seen: list[tuple[float, Counts]] = []

    def task() -> Task[None]:
        imu.open()
        imu.start()
        start_s = bench.clock.time_s()
        for turn in range(1, 151):
            yield At(start_s + turn * PERIOD_S)
            for batch in imu.read_batches():
                assert batch.dt_s > 0.0
                assert batch.counts
                seen.extend((batch.t_s + i * batch.dt_s, c) for i, c in enumerate(batch.counts))

    bench.clock.run(task())
    times_s = [t_s for t_s, _ in seen]
    assert all(a < b for a, b in itertools.pairwise(times_s))
    assert times_s[-1] - times_s[0] == pytest.approx(150 * PERIOD_S, abs=0.05)
    assert imu.samples_lost == 0
    one_g = imu.counts_per_g
    late = [(t_s, counts) for t_s, counts in seen if t_s > times_s[0] + 1.0]
    for t_s, (x, y, z) in late:
        assert (y, z) == pytest.approx((-0.6 * one_g, 0.8 * one_g), abs=1)
        assert x / one_g / 0.5 == pytest.approx(t_s % 1.0, abs=0.006)


def test_what_was_in_store_at_the_start_is_not_delivered(one: tuple[Bench, Imu]) -> None:
    bench, imu = one

    def task() -> Task[None]:
        imu.open()
        yield At(bench.clock.time_s() + 0.5)
        imu.start()
        start_s = bench.clock.time_s()
        yield At(start_s + 0.1)
        first = imu.read_batches()[0]
        assert first.t_s > start_s - 0.02

    bench.clock.run(task())


def test_an_absent_chip_and_one_of_another_kind_are_refused(
    bench: MakeBench, setting: Settings
) -> None:
    empty = bench({})
    with pytest.raises(BadInputError, match="0x6A"):
        make_imu(setting, empty.bus, empty.clock).open()
    other = next(m for m in CHIPS if m != setting.bus.imu_model)
    wrong = bench({ADDRESS: CHIPS[other](tilted)})
    with pytest.raises(BadInputError, match=f"is not a {setting.bus.imu_model}"):
        make_imu(setting, wrong.bus, wrong.clock).open()


def test_a_reset_in_mid_run_and_a_dead_bus_are_faults(one: tuple[Bench, Imu]) -> None:
    bench, imu = one
    imu.open()
    imu.start()
    bench.wires.chips[ADDRESS].reset(bench.clock.time_s())
    with pytest.raises(MachineFaultError) as reset:
        imu.verify()
    assert reset.value.cause == "imu_reset"
    bench.wires.fail(0, errno.EREMOTEIO, times=1000)
    with pytest.raises(MachineFaultError) as dead:
        imu.temperature_c()
    assert dead.value.cause == "bus"
    imu.close()


def test_closing_twice_and_unopened_is_harmless(one: tuple[Bench, Imu]) -> None:
    _, imu = one
    imu.close()
    imu.open()
    imu.close()
    imu.close()
