"""A folder in memory: power cuts are replayed by making and removing many small files."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.durability.disk import Disk

MEMORY = Path("/dev/shm")  # noqa: S108 - only where it is; else files go where others go


@pytest.fixture
def place() -> Iterator[Path]:
    """An empty folder."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as name:
        yield Path(name)


@pytest.fixture
def disk(place: Path) -> Disk:
    """An empty disk."""
    (place / "disk").mkdir()
    return Disk(place / "disk")


@pytest.fixture
def after(place: Path) -> Path:
    """Where what a power cut left is rebuilt."""
    return place / "after"
