"""Advisory lock on a folder or a file, released with its process."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Wait until no other process holds this folder, then hold it; OSError if it is not there."""
    if sys.platform == "win32":  # no advisory locks on folders there; one program at a time
        yield
        return
    import fcntl

    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)
