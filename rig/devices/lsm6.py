"""Driver for the LSM6DSOX and ISM330DHCX; their gyroscope stays off unless it is asked for.

Registers and bits: ST datasheets DS12814 and DS13012 and ST's register headers.
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

COUNTS_PER_G = 1000 / 0.061
"""At ±2 g: 0.061 mg per count."""

GYRO_COUNTS_PER_DEG_S = 1000 / 4.375
"""At ±125 °/s: 4.375 m°/s per count."""
GYRO_LOWPASS_HZ = {104: 33.0, 208: 66.8, 416: 135.9}
"""By the nominal rate: corner of the gyroscope's second filter, the only one in use."""

KNOWN = {"lsm6dsox": 0x6C, "ism330dhcx": 0x6B}
"""WHO_AM_I of each model."""

FIFO_CTRL1, FIFO_CTRL3, FIFO_CTRL4 = 0x07, 0x09, 0x0A
WHO_AM_I, CTRL1_XL, CTRL2_G, CTRL3_C, CTRL4_C, CTRL8_XL = 0x0F, 0x10, 0x11, 0x12, 0x13, 0x17
STATUS_REG, OUT_TEMP_L, OUTX_L_G, OUTX_L_A, FIFO_STATUS1 = 0x1E, 0x20, 0x22, 0x28, 0x3A
INTERNAL_FREQ_FINE, FIFO_DATA_OUT_TAG = 0x63, 0x78

FIFO_BYPASS, FIFO_CONTINUOUS = 0, 6
FIFO_OVERRUN = 0x40 | 0x08
TAG_GYROSCOPE = 0x01
TAG_ACCELEROMETER = 0x02
GYRO_125_DEG_S = 0x02
WORD_BYTES, WORDS_PER_READ = 7, 4

RATES = {104: (4, 64), 208: (5, 32), 416: (6, 16)}
"""Nominal rate in Hz: code of CTRL1_XL and FIFO_CTRL3, divisor of the internal 6667 Hz."""

BANDWIDTHS = {2: None, 4: 0, 10: 1, 20: 2, 45: 3, 100: 4, 200: 5, 400: 6, 800: 7}
"""Rate divided by low-pass corner: HPCF_XL code, None with the second filter off."""

GYRO_STARTS_S = 0.1
"""The gyroscope needs 70 ms from power-down to its first good sample."""

RATE_TOLERANCE = 0.004
"""What INTERNAL_FREQ_FINE (steps of 0.15 %) and temperature leave open; generous."""


def rate_hz(nominal_hz: int, fine: int) -> float:
    """True rate from the factory's trim: (6667 + 0.0015 · fine · 6667) / divisor, Hz.

    Args:
        nominal_hz: 104, 208 or 416.
        fine: INTERNAL_FREQ_FINE, signed.
    """
    return 6667 * (1 + 0.0015 * fine) / RATES[nominal_hz][1]


def bandwidth_divisor(rate: float, lowpass_hz: float) -> int:
    """The divisor of the rate whose corner is nearest (as a ratio) to the wanted one."""
    return min(BANDWIDTHS, key=lambda d: max(rate / d / lowpass_hz, lowpass_hz * d / rate))


class Lsm6:
    """One LSM6DSOX or ISM330DHCX; see `rig.devices.imu.Imu`.

    Args:
        bus: the shared bus.
        clock: the rig's clock.
        model: a key of `KNOWN`.
        address: 0x6A or 0x6B.
        wanted: rate and low-pass corner.
        polled: read single samples when they are ready, instead of the FIFO.
        gyroscope: read it too, at the same rate.
    """

    def __init__(
        self,
        bus: Bus,
        clock: Clock,
        model: str,
        address: int,
        wanted: ImuSettings,
        *,
        polled: bool = False,
        gyroscope: bool = False,
    ) -> None:
        self._bus = bus
        self._clock = clock
        self._model = model
        self._address = address
        self._wanted = wanted
        self._polled = polled
        self._gyroscope = gyroscope
        self._words_per_sample = 2 if gyroscope else 1
        self._turn: tuple[int, Counts] | None = None
        self._configuration: dict[int, int] = {}
        self._identity: SensorIdentity | None = None
        self._setup: ImuSetup | None = None
        self._samples = SampleClock(1 / wanted.rate_hz, RATE_TOLERANCE, 0.0)
        self._made = 0
        self._slot: int | None = None
        self._polled_at_s = float("-inf")
        self.samples_lost = 0

    @property
    def counts_per_g(self) -> float:
        """Nominal sensitivity."""
        return COUNTS_PER_G

    @property
    def identity(self) -> SensorIdentity:
        """Model, address, identity and frequency trim."""
        if self._identity is None:
            raise RuntimeError("the sensor is not open")
        return self._identity

    @property
    def setup(self) -> ImuSetup:
        """True rate, corner and mode."""
        if self._setup is None:
            raise RuntimeError("the sensor is not open")
        return self._setup

    def open(self) -> None:
        """See `Imu.open`."""
        known = {KNOWN[self._model]: self._model}
        who, _ = self._bus.identify(self._address, WHO_AM_I, known, "bus.imu_address")
        self._reset()
        fine = unpack("b", bytes(self._bus.read(self._address, INTERNAL_FREQ_FINE)))[0]
        rate = rate_hz(self._wanted.rate_hz, fine)
        divisor = bandwidth_divisor(rate, self._wanted.lowpass_hz)
        code = RATES[self._wanted.rate_hz][0]
        filter_code = BANDWIDTHS[divisor]
        self._configuration = {
            CTRL3_C: 0x44,  # a word changes as a whole (BDU), addresses count up (IF_INC)
            CTRL4_C: 0x08,  # no data ready before the filters have settled
            CTRL2_G: code << 4 | GYRO_125_DEG_S if self._gyroscope else 0x00,
            CTRL8_XL: (filter_code or 0) << 5,
            CTRL1_XL: code << 4 | (0 if filter_code is None else 0x02),
            FIFO_CTRL3: 0 if self._polled else (code << 4 | code if self._gyroscope else code),
            FIFO_CTRL4: FIFO_BYPASS,
        }
        for register, value in self._configuration.items():
            self._bus.write(self._address, register, value)
        self._compare("imu_setup", "does not keep its configuration")
        self._identity = SensorIdentity(
            model=self._model, address=self._address, identity=f"{who:02x}-{fine:+d}"
        )
        self._setup = ImuSetup(
            model=self._model,
            rate_hz=rate,
            lowpass_hz=rate / divisor,
            mode="polled" if self._polled else "fifo",
            gyro_counts_per_deg_s=GYRO_COUNTS_PER_DEG_S if self._gyroscope else None,
            gyro_lowpass_hz=GYRO_LOWPASS_HZ[self._wanted.rate_hz] if self._gyroscope else None,
        )
        settles_s = max(20 / rate, 4 * divisor / rate)
        self._clock.pause_s(max(settles_s, GYRO_STARTS_S) if self._gyroscope else settles_s)

    def close(self) -> None:
        """See `Imu.close`."""
        if self._configuration:
            self._configuration = {}
            try:
                self._bus.write(self._address, FIFO_CTRL4, FIFO_BYPASS)
                self._bus.write(self._address, CTRL1_XL, 0)
                if self._gyroscope:
                    self._bus.write(self._address, CTRL2_G, 0)
            except MachineFaultError:
                pass  # a sensor that does not answer cannot be put to sleep, and needs no sleep

    def start(self) -> None:
        """See `Imu.start`."""
        self.samples_lost = 0
        self._count_from_now()
        if not self._polled:
            for mode in (FIFO_BYPASS, FIFO_CONTINUOUS):
                self._bus.write(self._address, FIFO_CTRL4, mode)
                self._configuration[FIFO_CTRL4] = mode

    def read_batches(self) -> list[ImuBatch]:
        """See `Imu.read_batches`."""
        if self._polled:
            return self._poll()
        readings = self._levels()
        _, after_s, level, overrun = readings[-1]
        if overrun:
            self._skip_lost(after_s, level)
            readings = readings[-1:]
        words = self._words(level * self._words_per_sample)
        if not words:
            return []
        runs = self._in_runs(words)
        for before_s, after_s, level_then, _ in readings[-2:]:
            self._samples.observe(before_s, after_s, self._made - (level - level_then))
        period_s = self._samples.period_s
        time_of_s = self._samples.time_of_s
        return [ImuBatch(time_of_s(i), period_s, counts, turns) for i, counts, turns in runs]

    def temperature_c(self) -> float:
        """See `Imu.temperature_c`: 256 counts per °C, 0 at 25 °C."""
        (raw,) = unpack("<h", bytes(self._bus.read(self._address, OUT_TEMP_L, 2)))
        return float(raw) / 256 + 25

    def verify(self) -> None:
        """See `Imu.verify`."""
        self._compare(
            "imu_reset",
            "has lost its configuration, as after a loss of power",
        )

    def _reset(self) -> None:
        self._bus.write(self._address, CTRL3_C, 0x01, repeatable=False)
        for _ in range(20):
            self._clock.pause_s(0.001)
            if not self._bus.read(self._address, CTRL3_C)[0] & 0x01:
                return
        raise MachineFaultError(
            "imu_setup",
            f"The angle sensor at address 0x{self._address:02X} does not end its reset.",
        )

    def _compare(self, cause: Cause, what: str) -> None:
        controls = self._bus.read(self._address, FIFO_CTRL1, CTRL8_XL - FIFO_CTRL1 + 1)
        for register, value in self._configuration.items():
            if (found := controls[register - FIFO_CTRL1]) != value:
                raise MachineFaultError(
                    cause,
                    f"The angle sensor at address 0x{self._address:02X} {what} (register "
                    f"0x{register:02X} reads 0x{found:02X} instead of 0x{value:02X}).",
                )

    def _levels(self) -> list[tuple[float, float, int, bool]]:
        """Ask for the fill level, and now and then again and again up to the next sample."""
        readings = [self._level()]
        _, asked_s, level, overrun = readings[0]
        if overrun or not self._samples.wants_edge(asked_s):
            return readings
        self._clock.pause_s(self._samples.until_edge_s(asked_s, self._made + level))
        while readings[-1][2] <= level and readings[-1][1] < asked_s + 2 / self.setup.rate_hz:
            readings.append(self._level())
        return readings

    def _level(self) -> tuple[float, float, int, bool]:
        before_s = self._clock.time_s()
        low, high = self._bus.read(self._address, FIFO_STATUS1, 2)
        samples = (low | (high & 0x03) << 8) // self._words_per_sample
        return before_s, self._clock.time_s(), samples, bool(high & FIFO_OVERRUN)

    def _words(self, level: int) -> list[tuple[int, int, int, int]]:
        data = bytearray()
        while level > 0:
            words = min(level, WORDS_PER_READ)
            data += bytes(self._bus.read(self._address, FIFO_DATA_OUT_TAG, words * WORD_BYTES))
            level -= words
        return list(iter_unpack("<Bhhh", data))

    def _in_runs(
        self, words: list[tuple[int, int, int, int]]
    ) -> list[tuple[int, list[Counts], list[Counts]]]:
        """Number the samples; the tag's two-bit time slot shows up to three that are missing.

        The gyroscope's word comes before the accelerometer's of its slot. Where it was lost, the
        sample counts as lost.
        """
        runs: list[tuple[int, list[Counts], list[Counts]]] = []
        for tag, x, y, z in words:
            slot = tag >> 1 & 3
            if tag >> 3 == TAG_GYROSCOPE:
                self._turn = slot, (x, y, z)
            if tag >> 3 != TAG_ACCELEROMETER:
                continue
            turn, self._turn = self._turn, None
            if self._gyroscope and (turn is None or turn[0] != slot):
                continue
            missing = 0 if self._slot is None else (slot - self._slot - 1) & 3
            self._slot = slot
            self._made += missing
            self.samples_lost += missing
            if missing or not runs:
                runs.append((self._made, [], []))
            runs[-1][1].append((x, y, z))
            if turn is not None:
                runs[-1][2].append(turn[1])
            self._made += 1
        return runs

    def _skip_lost(self, time_s: float, level: int) -> None:
        """After an overrun only time tells how many samples were overwritten, to one or so."""
        self.samples_lost += max(1, self._samples.made_by(time_s) - level - self._made)
        self._count_from_now()

    def _count_from_now(self) -> None:
        self._made = 0
        self._slot = self._turn = None
        now_s = self._clock.time_s()
        self._samples = SampleClock(1 / self.setup.rate_hz, RATE_TOLERANCE, now_s)

    def _poll(self) -> list[ImuBatch]:
        """The newest sample if there is one; it came up since the last poll, or one period ago."""
        period_s = 1 / self.setup.rate_hz
        asked_s, self._polled_at_s = self._polled_at_s, self._clock.time_s()
        if not self._bus.read(self._address, STATUS_REG)[0] & 0x01:
            return []
        turn: list[Counts] = []
        if self._gyroscope:
            # Both lie side by side, the gyroscope first: one transfer takes one instant.
            data = bytes(self._bus.read(self._address, OUTX_L_G, 12))
            turn = [unpack("<hhh", data[:6])]
            x, y, z = unpack("<hhh", data[6:])
        else:
            x, y, z = unpack("<hhh", bytes(self._bus.read(self._address, OUTX_L_A, 6)))
        earliest_s = max(asked_s, self._polled_at_s - period_s)
        return [ImuBatch((earliest_s + self._polled_at_s) / 2, period_s, [(x, y, z)], turn)]
