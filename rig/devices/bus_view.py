"""The shared bus in the shape that CircuitPython drivers expect of a `busio.I2C`."""

from collections.abc import Iterator
from contextlib import contextmanager

from rig.clock import Clock
from rig.devices.bus import MAX_BLOCK, Bus
from rig.errors import MachineFaultError

MAX_TRANSFERS = 200
"""Most transfers that one piece of work may make; a driver that polls for ever is ended here."""


class BusView:
    """Passes a driver's transfers on to the shared bus, with a deadline.

    A driver first writes a register's number and then reads: the two become one register transfer
    here, so that no other chip's traffic can come between. One view belongs to one driver.

    Args:
        bus: the shared bus, which locks each transfer.
        clock: tells when the deadline has passed.
        once_only: registers whose writes must not be repeated.
    """

    def __init__(self, bus: Bus, clock: Clock, once_only: frozenset[int] = frozenset()) -> None:
        self._bus = bus
        self._clock = clock
        self._once_only = once_only
        self._register = 0
        self._deadline_s = float("inf")
        self._left = MAX_TRANSFERS

    @contextmanager
    def within(self, seconds: float) -> Iterator[None]:
        """Bound the work inside: in time, and in number of transfers.

        The number matters where the driver's own sleep does not let the rig's clock go on.
        """
        self._deadline_s = self._clock.time_s() + seconds
        self._left = MAX_TRANSFERS
        try:
            yield
        finally:
            self._deadline_s = float("inf")
            self._left = MAX_TRANSFERS

    def try_lock(self) -> bool:
        """Always free: each transfer takes the bus's own lock."""
        return True

    def unlock(self) -> None:
        """Nothing to unlock."""

    def writeto(
        self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None
    ) -> None:
        """Write a register's number, a register, or nothing (to ask whether a chip is there)."""
        data = buffer[start:end]
        self._count(address)
        if not data:
            if not self._bus.answers(address):
                raise OSError(f"no chip at 0x{address:02X}")
            return
        self._register = data[0]
        for offset, value in enumerate(data[1:]):
            register = data[0] + offset
            self._bus.write(address, register, value, repeatable=register not in self._once_only)

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        """Read from the register whose number was written last, and on."""
        self._count(address)
        end = len(buffer) if end is None else end
        for first in range(start, end, MAX_BLOCK):
            length = min(MAX_BLOCK, end - first)
            register = self._register + first - start
            buffer[first : first + length] = bytes(self._bus.read(address, register, length))

    def writeto_then_readfrom(
        self,
        address: int,
        out_buffer: bytes,
        in_buffer: bytearray,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None:
        """Both of the above in one."""
        self.writeto(address, out_buffer, start=out_start, end=out_end)
        self.readfrom_into(address, in_buffer, start=in_start, end=in_end)

    def _count(self, address: int) -> None:
        self._left -= 1
        if self._left < 0 or self._clock.time_s() > self._deadline_s:
            raise MachineFaultError(
                "climate_silent",
                f"The chip at address 0x{address:02X} of {self._bus.name} never finishes its "
                f"measurement.",
            )
