"""A simulated BME280: trimming constants, modes, and raw values found by inverting the formula.

Formula and registers: Bosch datasheet BST-BME280-DS002, double-precision compensation. The
low-pass filter is not simulated.
"""

from collections.abc import Callable, Sequence
from math import floor
from struct import pack
from typing import NamedTuple

IDENTITY, RESET, CTRL_HUM, STATUS, CTRL_MEAS, CONFIG = 0xD0, 0xE0, 0xF2, 0xF3, 0xF4, 0xF5
TIMES = (0, 1, 2, 4, 8, 16, 16, 16)
STANDBY_S = (0.0005, 0.0625, 0.125, 0.25, 0.5, 1.0, 0.01, 0.02)
SKIPPED = (0x80000, 0x80000, 0x8000)


class Trim(NamedTuple):
    """Trimming constants of one chip; those of the public humidity example, if not given."""

    t: tuple[int, int, int] = (28009, 25654, 50)
    p: tuple[int, ...] = (39145, -10750, 3024, 5667, -120, -7, 15500, -14600, 6000)
    h: tuple[int, int, int, int, int, int] = (75, 376, 0, 286, 50, 30)

    def t_fine(self, raw: int) -> float:
        """Fine temperature, 5120 per °C."""
        t1, t2, t3 = self.t
        first = (raw / 16384 - t1 / 1024) * t2
        return first + (raw / 131072 - t1 / 8192) ** 2 * t3

    def pressure_pa(self, raw: int, t_fine: float) -> float:
        """Pressure in Pa."""
        p1, p2, p3, p4, p5, p6, p7, p8, p9 = self.p
        var1 = t_fine / 2 - 64000
        var2 = (var1 * var1 * p6 / 32768 + var1 * p5 * 2) / 4 + p4 * 65536
        var1 = (p3 * var1 * var1 / 524288 + p2 * var1) / 524288
        var1 = (1 + var1 / 32768) * p1
        pressure = (1048576 - raw - var2 / 4096) * 6250 / var1
        return pressure + (p9 * pressure * pressure / 2147483648 + pressure * p8 / 32768 + p7) / 16

    def humidity_pct(self, raw: int, t_fine: float) -> float:
        """Relative humidity in %, not clipped."""
        h1, h2, h3, h4, h5, h6 = self.h
        x = t_fine - 76800
        y = (raw - (h4 * 64 + h5 / 16384 * x)) * (
            h2 / 65536 * (1 + h6 / 67108864 * x * (1 + h3 / 67108864 * x))
        )
        return y * (1 - h1 * y / 524288)

    def bytes_low(self) -> bytes:
        """Registers 0x88 to 0xA1."""
        return pack("<HhhH8hxB", *self.t, *self.p, self.h[0])

    def bytes_high(self) -> bytes:
        """Registers 0xE1 to 0xE7; H4 and H5 share the byte 0xE5."""
        _, h2, h3, h4, h5, h6 = self.h
        shared = (h4 & 0x0F) | (h5 & 0x0F) << 4
        return pack("<hBbBbb", h2, h3, h4 >> 4, shared, h5 >> 4, h6)


def raw_for(wanted: float, formula: Callable[[int], float], bits: int) -> int:
    """The raw value whose compensated value is nearest to the wanted one.

    Args:
        wanted: compensated value.
        formula: monotonic over the range of raw values.
        bits: of the raw value.
    """
    low, high = 0, (1 << bits) - 1
    rising = formula(high) > formula(low)
    while high - low > 1:
        middle = (low + high) // 2
        if (formula(middle) < wanted) == rising:
            low = middle
        else:
            high = middle
    return min((low, high), key=lambda raw: abs(formula(raw) - wanted))


class Bme280Chip:
    """The chip.

    Args:
        air: temperature in °C, relative humidity in %, pressure in hPa at a time.
        identity: 0x60; 0x58 makes it a BMP280.
        trim: trimming constants.
    """

    def __init__(
        self,
        air: Callable[[float], tuple[float, float, float]],
        *,
        identity: int = 0x60,
        trim: Trim | None = None,
    ) -> None:
        self._air = air
        self._trim = trim or Trim()
        self._factory = bytearray(256)
        self._factory[IDENTITY] = identity
        self._factory[0x88:0xA2] = self._trim.bytes_low()
        self._factory[0xE1:0xE8] = self._trim.bytes_high()
        self.raw: tuple[int, int, int] | None = None
        """Raw temperature, pressure and humidity to show instead of the air's, for tests."""
        self._registers = bytearray(256)
        self._osrs_h = 0
        self._began_s = 0.0
        self._measured_s: float | None = None
        self.reset(0.0)

    def reset(self, t_s: float) -> None:
        """Default values: asleep, nothing measured."""
        self._registers = bytearray(self._factory)
        self._osrs_h = 0
        self._began_s = t_s
        self._measured_s = None
        self._show(SKIPPED)

    def set_registers(self, register: int, data: bytes) -> None:
        """Put other bytes where the factory would, for tests; a reset brings them in."""
        self._factory[register : register + len(data)] = data
        self._registers[register : register + len(data)] = data

    def write(self, register: int, data: Sequence[int], t_s: float) -> None:
        """Write control registers."""
        self._catch_up(t_s)
        for offset, value in enumerate(data):
            self._write_one(register + offset, value, t_s)

    def read(self, register: int, length: int, t_s: float) -> list[int]:
        """Read registers as they stand after the last measurement that was finished by now."""
        self._catch_up(t_s)
        return list(self._registers[register : register + length])

    def _write_one(self, register: int, value: int, t_s: float) -> None:
        registers = self._registers
        if register == RESET and value == 0xB6:
            self.reset(t_s)
        elif register in (CTRL_HUM, CONFIG):
            registers[register] = value
        elif register == CTRL_MEAS:
            registers[register] = value
            self._osrs_h = registers[CTRL_HUM] & 7
            self._began_s, self._measured_s = t_s, None

    def _duration_s(self) -> float:
        """Typical time of one measurement (datasheet, 9.1)."""
        control = self._registers[CTRL_MEAS]
        times = [TIMES[control >> 5], TIMES[control >> 2 & 7], TIMES[self._osrs_h]]
        extra = 0.5 * sum(1 for n in times[1:] if n)
        return (1 + 2 * sum(times) + extra) / 1000

    def _catch_up(self, t_s: float) -> None:
        registers = self._registers
        mode = registers[CTRL_MEAS] & 3
        if not mode:
            registers[STATUS] = 0
            return
        duration_s = self._duration_s()
        since_s = t_s - self._began_s
        if mode != 3:
            cycle, within_s = 0, since_s
        else:
            cycle_s = duration_s + STANDBY_S[registers[CONFIG] >> 5]
            cycle = floor(since_s / cycle_s)
            within_s = since_s - cycle * cycle_s
        finished = within_s >= duration_s
        registers[STATUS] = 0 if finished else 0x08
        last = cycle if finished else cycle - 1
        if last < 0:
            return
        done_s = self._began_s + duration_s + (last * cycle_s if mode == 3 else 0.0)
        if done_s != self._measured_s:
            self._measured_s = done_s
            self._show(self._measure(done_s))
        if mode != 3:
            registers[CTRL_MEAS] &= 0xFC

    def _measure(self, t_s: float) -> tuple[int, int, int]:
        """Raw temperature, pressure, humidity; a channel that is switched off is skipped."""
        control = self._registers[CTRL_MEAS]
        on = (control >> 5, control >> 2 & 7, self._osrs_h)
        if self.raw is not None:
            raw = self.raw
        else:
            trim = self._trim
            temperature_c, humidity_pct, pressure_hpa = self._air(t_s)
            raw_t = raw_for(temperature_c * 5120, trim.t_fine, 20)
            # The driver cuts the fine temperature to a whole number first.
            fine = int(trim.t_fine(raw_t))
            raw = (
                raw_t,
                raw_for(pressure_hpa * 100, lambda r: trim.pressure_pa(r, fine), 20),
                raw_for(humidity_pct, lambda r: trim.humidity_pct(r, fine), 16),
            )
        t, p, h = (
            r if code else skipped for r, code, skipped in zip(raw, on, SKIPPED, strict=True)
        )
        return t, p, h

    def _show(self, raw: tuple[int, int, int]) -> None:
        t, p, h = raw
        self._registers[0xF7:0xFF] = (
            (p << 4).to_bytes(3, "big") + (t << 4).to_bytes(3, "big") + h.to_bytes(2, "big")
        )
