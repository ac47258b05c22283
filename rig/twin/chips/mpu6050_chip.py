"""A simulated MPU-6050: registers, big-endian samples at its own rate, FIFO of 1024 bytes.

Register bits as in Linux, drivers/iio/imu/inv_mpu6050/inv_mpu_iio.h; reset values from memory. The
filter and the noise belong to the world that supplies the acceleration.
"""

from collections.abc import Callable, Sequence
from struct import pack

from rig.twin.chips.chip import SampleGrid, Sampler, to_counts

FIFO_BYTES = 1024
GYRO_LOWPASS_HZ = (256.0, 188.0, 98.0, 42.0, 20.0, 10.0, 5.0, 256.0)
LOWPASS_HZ = (260.0, 184.0, 94.0, 44.0, 21.0, 10.0, 5.0, 260.0)
SMPLRT_DIV, CONFIG, GYRO_CONFIG, ACCEL_CONFIG, FIFO_EN = 0x19, 0x1A, 0x1B, 0x1C, 0x23
GYRO_COUNTS = (131.0, 65.5, 32.8, 16.4)
INT_STATUS, ACCEL, USER_CTRL, PWR_MGMT_1, FIFO_COUNT, FIFO_R_W = 0x3A, 0x3B, 0x6A, 0x6B, 0x72, 0x74


class Mpu6050Chip:
    """The chip.

    Args:
        sample: the acceleration.
        temperature_c: the chip's temperature at a time.
        identity: WHO_AM_I.
        rate_error: relative error of its oscillator.
        trim: the factory's self-test trim, four bytes.
        turn: the turning rate in °/s; None where nothing asks for it.
    """

    def __init__(
        self,
        sample: Sampler,
        temperature_c: Callable[[float], float],
        *,
        identity: int = 0x68,
        rate_error: float = 0.0,
        trim: bytes = bytes((0x31, 0x2C, 0x5A, 0x17)),
        turn: Sampler | None = None,
    ) -> None:
        self._sample = sample
        self._turn = turn
        self._temperature_c = temperature_c
        self._identity = identity
        self._rate_error = rate_error
        self._trim = trim
        self._grid = SampleGrid()
        self._fifo = bytearray()
        self._flags = 0
        self._newest = self._newest_turn = (0, 0, 0)
        self._registers = bytearray(256)
        self.reset(0.0)

    @property
    def rate_hz(self) -> float:
        """The true output rate; 0 while it sleeps."""
        registers = self._registers
        if registers[PWR_MGMT_1] & 0x40:
            return 0.0
        base = 1000 if 1 <= registers[CONFIG] & 7 <= 6 else 8000
        return base / (1 + registers[SMPLRT_DIV]) * (1 + self._rate_error)

    @property
    def lowpass_hz(self) -> float:
        """Corner of the low-pass filter in use."""
        return LOWPASS_HZ[self._registers[CONFIG] & 7]

    @property
    def gyro_lowpass_hz(self) -> float:
        """Corner of the gyroscope's low-pass filter in use."""
        return GYRO_LOWPASS_HZ[self._registers[CONFIG] & 7]

    def reset(self, t_s: float) -> None:
        """Default values: asleep, the FIFO empty."""
        registers = self._registers = bytearray(256)
        registers[0x0D:0x11] = self._trim
        registers[PWR_MGMT_1] = 0x40
        registers[0x75] = self._identity
        self._grid.restart(t_s, 0.0)
        self._fifo.clear()
        self._flags = 0

    def write(self, register: int, data: Sequence[int], t_s: float) -> None:
        """Write control registers."""
        self._catch_up(t_s)
        for offset, value in enumerate(data):
            self._write_one(register + offset, value, t_s)

    def read(self, register: int, length: int, t_s: float) -> list[int]:
        """Read registers; FIFO_R_W gives byte after byte of the FIFO."""
        self._catch_up(t_s)
        if register == FIFO_R_W:
            data = bytes(self._fifo[:length])
            del self._fifo[:length]
            return [*data, *bytes(length - len(data))]
        registers = self._registers
        registers[INT_STATUS] = self._flags
        raw = max(-32768, min(32767, round((self._temperature_c(t_s) - 36.53) * 340)))
        registers[ACCEL : ACCEL + 14] = pack(">7h", *self._newest, raw, *self._newest_turn)
        registers[FIFO_COUNT : FIFO_COUNT + 2] = pack(">H", len(self._fifo))
        if register <= INT_STATUS < register + length:
            self._flags = 0
        return list(registers[register : register + length])

    def _write_one(self, register: int, value: int, t_s: float) -> None:
        if register == PWR_MGMT_1 and value & 0x80:
            self.reset(t_s)
            return
        if register == USER_CTRL and value & 0x04:
            self._fifo.clear()
            value &= ~0x04
        if register in (0x75, INT_STATUS) or ACCEL <= register < ACCEL + 14:
            return
        rate_hz = self.rate_hz
        self._registers[register] = value
        if self.rate_hz != rate_hz:
            self._grid.restart(t_s, self.rate_hz)

    def _catch_up(self, t_s: float) -> None:
        """Take the samples that were due since the last access."""
        size = 12 if self._registers[FIFO_EN] & 0x70 == 0x70 else 6
        times, skipped = self._grid.due(t_s, FIFO_BYTES // size + 1)
        if not times:
            return
        registers = self._registers
        scale = 16384 >> (registers[ACCEL_CONFIG] >> 3 & 3)
        counts = to_counts(self._sample(times), scale)
        self._newest = counts[-1]
        turns: list[tuple[int, int, int]] = []
        if self._turn is not None:
            turns = to_counts(self._turn(times), GYRO_COUNTS[registers[GYRO_CONFIG] >> 3 & 3])
            self._newest_turn = turns[-1]
        self._flags |= 0x01
        if registers[FIFO_EN] & 0x08 and registers[USER_CTRL] & 0x40:
            for i, (x, y, z) in enumerate(counts):
                self._fifo += pack(">hhh", x, y, z)
                if size == 12 and turns:
                    self._fifo += pack(">hhh", *turns[i])
            if skipped or len(self._fifo) > FIFO_BYTES:
                del self._fifo[:-FIFO_BYTES]
                self._flags |= 0x10
