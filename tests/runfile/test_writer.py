import errno
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rig.errors import BadInputError, MachineFaultError
from rig.runfile.model import Event
from rig.runfile.reader import read_run
from rig.runfile.writer import OsFiles, RunWriter, new_run_id, run_folder, run_path
from tests.runfile.example import LINES, header


class Counting(OsFiles):
    """Counts what is asked of the system, and fails at the chosen write."""

    def __init__(self, fail_at: int = 0, chunk: int = 1 << 20, torn_bytes: int = 0) -> None:
        self.fail_at = fail_at
        self.chunk = chunk
        self.torn_bytes = torn_bytes
        self.writes = 0
        self.syncs = 0
        self.folder_syncs = 0
        self.closes = 0

    def write(self, descriptor: int, data: bytes) -> int:
        """Write, or fail."""
        self.writes += 1
        if self.writes == self.fail_at:
            torn, self.torn_bytes = self.torn_bytes, 0
            if not torn:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            self.fail_at += 1
            return super().write(descriptor, data[:torn])
        return super().write(descriptor, data[: self.chunk])

    def sync(self, descriptor: int) -> None:
        """Count and sync."""
        self.syncs += 1
        super().sync(descriptor)

    def sync_folder(self, folder: Path) -> None:
        """Count and sync."""
        self.folder_syncs += 1
        super().sync_folder(folder)

    def close(self, descriptor: int) -> None:
        """Count and close."""
        self.closes += 1
        super().close(descriptor)


def test_run_ids_sort_by_time_and_are_unique() -> None:
    start = datetime(2026, 11, 25, 23, 59, 59, 990000, tzinfo=UTC)
    ids = [new_run_id(start + timedelta(milliseconds=7 * k)) for k in range(50)]
    assert ids == sorted(ids)
    assert len({new_run_id(start) for _ in range(50)}) == 50
    assert new_run_id(start, "abc") == "20261125T235959990Z-abc"
    assert run_folder(Path("runs"), start) == Path("runs/2026-11-25")
    assert run_path(Path("r"), "x") == Path("r/x.run.jsonl")


def test_each_line_is_on_disk_as_soon_as_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "new" / "a.run.jsonl"
    with RunWriter(path, header()) as writer:
        for k, line in enumerate(LINES):
            writer.write(line)
            assert path.read_bytes().count(b"\n") == k + 2


def test_state_changes_and_the_end_are_synced(tmp_path: Path) -> None:
    files = Counting()
    writer = RunWriter(tmp_path / "a.run.jsonl", header(), files)
    assert (files.folder_syncs, files.syncs) == (1, 0)
    for line in LINES:
        writer.write(line)
    assert files.syncs == 2
    writer.end("slid", [], 0, 0)
    assert (files.syncs, files.closes) == (3, 1)
    writer.end("fault", [], 0, 0)
    writer.close()
    assert files.closes == 1
    run = read_run(writer.path)
    assert run.end is not None
    assert (run.end.outcome, run.end.lines) == ("slid", 1 + len(LINES))
    assert run.problems == []


def test_never_writes_over_a_file(tmp_path: Path) -> None:
    path = tmp_path / "a.run.jsonl"
    path.write_text("kept")
    with pytest.raises(BadInputError, match="exists already"):
        RunWriter(path, header())
    assert path.read_text() == "kept"


def test_says_why_the_file_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="Cannot create"):
        RunWriter(tmp_path / "file" / "a.run.jsonl", header())

    class Denied(OsFiles):
        def create(self, path: Path) -> int:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    with pytest.raises(BadInputError, match="permission denied; choose a folder"):
        RunWriter(tmp_path / "a.run.jsonl", header(), Denied())
    files = Counting(fail_at=1)
    with pytest.raises(BadInputError, match="no space left"):
        RunWriter(tmp_path / "b.run.jsonl", header(), files)
    assert files.closes == 1


def test_short_writes_are_completed(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path / "a.run.jsonl", header(), Counting(chunk=7))
    for line in LINES:
        writer.write(line)
    writer.end("slid", [], 0, 0)
    run = read_run(writer.path)
    assert run.problems == []
    assert len(run.samples) == 10


@pytest.mark.parametrize("torn_bytes", [0, 1, 9])
@pytest.mark.parametrize("fail_at", range(2, 2 + len(LINES)))
def test_a_failed_write_is_told_and_the_rest_stays_readable(
    tmp_path: Path, fail_at: int, torn_bytes: int
) -> None:
    files = Counting(fail_at=fail_at, torn_bytes=torn_bytes)
    writer = RunWriter(tmp_path / "a.run.jsonl", header(), files)
    for line in LINES[: fail_at - 2]:
        writer.write(line)
    with pytest.raises(MachineFaultError) as caught:
        writer.write(LINES[fail_at - 2])
    assert caught.value.cause == "disk"
    for line in LINES[fail_at - 1 :]:
        writer.write(line)
    writer.end("fault", [], 0, 0)
    run = read_run(writer.path)
    assert run.end is not None
    read = len(run.events) + len(run.samples) + len(run.climate) + len(run.steps)
    assert read == len(LINES) - 1
    assert len(run.problems) == (1 if torn_bytes else 0)


def test_writing_after_the_end_is_a_fault(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path / "a.run.jsonl", header())
    writer.end("stopped", ["halted"], 0, 0)
    with pytest.raises(MachineFaultError):
        writer.write(Event(t_s=1.0, event="raise_ended"))


def test_the_file_is_closed_when_the_end_cannot_be_written(tmp_path: Path) -> None:
    files = Counting(fail_at=2)
    writer = RunWriter(tmp_path / "a.run.jsonl", header(), files)
    with pytest.raises(MachineFaultError):
        writer.end("slid", [], 0, 0)
    assert files.closes == 1
    assert read_run(writer.path).interrupted
