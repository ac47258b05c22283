"""The rig's drivers on a real I2C device node; another process keeps the chips' registers."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from stub_keeper import AIR, CHIP_TEMPERATURE_C, CLIMATE, IMU

from rig.calibration.apply import gravity_g, inclination_deg
from rig.calibration.model import Calibration, SensorIdentity
from rig.clock import RealClock
from rig.devices.bus import Bus, real_bus
from rig.devices.climate import ClimateSensor
from rig.devices.lsm6 import COUNTS_PER_G, Lsm6
from rig.errors import BadInputError
from rig.settings.model import ImuSettings as ImuSettings

KEEPER = Path(__file__).parent / "stub_keeper.py"


@pytest.fixture(scope="module")
def bus() -> Iterator[Bus]:
    keeper = subprocess.Popen(
        [sys.executable, str(KEEPER)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert keeper.stdin is not None
    assert keeper.stdout is not None
    assert keeper.stdout.readline().strip() == "ready"
    with real_bus(RealClock(), 0) as opened:
        yield opened
    keeper.stdin.close()
    assert keeper.wait(60) == 0
    keeper.stdout.close()


def test_the_scan_finds_both_chips_and_no_others(bus: Bus) -> None:
    assert bus.scan() == [IMU, CLIMATE]


def test_identities(bus: Bus) -> None:
    assert bus.read(IMU, 0x0F) == (0x6C,)
    assert bus.read(CLIMATE, 0xD0) == (0x60,)


def test_an_absent_chip_is_told_with_what_answers(bus: Bus) -> None:
    sensor = Lsm6(bus, RealClock(), "lsm6dsox", 0x6B, ImuSettings(), polled=True)
    with pytest.raises(BadInputError, match=r"0x6B.*found at: 0x6A, 0x76.*bus\.imu_address"):
        sensor.open()


def test_a_chip_of_another_kind_is_told(bus: Bus) -> None:
    sensor = Lsm6(bus, RealClock(), "ism330dhcx", IMU, ImuSettings(), polled=True)
    with pytest.raises(BadInputError, match=r"0x6A .*is not a ism330dhcx.*0x6C"):
        sensor.open()


def test_climate_through_its_driver(bus: Bus) -> None:
    clock = RealClock()
    sensor = ClimateSensor(bus, clock, CLIMATE)
    sensor.open()
    try:
        clock.pause_s(0.5)
        reading = sensor.read()
    finally:
        sensor.close()
    assert reading.doubts == ()
    assert reading.temperature_c == pytest.approx(AIR[0], abs=0.02)
    assert reading.relative_humidity_pct == pytest.approx(AIR[1], abs=0.05)
    assert reading.pressure_hpa == pytest.approx(AIR[2], abs=0.05)


def test_the_angle_from_single_samples(bus: Bus) -> None:
    clock = RealClock()
    sensor = Lsm6(bus, clock, "lsm6dsox", IMU, ImuSettings(), polled=True)
    sensor.open()
    try:
        assert sensor.setup.mode == "polled"
        sensor.start()
        batches = []
        for _ in range(50):
            clock.pause_s(0.005)
            batches += sensor.read_batches()
        assert sensor.temperature_c() == pytest.approx(CHIP_TEMPERATURE_C, abs=0.01)
        sensor.verify()
    finally:
        sensor.close()
    assert len(batches) == 50
    times = [batch.t_s for batch in batches]
    assert times == sorted(times)
    counts = [sample for batch in batches for sample in batch.counts]
    angles = inclination_deg(EXACT, gravity_g(EXACT, counts))
    assert angles.mean() == pytest.approx(20.0, abs=0.01)
    assert 0 < angles.std() < 0.01


EXACT = Calibration(
    made_at="2026-01-01T00:00:00Z",
    due_at="2027-01-01T00:00:00Z",
    sensor=SensorIdentity(model="lsm6dsox", address=IMU, identity="6c-+0"),
    temperature_c=23.0,
    counts_per_g=COUNTS_PER_G,
    level=(0.0, 0.0, 1.0),
    axis=(0.0, 1.0, 0.0),
    covariance=tuple(tuple(1e-8 * (i == j) for j in range(8)) for i in range(8)),
    filter_delay_ms=22.0,
    u_filter_delay_ms=3.0,
)
"""A perfect sensor whose z axis is up; turning about y raises x."""
