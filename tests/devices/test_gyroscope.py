"""The gyroscopes of the angle sensors, register by register.

Sources: ST datasheets DS12814 and DS13012 (CTRL2_G, FIFO_CTRL3, tags of the FIFO, 4.375 m°/s per
count at ±125 °/s, 66.8 Hz at 208 Hz), InvenSense RM-MPU-6000A (FIFO_EN, GYRO_CONFIG, 131 counts per
°/s at ±250 °/s, bandwidths by DLPF_CFG) and PS-MPU-6000A.
"""

import msgspec
import pytest

from rig.clock import At
from rig.devices.imu import Counts
from rig.devices.lsm6 import Lsm6
from rig.devices.mpu6050 import Mpu6050
from rig.devices.open_imu import make_imu
from rig.errors import MachineFaultError
from rig.settings.model import ImuSettings as ImuSettings
from rig.settings.model import MotionSettings, Settings
from rig.twin.chips.lsm6_chip import Lsm6Chip
from rig.twin.chips.mpu6050_chip import Mpu6050Chip
from tests.devices.conftest import Bench, MakeBench
from tests.outside.test_imu import Table, opened


def level(times_s: list[float]) -> list[tuple[float, float, float]]:
    """Acceleration that tells when it was sampled, in g."""
    return [(t % 1.0, 0.0, 1.0) for t in times_s]


def turning(times_s: list[float]) -> list[tuple[float, float, float]]:
    """A turn that tells the same, in °/s."""
    return [(0.0, 100.0 * (t % 1.0), -1.0) for t in times_s]


def lsm6(bench: MakeBench, *, polled: bool = False) -> tuple[Bench, Lsm6Chip, Lsm6]:
    chip = Lsm6Chip(level, lambda t_s: 25.0, turn=turning)
    one = bench({0x6A: chip})
    wanted = ImuSettings(rate_hz=208, lowpass_hz=20.8)
    imu = Lsm6(one.bus, one.clock, "lsm6dsox", 0x6A, wanted, polled=polled, gyroscope=True)
    return one, chip, imu


def mpu(bench: MakeBench, *, polled: bool = False) -> tuple[Bench, Mpu6050Chip, Mpu6050]:
    chip = Mpu6050Chip(level, lambda t_s: 25.0, turn=turning)
    one = bench({0x68: chip})
    wanted = ImuSettings(rate_hz=208, lowpass_hz=20.8)
    return one, chip, Mpu6050(one.bus, one.clock, 0x68, wanted, polled=polled, gyroscope=True)


def collect(one, imu, seconds=2.0, period_s=0.04):
    """Pairs of acceleration and turn."""
    pairs: list[tuple[Counts, Counts]] = []

    def task():
        imu.open()
        imu.start()
        start_s = one.clock.time_s()
        for k in range(1, int(seconds / period_s) + 1):
            yield At(start_s + k * period_s)
            for batch in imu.read_batches():
                assert len(batch.gyro_counts) == len(batch.counts)
                pairs.extend(zip(batch.counts, batch.gyro_counts, strict=True))

    one.clock.run(task())
    return pairs


@pytest.mark.parametrize("polled", [False, True])
@pytest.mark.parametrize("make", [lsm6, mpu])
def test_each_sample_comes_with_the_turn_of_the_same_instant(bench, make, polled):
    one, _, imu = make(bench, polled=polled)
    pairs = collect(one, imu, period_s=0.003 if polled else 0.04)
    assert len(pairs) > 350
    per_deg_s = imu.setup.gyro_counts_per_deg_s
    for (x, _, _), (_, y, z) in pairs:
        assert y / per_deg_s == pytest.approx(100.0 * x / imu.counts_per_g, abs=0.02)
        assert z == round(-per_deg_s)
    assert imu.samples_lost == 0


@pytest.mark.parametrize(
    ("register", "value"),
    [
        (0x11, 0x52),  # CTRL2_G: 208 Hz 0101, FS_125 1
        (0x09, 0x55),  # FIFO_CTRL3: gyroscope and accelerometer in batches at 208 Hz
        (0x10, 0x52),  # CTRL1_XL: as without the gyroscope
    ],
)
def test_registers_of_the_newer_chip(bench, register, value):
    one, _, imu = lsm6(bench)
    imu.open()
    assert one.bus.read(0x6A, register) == (value,)


@pytest.mark.parametrize(
    ("register", "value"),
    [
        (0x23, 0x78),  # FIFO_EN: XG, YG, ZG, ACCEL
        (0x1B, 0x00),  # GYRO_CONFIG: ±250 °/s
    ],
)
def test_registers_of_the_older_chip(bench, register, value):
    one, _, imu = mpu(bench)
    imu.open()
    assert one.bus.read(0x68, register) == (value,)


@pytest.mark.parametrize(
    ("make", "address", "register"), [(lsm6, 0x6A, 0x11), (lsm6, 0x6A, 0x09), (mpu, 0x68, 0x1B)]
)
def test_a_gyroscope_that_loses_its_configuration_is_a_fault(bench, make, address, register):
    one, chip, imu = make(bench)
    imu.open()
    imu.start()
    imu.verify()
    chip.write(register, [0x08], one.clock.time_s())
    with pytest.raises(MachineFaultError, match=f"register 0x{register:02X} reads 0x08"):
        imu.verify()


def test_closing_switches_it_off(bench):
    one, _, imu = lsm6(bench)
    imu.open()
    imu.close()
    assert one.bus.read(0x6A, 0x11) == (0x00,)


def test_a_turn_that_was_lost_takes_its_sample_with_it():
    """Words of slots 0 to 2; the gyroscope's word of slot 1 is not there."""
    words = [(0x08, 7), (0x10, 1), (0x12, 2), (0x0C, 9), (0x14, 3)]
    data = b"".join(bytes((tag, value, 0, 0, 0, 0, 0)) for tag, value in words)
    chip = Table({0x0F: b"\x6c", 0x3A: bytes((6, 0))}, 0x78, data + bytes(7))
    imu = opened(chip, lambda b, c: Lsm6(b, c, "lsm6dsox", 0x6A, ImuSettings(), gyroscope=True))
    imu.start()
    first, second = imu.read_batches()
    assert [c[0] for c in first.counts] == [1]
    assert [c[0] for c in second.counts] == [3]
    assert [c[0] for c in (*first.gyro_counts, *second.gyro_counts)] == [7, 9]
    assert imu.samples_lost == 1


def test_outputs_of_the_newer_chip_lie_gyroscope_first():
    """OUTX_L_G is 0x22, OUTX_L_A 0x28; little-endian."""
    data = bytes.fromhex("0100 0200 FFFF 1027 0000 0080")
    chip = Table({0x0F: b"\x6c", 0x1E: b"\x01", 0x22: data})
    imu = opened(
        chip,
        lambda b, c: Lsm6(b, c, "lsm6dsox", 0x6A, ImuSettings(), polled=True, gyroscope=True),
    )
    (batch,) = imu.read_batches()
    assert (batch.gyro_counts, batch.counts) == ([(1, 2, -1)], [(10000, 0, -32768)])
    assert imu.setup.gyro_counts_per_deg_s == pytest.approx(1000 / 4.375)
    assert imu.setup.gyro_lowpass_hz == 66.8


def test_outputs_of_the_older_chip_lie_temperature_between():
    """ACCEL_XOUT_H is 0x3B, TEMP_OUT_H 0x41, GYRO_XOUT_H 0x43; big-endian."""
    data = bytes.fromhex("4000 0000 C000 1234 0083 FF7D 0001")
    chip = Table({0x75: b"\x68", 0x3A: b"\x01", 0x3B: data})
    imu = opened(chip, lambda b, c: Mpu6050(b, c, 0x6A, ImuSettings(), polled=True, gyroscope=True))
    (batch,) = imu.read_batches()
    assert batch.counts == [(16384, 0, -16384)]
    assert [value / imu.setup.gyro_counts_per_deg_s for value in batch.gyro_counts[0]] == (
        pytest.approx([1.0, -1.0, 1 / 131])
    )


@pytest.mark.parametrize(("raised_by", "reads"), [("motor", False), ("hand", True)])
@pytest.mark.parametrize("model", ["lsm6dsox", "mpu6050"])
def test_it_is_read_where_the_board_is_raised_by_hand(bench, model, raised_by, reads):
    make = mpu if model == "mpu6050" else lsm6
    one, _, _ = make(bench)
    settings = Settings(motion=MotionSettings(raised_by=raised_by))
    address = 0x68 if model == "mpu6050" else 0x6A
    bus = msgspec.structs.replace(settings.bus, imu_model=model, imu_address=address)
    imu = make_imu(msgspec.structs.replace(settings, bus=bus), one.bus, one.clock)
    imu.open()
    assert (imu.setup.gyro_counts_per_deg_s is not None) == reads


def test_it_has_a_tenth_of_a_second_to_start(bench):
    """Turn-on time 70 ms (DS12814, table 3); with a quick filter nothing else waits as long."""
    chip = Lsm6Chip(level, lambda t_s: 25.0, turn=turning)
    one = bench({0x6A: chip})
    wanted = ImuSettings(rate_hz=208, lowpass_hz=100.0)
    imu = Lsm6(one.bus, one.clock, "lsm6dsox", 0x6A, wanted, gyroscope=True)
    begun_s = one.clock.time_s()
    imu.open()
    assert one.clock.time_s() - begun_s == pytest.approx(0.108, abs=0.006)
