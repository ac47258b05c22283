import errno
import os
from datetime import UTC, datetime, timedelta, timezone
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
    # The same moment, told by a clock that is two hours ahead.
    ahead = start.astimezone(timezone(timedelta(hours=2)))
    assert new_run_id(ahead, "abc") == "20261125T235959990Z-abc"
    assert run_folder(Path("runs"), ahead) == Path("runs/2026-11-25")
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


def test_a_line_goes_to_the_end_whatever_else_was_written_there(tmp_path: Path) -> None:
    path = tmp_path / "a.run.jsonl"
    with RunWriter(path, header()) as writer:
        with path.open("ab") as other:
            other.write(b'{"kind":"note","text":"put in by hand"}\n')
        writer.write(LINES[0])
    run = read_run(path)
    assert run.unknown == [{"kind": "note", "text": "put in by hand"}]
    assert run.events == [LINES[0]]


def test_a_system_that_takes_nothing_is_a_fault(tmp_path: Path) -> None:
    class Full(OsFiles):
        asked = 0

        def write(self, descriptor: int, data: bytes) -> int:
            self.asked += 1
            assert self.asked < 3, "asked again and again"
            return 0

    with pytest.raises(BadInputError, match="takes no more bytes"):
        RunWriter(tmp_path / "a.run.jsonl", header(), Full())


def test_a_file_whose_name_cannot_be_kept_is_closed(tmp_path: Path) -> None:
    class Nameless(Counting):
        def sync_folder(self, folder: Path) -> None:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    files = Nameless()
    with pytest.raises(BadInputError, match="input/output error"):
        RunWriter(tmp_path / "a.run.jsonl", header(), files)
    assert files.closes == 1


@pytest.mark.parametrize("how", ["sync", "close"])
def test_an_end_that_is_not_kept_is_told_and_the_file_is_closed(tmp_path: Path, how: str) -> None:
    class Failing(Counting):
        def sync(self, descriptor: int) -> None:
            if how == "sync":
                raise OSError(errno.EIO, os.strerror(errno.EIO))

        def close(self, descriptor: int) -> None:
            super().close(descriptor)
            if how == "close":
                raise OSError(errno.EIO, os.strerror(errno.EIO))

    files = Failing()
    writer = RunWriter(tmp_path / "a.run.jsonl", header(), files)
    with pytest.raises(MachineFaultError) as caught:
        writer.end("slid", [], 0, 0)
    assert caught.value.cause == "disk"
    assert files.closes == 1
    writer.close()
    assert files.closes == 1


def test_other_events_are_not_synced(tmp_path: Path) -> None:
    """A sync takes milliseconds to a second; only what the run depends on waits for it."""
    files = Counting()
    with RunWriter(tmp_path / "a.run.jsonl", header(), files) as writer:
        writer.write(Event(t_s=1.0, event="beam_broken"))
        writer.write(LINES[1])
        assert files.syncs == 0
        writer.write(Event(t_s=2.0, event="state", detail={"state": "sliding"}))
        assert files.syncs == 1


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


@pytest.mark.parametrize(("second", "damaged"), [(0, 1), (1, 1), (2, 2), (9, 2)])
def test_lines_that_were_torn_one_after_the_other_are_counted(
    tmp_path: Path, second: int, damaged: int
) -> None:
    """One byte of the second is the line feed that ends the first; the second is then no line."""

    class Torn(OsFiles):
        def __init__(self) -> None:
            self.parts: list[int] = []

        def write(self, descriptor: int, data: bytes) -> int:
            part = self.parts.pop(0) if self.parts else len(data)
            if not part:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return super().write(descriptor, data[:part])

    files = Torn()
    writer = RunWriter(tmp_path / "a.run.jsonl", header(), files)
    files.parts = [9, 0, *([second] if second else []), 0]
    for line in LINES[:2]:
        with pytest.raises(MachineFaultError):
            writer.write(line)
    writer.write(LINES[2])
    writer.end("fault", [], 0, 0)
    run = read_run(writer.path)
    assert run.events == [LINES[2]]
    assert run.end is not None
    assert run.end.lines == writer.path.read_bytes().count(b"\n") - 1
    assert len(run.problems) == damaged


def test_the_end_is_written_once(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path / "a.run.jsonl", header())
    writer.end("slid", [], 0, 0)
    before = writer.path.read_bytes()
    writer.end("fault", [], 0, 0)
    assert writer.path.read_bytes() == before


def test_no_end_after_closing(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path / "a.run.jsonl", header())
    writer.close()
    writer.end("slid", [], 0, 0)
    assert read_run(writer.path).interrupted


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
