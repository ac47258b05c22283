"""A simulated I2C bus that answers the `smbus2` calls that the rig uses, and takes time for it."""

import errno
import os
from collections.abc import Sequence

from rig.clock import Clock, VirtualClock
from rig.twin.chips.chip import Chip

BIT_S = 1 / 400_000


class FakeBus:
    """Chips on a bus.

    Under a virtual clock a transfer lets the time of its bits pass, while other tasks run; one of
    them may start a transfer of its own, which then begins when the bus is free. A chip is read at
    the end of the transfer.

    Args:
        clock: the rig's clock.
        chips: the chips by address; take one out to unplug it.
    """

    def __init__(self, clock: Clock, chips: dict[int, Chip]) -> None:
        self._clock = clock
        self.chips = chips
        self.stuck: dict[int, int] = {}
        """Byte that all registers of the chip at an address read as, whatever is written."""
        self.transfers = 0
        """Transfers so far, those that failed included."""
        self.opened = 0
        self._faults: dict[int, int] = {}
        self._busy_until_s = 0.0
        self._pointers: dict[int, int] = {}

    def open(self) -> "FakeBus":
        """What opening the device node does (`open_bus` of `Bus`)."""
        self.opened += 1
        return self

    def close(self) -> None:
        """Close the device node."""

    def fail(self, transfer: int, code: int = errno.EREMOTEIO, times: int = 1) -> None:
        """Let `times` transfers fail with this error number, from the `transfer`-th from now on.

        Args:
            transfer: 1 for the next one.
            code: error number.
            times: how many in a row.
        """
        first = self.transfers + transfer
        self._faults.update(dict.fromkeys(range(first, first + times), code))

    def read_byte(self, i2c_addr: int) -> int:
        """Read one byte from where the chip's register pointer stands."""
        chip, t_s = self._begin(i2c_addr, 20)
        register = self._pointers.get(i2c_addr, 0)
        return self._read(i2c_addr, chip, register, 1, t_s)[0]

    def read_byte_data(self, i2c_addr: int, register: int) -> int:
        """Read one register."""
        chip, t_s = self._begin(i2c_addr, 39)
        return self._read(i2c_addr, chip, register, 1, t_s)[0]

    def read_i2c_block_data(self, i2c_addr: int, register: int, length: int) -> list[int]:
        """Read up to 32 registers in a row."""
        if not 1 <= length <= 32:
            raise ValueError("a block has 1 to 32 bytes")
        chip, t_s = self._begin(i2c_addr, 30 + 9 * length)
        return self._read(i2c_addr, chip, register, length, t_s)

    def write_quick(self, i2c_addr: int) -> None:
        """Only the address."""
        self._begin(i2c_addr, 11)

    def write_byte_data(self, i2c_addr: int, register: int, value: int) -> None:
        """Write one register."""
        self.write_i2c_block_data(i2c_addr, register, [value])

    def write_i2c_block_data(self, i2c_addr: int, register: int, data: Sequence[int]) -> None:
        """Write up to 32 registers in a row."""
        chip, t_s = self._begin(i2c_addr, 20 + 9 * len(data))
        self._pointers[i2c_addr] = register
        if i2c_addr not in self.stuck:
            chip.write(register, data, t_s)

    def _begin(self, address: int, bits: int) -> tuple[Chip, float]:
        self.transfers += 1
        code = self._faults.pop(self.transfers, 0)
        chip = self.chips.get(address)
        if chip is None and not code:
            code = errno.EREMOTEIO
        clock = self._clock
        duration_s = (11 if code else bits) * BIT_S
        if isinstance(clock, VirtualClock):
            end_s = max(clock.time_s(), self._busy_until_s) + duration_s
            self._busy_until_s = end_s
            clock.advance_to(end_s)
        else:
            clock.pause_s(duration_s)
            end_s = clock.time_s()
        if code or chip is None:
            raise OSError(code, os.strerror(code))
        return chip, end_s

    def _read(self, address: int, chip: Chip, register: int, length: int, t_s: float) -> list[int]:
        self._pointers[address] = register
        if address in self.stuck:
            return [self.stuck[address]] * length
        return chip.read(register, length, t_s)
