"""Driver for sensors of the MPU-6050 class; the gyroscope is read only if it is asked for.

Registers and bits: InvenSense product specification PS-MPU-6000A and register map RM-MPU-6000A;
FIFO and interrupt bits as in Linux, drivers/iio/imu/inv_mpu6050/inv_mpu_iio.h.
"""

from struct import iter_unpack, unpack

from rig.calibration.model import SensorIdentity
from rig.clock import Clock
from rig.devices.bus import Bus
from rig.devices.imu import Counts, ImuBatch
from rig.devices.sample_clock import SampleClock
from rig.errors import Cause, MachineFaultError
from rig.runfile.model import ImuSetup
from rig.settings.model import ImuSettings as ImuSettings

COUNTS_PER_G = 16384.0
"""At ±2 g."""

GYRO_COUNTS_PER_DEG_S = 131.0
"""At ±250 °/s, the chip's smallest range."""

SELF_TEST_X, SMPLRT_DIV, CONFIG, GYRO_CONFIG, ACCEL_CONFIG, FIFO_EN = (
    *(0x0D, 0x19, 0x1A),
    *(0x1B, 0x1C, 0x23),
)
INT_STATUS, ACCEL_XOUT_H, TEMP_OUT_H, USER_CTRL, PWR_MGMT_1 = 0x3A, 0x3B, 0x41, 0x6A, 0x6B
FIFO_COUNT_H, FIFO_R_W, WHO_AM_I = 0x72, 0x74, 0x75

DATA_READY, FIFO_OVERFLOW = 0x01, 0x10
FIFO_ACCELEROMETER, FIFO_GYROSCOPE = 0x08, 0x70
VECTOR_BYTES, READ_BYTES = 6, 30

LOWPASS_HZ = {1: 184.0, 2: 94.0, 3: 44.0, 4: 21.0, 5: 10.0, 6: 5.0}
"""DLPF_CFG: accelerometer bandwidth. (0 makes the sampling base 8 kHz, so it is not used.)"""

GYRO_LOWPASS_HZ = {1: 188.0, 2: 98.0, 3: 42.0, 4: 20.0, 5: 10.0, 6: 5.0}
"""DLPF_CFG: the gyroscope's bandwidth."""

RATE_TOLERANCE = 0.02
"""The oscillator is good to about 1 % (from memory)."""


class Mpu6050:
    """One sensor of the MPU-6050 class; see `rig.devices.imu.Imu`.

    Args:
        bus: the shared bus.
        clock: the rig's clock.
        address: 0x68 or 0x69.
        wanted: rate and low-pass corner; the chip divides 1 kHz by a whole number.
        polled: read single samples when they are ready, instead of the FIFO.
        gyroscope: read it too, at the same rate.
    """

    def __init__(
        self,
        bus: Bus,
        clock: Clock,
        address: int,
        wanted: ImuSettings,
        *,
        polled: bool = False,
        gyroscope: bool = False,
    ) -> None:
        self._bus = bus
        self._clock = clock
        self._address = address
        self._polled = polled
        self._gyroscope = gyroscope
        self._sample_bytes = 2 * VECTOR_BYTES if gyroscope else VECTOR_BYTES
        divider = min(range(1, 257), key=lambda n: abs(1000 / n - wanted.rate_hz))
        self._rate_hz = 1000 / divider
        filter_code = min(
            LOWPASS_HZ,
            key=lambda c: max(LOWPASS_HZ[c] / wanted.lowpass_hz, wanted.lowpass_hz / LOWPASS_HZ[c]),
        )
        self._lowpass_hz = LOWPASS_HZ[filter_code]
        self._gyro_lowpass_hz = GYRO_LOWPASS_HZ[filter_code]
        self._configuration = {
            PWR_MGMT_1: 0x01,  # awake, timed by a gyroscope axis
            SMPLRT_DIV: divider - 1,
            CONFIG: filter_code,
            ACCEL_CONFIG: 0x00,
            FIFO_EN: 0x00 if polled else FIFO_ACCELEROMETER,
        }
        if gyroscope:
            self._configuration[GYRO_CONFIG] = 0x00
            if not polled:
                self._configuration[FIFO_EN] = FIFO_ACCELEROMETER | FIFO_GYROSCOPE
        self._is_open = False
        self._identity: SensorIdentity | None = None
        self._samples = SampleClock(1 / self._rate_hz, RATE_TOLERANCE, 0.0)
        self._made = 0
        self._polled_at_s = float("-inf")
        self.samples_lost = 0

    @property
    def counts_per_g(self) -> float:
        """Nominal sensitivity."""
        return COUNTS_PER_G

    @property
    def identity(self) -> SensorIdentity:
        """Model, address, identity and the factory's self-test trim."""
        if self._identity is None:
            raise RuntimeError("the sensor is not open")
        return self._identity

    @property
    def setup(self) -> ImuSetup:
        """Nominal rate, corner and mode."""
        return ImuSetup(
            model="mpu6050",
            rate_hz=self._rate_hz,
            lowpass_hz=self._lowpass_hz,
            mode="polled" if self._polled else "fifo",
            gyro_counts_per_deg_s=GYRO_COUNTS_PER_DEG_S if self._gyroscope else None,
            gyro_lowpass_hz=self._gyro_lowpass_hz if self._gyroscope else None,
        )

    def open(self) -> None:
        """See `Imu.open`."""
        known = {0x68: "mpu6050"}
        who, model = self._bus.identify(self._address, WHO_AM_I, known, "bus.imu_address")
        self._bus.write(self._address, PWR_MGMT_1, 0x80, repeatable=False)
        self._clock.pause_s(0.1)
        for register, value in self._configuration.items():
            self._bus.write(self._address, register, value)
        self._is_open = True
        self._compare("imu_setup", "does not keep its configuration")
        trim = bytes(self._bus.read(self._address, SELF_TEST_X, 4)).hex()
        self._identity = SensorIdentity(
            model=model, address=self._address, identity=f"{who:02x}-{trim}"
        )
        self._clock.pause_s(max(20 / self._rate_hz, 4 / self._lowpass_hz))

    def close(self) -> None:
        """See `Imu.close`."""
        if self._is_open:
            self._is_open = False
            try:
                self._bus.write(self._address, PWR_MGMT_1, 0x40)
            except MachineFaultError:
                pass  # a sensor that does not answer cannot be put to sleep, and needs no sleep

    def start(self) -> None:
        """See `Imu.start`."""
        self.samples_lost = 0
        if not self._polled:
            self._empty_fifo()

    def read_batches(self) -> list[ImuBatch]:
        """See `Imu.read_batches`."""
        if self._polled:
            return self._poll()
        readings = self._levels()
        if self._bus.read(self._address, INT_STATUS)[0] & FIFO_OVERFLOW:
            self._start_over()
            return []
        level = readings[-1][2]
        if not level:
            return []
        data = bytearray()
        per_read = READ_BYTES // self._sample_bytes
        for first in range(0, level, per_read):
            samples = min(per_read, level - first)
            data += bytes(self._bus.read(self._address, FIFO_R_W, samples * self._sample_bytes))
        first = self._made
        self._made += level
        for before_s, after_s, level_then in readings[-2:]:
            self._samples.observe(before_s, after_s, first + level_then)
        start_s = self._samples.time_of_s(first)
        vectors = list(iter_unpack(">hhh", data))
        # In the FIFO the registers follow each other by their addresses: acceleration, then turn.
        turns = vectors[1::2] if self._gyroscope else []
        counts = vectors[::2] if self._gyroscope else vectors
        return [ImuBatch(start_s, self._samples.period_s, counts, turns)]

    def temperature_c(self) -> float:
        """See `Imu.temperature_c`: 340 counts per °C, 0 at 36.53 °C."""
        (raw,) = unpack(">h", bytes(self._bus.read(self._address, TEMP_OUT_H, 2)))
        return float(raw) / 340 + 36.53

    def verify(self) -> None:
        """See `Imu.verify`."""
        self._compare(
            "imu_reset",
            "has lost its configuration, as after a loss of power",
        )

    def _compare(self, cause: Cause, what: str) -> None:
        for register, value in self._configuration.items():
            if (found := self._bus.read(self._address, register)[0]) != value:
                raise MachineFaultError(
                    cause,
                    f"The angle sensor at address 0x{self._address:02X} {what} (register "
                    f"0x{register:02X} reads 0x{found:02X} instead of 0x{value:02X}).",
                )

    def _empty_fifo(self) -> None:
        self._bus.write(self._address, USER_CTRL, 0x00)
        self._bus.write(self._address, USER_CTRL, 0x44)
        self._bus.read(self._address, INT_STATUS)
        self._made = 0
        self._samples = SampleClock(1 / self._rate_hz, RATE_TOLERANCE, self._clock.time_s())

    def _levels(self) -> list[tuple[float, float, int]]:
        """Ask for the fill level, and now and then again and again up to the next sample."""
        readings = [self._level()]
        _, asked_s, level = readings[0]
        if not self._samples.wants_edge(asked_s):
            return readings
        self._clock.pause_s(self._samples.until_edge_s(asked_s, self._made + level))
        while readings[-1][2] <= level and readings[-1][1] < asked_s + 2 / self._rate_hz:
            readings.append(self._level())
        return readings

    def _level(self) -> tuple[float, float, int]:
        before_s = self._clock.time_s()
        high, low = self._bus.read(self._address, FIFO_COUNT_H, 2)
        return before_s, self._clock.time_s(), (high << 8 | low) // self._sample_bytes

    def _start_over(self) -> None:
        """After an overflow the FIFO is cut in mid-sample: empty it; time tells what is lost."""
        made = self._samples.made_by(self._clock.time_s())
        self.samples_lost += max(1, made - self._made)
        self._empty_fifo()

    def _poll(self) -> list[ImuBatch]:
        """The newest sample if there is one; it came up since the last poll, or one period ago."""
        period_s = 1 / self._rate_hz
        asked_s, self._polled_at_s = self._polled_at_s, self._clock.time_s()
        if not self._bus.read(self._address, INT_STATUS)[0] & DATA_READY:
            return []
        turn: list[Counts] = []
        if self._gyroscope:
            # One transfer takes one instant: acceleration, temperature, turn.
            data = bytes(self._bus.read(self._address, ACCEL_XOUT_H, 14))
            turn = [unpack(">hhh", data[8:])]
        else:
            data = bytes(self._bus.read(self._address, ACCEL_XOUT_H, 6))
        x, y, z = unpack(">hhh", data[:6])
        earliest_s = max(asked_s, self._polled_at_s - period_s)
        return [ImuBatch((earliest_s + self._polled_at_s) / 2, period_s, [(x, y, z)], turn)]
