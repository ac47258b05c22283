"""Brings files and their names to the disk; everything here raises OSError.

Syncing a file keeps its content. Its name belongs to the folder, and is kept only when the folder
is synced too; so is a new folder's name in the folder above.
"""

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

NO_LINKS = (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK)
"""What file systems without hard links say to one, and those that allow no more of them."""


def make_folder(folder: Path) -> None:
    """Make a folder that may be there already, and those above it, and keep their names."""
    if folder.is_dir():
        return
    if not folder.parent.exists():
        make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def sync_folder(folder: Path) -> None:
    """Bring the folder's list of files to the disk."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_file(descriptor: int) -> None:
    """Bring an open file's content to the disk; one that was deleted meanwhile has no place there.

    Raises:
        OSError: it can't be kept, or nobody could find it any more.
    """
    os.fsync(descriptor)
    if os.fstat(descriptor).st_nlink == 0:
        raise FileNotFoundError(errno.ENOENT, "it was deleted")


def replace_file(path: Path, data: bytes, *, is_private: bool = False) -> None:
    """Put a whole new content in a file's place: after a crash the old one or the new is there.

    A private one is never readable by others, not even for a moment.
    """
    with _beside(path, data, is_private=is_private) as new:
        new.replace(path)
        sync_folder(path.parent)


def create_file(path: Path, data: bytes, *, is_private: bool = False) -> None:
    """Write a new file, there whole or not at all; raises FileExistsError if it is there.

    Of two programs that create the same file at once, one is told that it is there. On file systems
    without hard links (FAT) only a lock can keep them apart.
    """
    with _beside(path, data, is_private=is_private) as new:
        try:
            os.link(new, path)  # unlike a rename, never over a file that has come meanwhile
            new.unlink()
        except OSError as error:
            if error.errno not in NO_LINKS:
                raise
            if path.exists():
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), path) from error
            new.replace(path)
        sync_folder(path.parent)


@contextmanager
def _beside(path: Path, data: bytes, *, is_private: bool) -> Iterator[Path]:
    """A synced file beside `path`, to be moved to its place; gone if that fails."""
    new = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        if is_private:
            new.unlink(missing_ok=True)
            new.touch(0o600, exist_ok=False)
        with new.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        yield new
    except OSError:
        with suppress(OSError):
            new.unlink()
        raise
