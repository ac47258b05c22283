"""Lock for one process per rig; the kernel releases it however its holder ends."""

import fcntl
import os
import tempfile
from pathlib import Path

from rig.errors import BusyError

LOCK_FOLDERS = (Path("/run/lock"), Path("/var/lock"))
BUSY = "uses this rig; end it first, or wait for it. `rig safe` ends it and switches the motor off."


def lock_path(bus_number: int) -> Path:
    """Path of the lock of the rig on this I2C bus: the same for every user."""
    folder = next((f for f in LOCK_FOLDERS if f.is_dir() and os.access(f, os.W_OK)), None)
    return (folder or Path(tempfile.gettempdir())) / f"rig-i2c-{bus_number}.lock"


class RigLock:
    """Lock held from `open` to `close`; the file stays, only the lock on it counts.

    Args:
        path: of the locked file.
        busy: what another process that holds it does, and what to do about it.
    """

    def __init__(self, path: Path, busy: str = BUSY) -> None:
        self.path = path
        self._busy = busy
        self._descriptor = -1

    def open(self) -> None:
        """Take the lock.

        Raises:
            BusyError: another process holds it, or the file cannot be opened.
        """
        try:
            descriptor = self._file()
        except OSError as error:
            raise BusyError(
                f"The lock {self.path} cannot be opened ({error.strerror}): remove the file, or run"
                " this as the user who made it."
            ) from error
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            os.close(descriptor)
            raise BusyError(
                f"Another process (number {holder(self.path) or 'unknown'}) {self._busy}"
            ) from error
        self._descriptor = descriptor
        try:
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        except OSError:
            pass  # another user's file: the lock still holds, only the number is missing

    def _file(self) -> int:
        """Another user's file may be read-only; that is enough for a lock."""
        try:
            return os.open(self.path, os.O_RDWR | os.O_CLOEXEC)
        except FileNotFoundError:
            return os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except PermissionError:
            return os.open(self.path, os.O_RDONLY | os.O_CLOEXEC)

    def close(self) -> None:
        """Release the lock; harmless when it is not held."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            os.close(descriptor)


def holder(path: Path) -> int | None:
    """Process that holds the lock now; None if there is none or it is unknown."""
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        text = os.pread(descriptor, 32, 0).strip()
        return int(text) if text.isdigit() else None
    else:
        return None
    finally:
        os.close(descriptor)
