"""Brings files and their names to the disk; everything here raises OSError.

Syncing a file keeps its content. Its name belongs to the folder, and is kept only when the folder
is synced too; so is a new folder's name in the folder above.
"""

import errno
import os
import sys
from contextlib import suppress
from pathlib import Path


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
    new = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        if is_private:
            new.unlink(missing_ok=True)
            new.touch(0o600, exist_ok=False)
        with new.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        new.replace(path)
        sync_folder(path.parent)
    except OSError:
        with suppress(OSError):
            new.unlink()
        raise


def create_file(path: Path, data: bytes) -> None:
    """Write a new file, there whole or not at all; raises FileExistsError if it is there.

    Where two programs could create the same file at once, a lock must keep them apart.
    """
    if path.exists():
        raise FileExistsError(f"{path} exists")
    replace_file(path, data)
