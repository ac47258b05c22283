"""A test that leaves a thread, a pin or a file open fails."""

import gc
import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest


def _open_files() -> set[str]:
    """Regular files and devices that this process holds open, as the kernel lists them."""
    found = set()
    for link in Path("/proc/self/fd").glob("*"):
        try:
            target = os.readlink(link)
        except OSError:
            continue
        if target.startswith("/") and not target.startswith(("/proc/", "/dev/null", "/dev/pts")):
            found.add(target)
    return found


@pytest.fixture(autouse=True)
def _leaves_nothing_open() -> Iterator[None]:
    threads = set(threading.enumerate())
    files = _open_files()
    yield
    left = [t for t in threading.enumerate() if t not in threads]
    for thread in left:
        thread.join(timeout=1.0)
    left = [t.name for t in left if t.is_alive()]
    assert not left, f"threads left running: {left}"
    opened = _open_files() - files
    if opened:
        gc.collect()
        opened = _open_files() - files
    assert not opened, f"files left open: {sorted(opened)}"
