"""An I2C bus node, /dev/i2c-N, served by this process through the kernel's CUSE.

Speaks the raw FUSE protocol (linux/fuse.h, minor version 31) for exactly the calls that SMBus
transfers make. A call whose pointer the kernel must follow comes several times: each time the
answer asks for more of the caller's memory, and only the last pass touches a chip.
"""

import errno
import os
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, Self

RELEASE, WRITE, READ, OPEN, FLUSH = 18, 16, 15, 14, 25
INTERRUPT, IOCTL, INIT = 36, 39, 4096
UNRESTRICTED, RETRY = 1, 4
MAX_BYTES = 4096

I2C_RETRIES, I2C_TIMEOUT, I2C_SLAVE, I2C_FUNCS = 0x0701, 0x0702, 0x0703, 0x0705
I2C_SLAVE_FORCE, I2C_PEC, I2C_SMBUS = 0x0706, 0x0708, 0x0720
QUICK, BYTE, BYTE_DATA, I2C_BLOCK = 0, 1, 2, 8
BLOCK_BYTES = 34
FUNCTIONS = 0x0001_0000 | 0x0002_0000 | 0x0018_0000 | 0x0C00_0000
"""Quick, read byte, byte data, block data of a stated length; as in linux/i2c.h."""

_HEADER = struct.Struct("<IIQQIIII")
_REPLY = struct.Struct("<IiQ")
_CALL = struct.Struct("<QIIQII")
_ANSWER = struct.Struct("<iIII")
_SMBUS = struct.Struct("<BBxxIQ")


class _Call(NamedTuple):
    """One pass of an ioctl."""

    handle: int
    command: int
    argument: int
    data: bytes
    room: int


class CuseBus:
    """Serves a bus; call `serve` whenever the descriptor `fileno()` can be read.

    Args:
        number: N of /dev/i2c-N.
        bus: has `read_byte`, `read_byte_data`, `read_i2c_block_data`, `write_i2c_block_data` and
            `write_quick`, and raises OSError.
    """

    def __init__(self, number: int, bus: Any) -> None:
        self.node = Path(f"/dev/i2c-{number}")
        self._bus = bus
        self._file = -1
        self._addresses: dict[int, int] = {}
        self._handles = 0

    def __enter__(self) -> Self:
        if self.node.exists():
            raise RuntimeError(f"{self.node} exists already")
        self._file = os.open("/dev/cuse", os.O_RDWR)
        self.serve()
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._file)

    def fileno(self) -> int:
        """The descriptor to wait on."""
        return self._file

    def serve(self) -> None:
        """Take one request and answer it, whatever goes wrong: its caller waits."""
        request = os.read(self._file, 8192 + 80 + MAX_BYTES)
        _, code, unique, *_ = _HEADER.unpack_from(request)
        if code == INTERRUPT:
            return
        try:
            body, error = self._answer(code, request[_HEADER.size :]), 0
        except OSError as failure:
            body, error = b"", failure.errno or errno.EIO
        except Exception:
            body, error = b"", errno.EIO
        os.writev(self._file, [_REPLY.pack(_REPLY.size + len(body), -error, unique), body])

    def _answer(self, code: int, data: bytes) -> bytes:
        if code == INIT:
            name = f"DEVNAME={self.node.name}\0".encode()
            head = (7, 31, 0, UNRESTRICTED, MAX_BYTES, MAX_BYTES, 0, 0)
            return struct.pack("<8I40x", *head) + name
        if code == OPEN:
            self._handles += 1
            return struct.pack("<QII", self._handles, 0, 0)
        if code == RELEASE:
            self._addresses.pop(struct.unpack_from("<Q", data)[0], None)
            return b""
        if code == FLUSH:
            return b""
        if code == IOCTL:
            handle, _, command, argument, size, room = _CALL.unpack_from(data)
            given = data[_CALL.size : _CALL.size + size]
            return self._ioctl(_Call(handle, command, argument, given, room))
        raise OSError(errno.ENOSYS, "not served")

    def _ioctl(self, call: _Call) -> bytes:
        if call.command in (I2C_SLAVE, I2C_SLAVE_FORCE):
            self._addresses[call.handle] = call.argument
            return _done()
        if call.command in (I2C_RETRIES, I2C_TIMEOUT, I2C_PEC):
            return _done()
        if call.command == I2C_FUNCS:
            if not call.room:
                return _again([], [(call.argument, 8)])
            return _done(struct.pack("<Q", FUNCTIONS))
        if call.command == I2C_SMBUS:
            return self._smbus(call)
        raise OSError(errno.EOPNOTSUPP, "not served")

    def _smbus(self, call: _Call) -> bytes:
        outer = (call.argument, _SMBUS.size)
        if not call.data:
            return _again([outer], [])
        is_read, register, kind, pointer = _SMBUS.unpack_from(call.data)
        address = self._addresses[call.handle]
        if kind == QUICK:
            self._bus.write_quick(address)
            return _done()
        size = BLOCK_BYTES if kind == I2C_BLOCK else 1
        inner = (pointer, size)
        if len(call.data) == _SMBUS.size:
            return _again([outer, inner], [inner] if is_read else [])
        transfer = self._reader(kind) if is_read else self._writer(kind)
        return _done(transfer(address, register, call.data[_SMBUS.size :]))

    def _reader(self, kind: int) -> Callable[[int, int, bytes], bytes]:
        bus = self._bus
        if kind == BYTE:
            return lambda address, _, __: bytes((bus.read_byte(address),))
        if kind == BYTE_DATA:
            return lambda address, register, _: bytes((bus.read_byte_data(address, register),))
        if kind != I2C_BLOCK:
            raise OSError(errno.EOPNOTSUPP, "not served")

        def block(address: int, register: int, given: bytes) -> bytes:
            data = bytes(bus.read_i2c_block_data(address, register, given[0]))
            return bytes((len(data),)) + data.ljust(BLOCK_BYTES - 1, b"\0")

        return block

    def _writer(self, kind: int) -> Callable[[int, int, bytes], bytes]:
        def write(address: int, register: int, given: bytes) -> bytes:
            data = given[1 : 1 + given[0]] if kind == I2C_BLOCK else given[:1]
            self._bus.write_i2c_block_data(address, register, data)
            return b""

        if kind not in (BYTE_DATA, I2C_BLOCK):
            raise OSError(errno.EOPNOTSUPP, "not served")
        return write


def _done(data: bytes = b"") -> bytes:
    return _ANSWER.pack(0, 0, 0, 0) + data


def _again(inputs: list[tuple[int, int]], outputs: list[tuple[int, int]]) -> bytes:
    """Ask for the call once more, with these areas (address, size) of the caller's memory."""
    areas = b"".join(struct.pack("<QQ", *area) for area in (*inputs, *outputs))
    return _ANSWER.pack(0, RETRY, len(inputs), len(outputs)) + areas
