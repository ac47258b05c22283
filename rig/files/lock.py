"""Advisory lock on a folder or a file, released with its process."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class Busy(Exception):  # noqa: N818 - a state, not a mistake
    """Another process holds the folder."""


@contextmanager
def locked(folder: Path, *, wait: bool = True) -> Iterator[None]:
    """Wait until no other process holds this folder, then hold it; OSError if it is not there.

    Raises:
        Busy: another process holds it, and nobody wants to wait.
    """
    if sys.platform == "win32":  # no advisory locks on folders there; one program at a time
        yield
        return
    import fcntl

    descriptor = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except BlockingIOError as error:
            raise Busy from error
        yield
    finally:
        os.close(descriptor)
