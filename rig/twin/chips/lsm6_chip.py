"""A simulated LSM6DSOX or ISM330DHCX: registers, samples at its own rate, tagged FIFO.

The second low-pass filter and the noise belong to the world that supplies the acceleration; the
chip tells it the corner (`lowpass_hz`). The FIFO batches at the output rate only, and the gyroscope
runs at the accelerometer's rate or not at all. Reset values from ST's register headers.
"""

from collections import deque
from collections.abc import Callable, Sequence
from struct import pack

from rig.twin.chips.chip import SampleGrid, Sampler, to_counts

FIFO_WORDS = 512
"""3 kB without compression."""

MG_PER_COUNT = {0: 0.061, 1: 0.488, 2: 0.122, 3: 0.244}
DIVISORS = {1: 512, 2: 256, 3: 128, 4: 64, 5: 32, 6: 16, 7: 8, 8: 4, 9: 2, 10: 1}
CORNERS = (4, 10, 20, 45, 100, 200, 400, 800)
CTRL1_XL, CTRL2_G, CTRL3_C, CTRL8_XL = 0x10, 0x11, 0x12, 0x17
FIFO_CTRL3, FIFO_CTRL4 = 0x09, 0x0A
OUTX_L_G, OUTX_L_A, OUTZ_H_A, TAG = 0x22, 0x28, 0x2D, 0x78
MDPS_PER_COUNT = {0: 8.75, 1: 17.5, 2: 35.0, 3: 70.0}
MDPS_PER_COUNT_AT_125 = 4.375
GYRO_CORNERS = {1: 4.3, 2: 8.3, 3: 16.7, 4: 33.0, 5: 66.8, 6: 135.9}


class Lsm6Chip:
    """The chip.

    Args:
        sample: the acceleration.
        temperature_c: the chip's temperature at a time.
        identity: WHO_AM_I; 0x6C is an LSM6DSOX, 0x6B an ISM330DHCX.
        frequency_fine: factory's trim in steps of 0.15 %.
        rate_error: relative error that the trim does not tell.
        turn: the turning rate in °/s; None where nothing asks for it.
    """

    def __init__(
        self,
        sample: Sampler,
        temperature_c: Callable[[float], float],
        *,
        identity: int = 0x6C,
        frequency_fine: int = 0,
        rate_error: float = 0.0,
        turn: Sampler | None = None,
    ) -> None:
        self._sample = sample
        self._turn = turn
        self._temperature_c = temperature_c
        self._identity = identity
        self._fine = frequency_fine
        self._rate_error = rate_error
        self._grid = SampleGrid()
        self._fifo: deque[bytes] = deque()
        self._overrun = False
        self._slot = 0
        self._newest = (0, 0, 0)
        self._newest_turn = (0, 0, 0)
        self._ready = False
        self._registers = bytearray(256)
        self.reset(0.0)

    @property
    def rate_hz(self) -> float:
        """The true output rate; 0 while it is off."""
        code = self._registers[CTRL1_XL] >> 4
        if code not in DIVISORS:
            return 0.0
        return 6667 * (1 + 0.0015 * self._fine) / DIVISORS[code] * (1 + self._rate_error)

    @property
    def lowpass_hz(self) -> float:
        """Corner of the low-pass filter in use."""
        if self._registers[CTRL1_XL] & 0x02:
            return self.rate_hz / CORNERS[self._registers[CTRL8_XL] >> 5]
        return self.rate_hz / 2

    @property
    def gyro_lowpass_hz(self) -> float:
        """Corner of the gyroscope's second filter, which follows the rate (DS12814)."""
        return GYRO_CORNERS.get(self._registers[CTRL2_G] >> 4, 0.0)

    def reset(self, t_s: float) -> None:
        """Default values; the FIFO is empty and no samples are taken."""
        registers = self._registers = bytearray(256)
        registers[0x0F] = self._identity
        registers[CTRL3_C] = 0x04
        registers[0x18] = 0xE0
        registers[0x63] = self._fine & 0xFF
        self._grid.restart(t_s, 0.0)
        self._empty()
        self._ready = False

    def write(self, register: int, data: Sequence[int], t_s: float) -> None:
        """Write control registers."""
        self._catch_up(t_s)
        for offset, value in enumerate(data):
            self._write_one(register + offset, value, t_s)

    def read(self, register: int, length: int, t_s: float) -> list[int]:
        """Read registers; those of the FIFO's output repeat while words are taken."""
        is_output = TAG <= register <= TAG + 6
        # Words that are there are given as they are: what has come since can wait for the next
        # look, unless there is no room for it.
        if not (is_output and length <= 7 * len(self._fifo) < 7 * FIFO_WORDS // 2):
            self._catch_up(t_s)
        if is_output:
            return self._take(register, length)
        if register <= 0x3B and register + length > 0x1E:
            self._refresh(t_s)
        result = list(self._registers[register : register + length])
        if register <= 0x3B < register + length:
            self._overrun = False
        if register <= OUTZ_H_A and register + length > OUTX_L_A:
            self._ready = False
        return result

    def _write_one(self, register: int, value: int, t_s: float) -> None:
        if register == CTRL3_C and value & 0x81:
            self.reset(t_s)
            return
        if register in (0x0F, 0x63) or 0x1A <= register <= 0x3F:
            return
        before, self._registers[register] = self._registers[register], value
        if register == CTRL1_XL and (before ^ value) & 0xF0:
            self._grid.restart(t_s, self.rate_hz)
        if register == FIFO_CTRL4 and value & 7 == 0:
            self._empty()

    def _catch_up(self, t_s: float) -> None:
        """Take the samples that were due since the last access."""
        times, skipped = self._grid.due(t_s, FIFO_WORDS + 1)
        if not times:
            return
        registers = self._registers
        full_scale = registers[CTRL1_XL] >> 2 & 3
        counts = to_counts(self._sample(times), 1000 / MG_PER_COUNT[full_scale])
        self._newest = counts[-1]
        turns = self._turns(times)
        self._newest_turn = turns[-1] if turns else (0, 0, 0)
        self._ready = True
        code = registers[CTRL1_XL] >> 4
        mode = registers[FIFO_CTRL4] & 7
        if registers[FIFO_CTRL3] & 0x0F != code or mode not in (1, 6):
            return
        fifo, slot = self._fifo, self._slot + skipped
        if skipped and mode == 6:
            fifo.clear()
            self._overrun = True
        batches_turn = bool(turns) and registers[FIFO_CTRL3] >> 4 == code
        for i, acceleration in enumerate(counts):
            words = [(0x10, acceleration)]
            if batches_turn:
                words.insert(0, (0x08, turns[i]))
            if len(fifo) + len(words) > FIFO_WORDS:
                if mode == 1:
                    break
                for _ in words:
                    fifo.popleft()
                self._overrun = True
            for sensor, vector in words:
                tag = sensor | (slot & 3) << 1
                fifo.append(pack("<Bhhh", tag | tag.bit_count() & 1, *vector))
            slot += 1
        self._slot = slot & 3

    def _turns(self, times_s: list[float]) -> list[tuple[int, int, int]]:
        """Counts of the gyroscope; none while it is off."""
        control = self._registers[CTRL2_G]
        if self._turn is None or control >> 4 != self._registers[CTRL1_XL] >> 4:
            return []
        is_least = bool(control & 0x02)
        mdps = MDPS_PER_COUNT_AT_125 if is_least else MDPS_PER_COUNT[control >> 2 & 3]
        return to_counts(self._turn(times_s), 1000 / mdps)

    def _refresh(self, t_s: float) -> None:
        """Bring status, outputs and temperature up to date."""
        registers = self._registers
        registers[0x1E] = 0x04 | (0x01 if self._ready else 0)
        raw = max(-32768, min(32767, round((self._temperature_c(t_s) - 25) * 256)))
        registers[0x20:0x22] = pack("<h", raw)
        registers[OUTX_L_G : OUTZ_H_A + 1] = pack("<6h", *self._newest_turn, *self._newest)
        level = len(self._fifo)
        watermark = registers[0x07] | (registers[0x08] & 1) << 8
        flags = (0x80 if watermark and level >= watermark else 0) | (level >> 8 & 3)
        flags |= 0x20 if level >= FIFO_WORDS else 0
        flags |= 0x48 if self._overrun else 0
        registers[0x3A:0x3C] = bytes((level & 0xFF, flags))

    def _take(self, register: int, length: int) -> list[int]:
        """Read words; the address goes from the last byte of one to the tag of the next."""
        fifo = self._fifo
        if register == TAG and length % 7 == 0:
            words = min(length // 7, len(fifo))
            data = b"".join([fifo.popleft() for _ in range(words)])
            return [*data, *bytes(length - len(data))]
        result: list[int] = []
        at = register - TAG
        while len(result) < length:
            result.append(fifo[0][at] if fifo else 0)
            at += 1
            if at == 7:
                at = 0
                if fifo:
                    fifo.popleft()
        return result

    def _empty(self) -> None:
        self._fifo.clear()
        self._overrun = False
        self._slot = 0
