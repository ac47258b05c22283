"""Commands on a disk that has no more room for names, or that is read-only."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.runfile.reader import read_run
from tests.commands.conftest import Rig
from tests.small_disk import remount, small_disk


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    with small_disk(tmp_path / "disk") as point:
        yield point


def test_without_inodes_a_series_on_the_twin_ends_with_a_sentence(rig: Rig, disk: Path) -> None:
    """The run is whole; what the twin knows of it is not there."""
    remount(disk, "size=200m,nr_inodes=7")
    said = rig("run", "--twin", "--repeat", "3", "--now", "--out", str(disk / "runs"))
    assert said.code == 1
    assert "truth.json cannot be written: no space left on device" in said.err
    assert "Traceback" not in said.err
    runs = sorted(disk.rglob("*.run.jsonl"))
    assert len(runs) == 2
    assert [read_run(path).problems for path in runs] == [[], []]


def test_a_study_on_a_read_only_disk_says_so(rig: Rig, disk: Path) -> None:
    assert rig("study", "new", str(disk / "club")).code == 0
    remount(disk, "ro")
    said = rig("study", "board", str(disk / "club"), "A", "--material", "plywood")
    assert said.code == 2
    assert said.err == (
        f"rig: {disk}/club/study.toml cannot be written: read-only file system; check its"
        " permissions and the free space.\n"
    )
