"""The I2C bus that all chips share: one lock, bounded retries that are counted, clear errors.

Only register transfers of the SMBus kind are used (up to 32 bytes), so that adapters which speak
nothing else work too.
"""

import errno
import threading
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol, TypeVar

from rig.clock import Clock
from rig.errors import BadInputError, MachineFaultError

T = TypeVar("T")

PAUSES_S = (0.002, 0.005, 0.010, 0.010)
"""Waits between the tries of one transfer; after the last one the node is reopened."""

MAX_BLOCK = 32
"""Most bytes in one SMBus block transfer."""

_PASSING = frozenset(
    (errno.EREMOTEIO, errno.ETIMEDOUT, errno.EIO, errno.ENXIO, errno.ENODEV, errno.EBUSY)
)
"""No acknowledge, time-out, input/output error, no such device or address, device gone, busy."""


class SMBusLike(Protocol):
    """What is used of `smbus2.SMBus`."""

    def read_byte(self, i2c_addr: int) -> int:
        """Read one byte from where the chip's register pointer stands."""

    def read_byte_data(self, i2c_addr: int, register: int) -> int:
        """Read one register."""

    def read_i2c_block_data(self, i2c_addr: int, register: int, length: int) -> Sequence[int]:
        """Read up to 32 registers in a row."""

    def write_byte_data(self, i2c_addr: int, register: int, value: int) -> None:
        """Write one register."""

    def close(self) -> None:
        """Close the device node."""


class Bus:
    """One I2C bus, safe to use from several tasks.

    The lock can be taken again by the thread that holds it: under a virtual clock another task may
    run in the middle of a transfer, in the same thread, and the simulated bus makes it wait its
    turn in virtual time. Between threads the lock excludes as usual.

    Args:
        clock: tells the time and waits between tries.
        open_bus: opens the device node; called by `open` and after repeated failures.
        name: what messages call this bus, such as `"/dev/i2c-1"`.
    """

    def __init__(self, clock: Clock, open_bus: Callable[[], SMBusLike], name: str = "I2C") -> None:
        self._clock = clock
        self._open_bus = open_bus
        self.name = name
        self.retries = 0
        """Tries beyond the first, since the bus was made."""
        self.reopened = 0
        """Number of times the device node was reopened."""
        self._lock = threading.RLock()
        self._node: SMBusLike | None = None

    def open(self) -> None:
        """Open the device node.

        Raises:
            BadInputError: if there is no such bus or it may not be used.
        """
        with self._lock:
            if self._node is None:
                self._node = self._opened()

    def close(self) -> None:
        """Close the device node; harmless when it is closed."""
        with self._lock:
            node, self._node = self._node, None
            if node is not None:
                node.close()

    def __enter__(self) -> "Bus":
        self.open()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def read(self, address: int, register: int, length: int = 1) -> Sequence[int]:
        """Read `length` (1 to 32) bytes from `register` on.

        Raises:
            MachineFaultError: `"bus"`, when all tries failed.
        """
        if length == 1:
            return (self._transfer(address, lambda node: node.read_byte_data(address, register)),)
        return self._transfer(
            address, lambda node: node.read_i2c_block_data(address, register, length)
        )

    def write(self, address: int, register: int, value: int, *, repeatable: bool = True) -> None:
        """Write one register.

        Args:
            address: the chip's 7-bit address.
            register: where to write.
            value: 0 to 255.
            repeatable: False for a write that does something each time (a reset, say); it is
                tried once only, because a try that failed may have arrived all the same.

        Raises:
            MachineFaultError: `"bus"`, when all tries failed.
        """
        self._transfer(
            address,
            lambda node: node.write_byte_data(address, register, value),
            repeatable=repeatable,
        )

    def answers(self, address: int) -> bool:
        """Whether a chip acknowledges this address; three tries, not counted as retries."""
        for pause_s in (*PAUSES_S[:2], 0.0):
            try:
                with self._lock:
                    self._live().read_byte(address)
            except OSError:
                self._clock.pause_s(pause_s)
            else:
                return True
        return False

    def scan(self) -> list[int]:
        """The addresses from 0x08 to 0x77 where a chip answers."""
        found = []
        for address in range(0x08, 0x78):
            try:
                with self._lock:
                    self._live().read_byte(address)
            except OSError:
                continue
            found.append(address)
        return found

    def identify(
        self, address: int, register: int, known: Mapping[int, str], setting: str
    ) -> tuple[int, str]:
        """Read a chip's identity register and look it up.

        Args:
            address: where the chip should be.
            register: its identity register.
            known: the identities that are right, with the chips' names.
            setting: the key of `rig.toml` that holds the address, for the message.

        Returns:
            The identity and the name that belongs to it.

        Raises:
            BadInputError: if no chip answers, or one of another kind.
        """
        wanted = " or ".join(dict.fromkeys(known.values()))
        if not self.answers(address):
            found = ", ".join(f"0x{a:02X}" for a in self.scan()) or "none"
            raise BadInputError(
                f"No {wanted} answers at address 0x{address:02X} of {self.name} (chips found at: "
                f"{found}); check its wiring and power, or set {setting} in rig.toml."
            )
        identity = self.read(address, register)[0]
        if identity not in known:
            raise BadInputError(
                f"The chip at address 0x{address:02X} of {self.name} is not a {wanted}: its "
                f"identity register 0x{register:02X} reads 0x{identity:02X}; set {setting} or the "
                f"model in rig.toml to what is wired there."
            )
        return identity, known[identity]

    def _transfer(
        self, address: int, use: Callable[[SMBusLike], T], *, repeatable: bool = True
    ) -> T:
        failure: OSError | None = None
        for pause_s in (*PAUSES_S, None) if repeatable else ():
            try:
                with self._lock:
                    return use(self._live())
            except OSError as error:
                if error.errno not in _PASSING:
                    raise self._fault(address, error) from error
                failure = error
            self.retries += 1
            if pause_s is None:
                self._reopen()
            else:
                self._clock.pause_s(pause_s)
        try:
            with self._lock:
                return use(self._live())
        except OSError as error:
            raise self._fault(address, error) from failure

    def _fault(self, address: int, error: OSError) -> MachineFaultError:
        return MachineFaultError(
            "bus",
            f"The chip at address 0x{address:02X} of {self.name} does not answer "
            f"({error.strerror or error}).",
        )

    def _reopen(self) -> None:
        with self._lock:
            if self._node is not None:
                try:
                    self._node.close()
                except OSError:
                    pass  # a node that is gone cannot be closed; a new one is opened all the same
            self._node = None
            self.reopened += 1
            try:
                self._node = self._opened()
            except BadInputError as error:
                raise MachineFaultError("bus", f"{error} The bus was there before.") from error

    def _live(self) -> SMBusLike:
        if self._node is None:
            raise RuntimeError("the bus is not open")
        return self._node

    def _opened(self) -> SMBusLike:
        try:
            return self._open_bus()
        except FileNotFoundError as error:
            raise BadInputError(
                f"There is no I2C bus {self.name}: enable I2C (`sudo raspi-config nonint do_i2c 0`,"
                f" then restart), set bus.number in rig.toml, or use the simulated rig with --twin."
            ) from error
        except PermissionError as error:
            raise BadInputError(
                f"You may not use {self.name}: add the user to the group i2c (`sudo usermod -aG "
                f"i2c $USER`) and log in again."
            ) from error
        except OSError as error:
            raise BadInputError(
                f"The I2C bus {self.name} cannot be opened ({error.strerror or error}); check the "
                f"adapter and bus.number in rig.toml."
            ) from error


def real_bus(clock: Clock, number: int) -> Bus:
    """The bus `/dev/i2c-number` of this machine; nothing is touched before `open`."""

    def open_node() -> Any:
        try:
            from smbus2 import SMBus
        except ImportError as error:
            raise BadInputError(
                "This machine has no I2C (the smbus2 package does not load); use the simulated "
                "rig with --twin."
            ) from error
        return SMBus(number)

    return Bus(clock, open_node, f"/dev/i2c-{number}")
