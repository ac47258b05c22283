"""A small file system in memory, to fill up or to turn read-only."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

MOUNT = "/usr/bin/env", "mount"


@contextmanager
def small_disk(point: Path, most: str = "size=400k") -> Iterator[Path]:
    """A disk with so little room at this new folder; the test is skipped where nobody may make one.

    Args:
        point: the new folder.
        most: what there is little of, as an option of `mount`.
    """
    point.mkdir()
    made = subprocess.run(
        [*MOUNT, "-t", "tmpfs", "-o", most, "tmpfs", str(point)],
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode:
        pytest.skip(f"a file system can only be mounted by root ({made.stderr.strip()})")
    try:
        yield point
    finally:
        subprocess.run(["/usr/bin/env", "umount", str(point)], check=True)


def remount(point: Path, options: str) -> None:
    """Change the disk under the program."""
    subprocess.run([*MOUNT, "-o", f"remount,{options}", str(point)], check=True)
