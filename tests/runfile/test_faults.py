"""The writer when the Nth thing that it asks of the system fails, for every N, once or for good."""

import errno
import os
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInputError, MachineFaultError
from rig.runfile.model import Event, Line
from rig.runfile.reader import read_run
from rig.runfile.writer import OsFiles, RunWriter
from tests.runfile.example import LINES, header

STATE = Event(t_s=9.0, event="state", detail={"state": "lowering"})
WRITTEN: list[Line] = [*LINES, STATE]
KINDS = ("create", "write", "sync", "sync_folder", "close")


class Failing(OsFiles):
    """Counts every call, and lets the Nth fail; and all after it, when that is wanted.

    Args:
        at: number of the call that fails, from 1.
        lasting: all later ones fail too.
        code: error number.
        short: bytes that a failing write takes before; a write that takes some does not fail
            itself, the next one does.
    """

    def __init__(self, at: int, lasting: bool, code: int, short: int = 0) -> None:
        self.calls: list[str] = []
        self.open: set[int] = set()
        self._at = at
        self._lasting = lasting
        self._code = code
        self._short = short

    def _call(self, kind: str) -> None:
        self.calls.append(kind)
        number = len(self.calls)
        if number == self._at or (self._lasting and number > self._at):
            raise OSError(self._code, os.strerror(self._code))

    def create(self, path: Path) -> int:
        """Create, or fail."""
        self._call("create")
        descriptor = super().create(path)
        self.open.add(descriptor)
        return descriptor

    def write(self, descriptor: int, data: bytes) -> int:
        """Write, fail, or take a part and fail at the next."""
        if len(self.calls) + 1 == self._at and self._short:
            taken, self._short = self._short, 0
            self.calls.append("write")
            self._at += 1
            return super().write(descriptor, data[:taken])
        self._call("write")
        return super().write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Fail, or nothing: thousands of true ones would only take time."""
        self._call("sync")

    def sync_folder(self, folder: Path) -> None:
        """As above."""
        self._call("sync_folder")

    def close(self, descriptor: int) -> None:
        """Close in any case, as the system does, and perhaps fail."""
        self.open.discard(descriptor)
        super().close(descriptor)
        self._call("close")


def record(path: Path, files: Failing) -> tuple[list[Line], list[Exception]]:
    """Write a whole run as the recorder does, going on after each failure that lets it.

    Returns:
        The lines that were taken without a complaint, and the complaints.
    """
    taken: list[Line] = []
    complaints: list[Exception] = []
    try:
        writer = RunWriter(path, header(), files)
    except (BadInputError, MachineFaultError) as error:
        return taken, [error]

    def attempt(act: Callable[[], Any], line: Line | None) -> None:
        try:
            act()
        except MachineFaultError as error:
            complaints.append(error)
        else:
            if line is not None:
                taken.append(line)

    for line in WRITTEN:
        attempt(partial(writer.write, line), line)
    attempt(lambda: writer.end("slid", [], 0, 0), None)
    writer.close()
    return taken, complaints


def count_calls(folder: Path) -> list[str]:
    files = Failing(0, False, errno.EIO)
    record(folder / "count.run.jsonl", files)
    return files.calls


def test_every_kind_of_call_is_met(tmp_path: Path) -> None:
    assert set(count_calls(tmp_path)) == set(KINDS)


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EROFS])
@pytest.mark.parametrize("lasting", [False, True], ids=["once", "for good"])
@pytest.mark.parametrize("short", [0, 1, 17], ids=["whole", "one byte", "torn"])
def test_the_nth_call_fails_for_every_n(
    tmp_path: Path, code: int, lasting: bool, short: int
) -> None:
    calls = count_calls(tmp_path)
    for n in range(1, len(calls) + 1):
        path = tmp_path / f"{n}.run.jsonl"
        files = Failing(n, lasting, code, short)
        taken, complaints = record(path, files)
        assert not files.open, f"call {n} ({calls[n - 1]}): the file was left open"
        assert len(complaints) >= 1, f"call {n} ({calls[n - 1]}) failed and nobody was told"
        assert all("cannot" in str(c).lower() for c in complaints)
        if not path.exists():
            assert calls[n - 1] == "create"
            continue
        try:
            run = read_run(path)
        except BadInputError:
            assert taken == [], "lines were taken and cannot be read"
            continue
        kept = [*run.events, *run.samples, *run.climate, *run.steps]
        for line in taken:
            assert line in kept, f"call {n} ({calls[n - 1]}): a line that was taken is not there"
        if run.end is not None and not run.problems:
            in_file = path.read_bytes().count(b"\n") - 1
            assert run.end.lines == in_file


def test_a_file_that_lost_a_line_never_reads_as_whole(tmp_path: Path) -> None:
    calls = count_calls(tmp_path)
    for n in [i + 1 for i, kind in enumerate(calls) if kind == "write"][1:-1]:
        path = tmp_path / f"{n}.run.jsonl"
        taken, _ = record(path, Failing(n, False, errno.EIO, short=20))
        assert len(taken) == len(WRITTEN) - 1
        assert read_run(path).problems, f"the file of call {n} hides that a line was lost"


def test_what_was_synced_is_what_came_before_each_state(tmp_path: Path) -> None:
    calls = count_calls(tmp_path)
    assert calls[:3] == ["create", "sync_folder", "write"]
    assert calls[-3:] == ["write", "sync", "close"]
    n_states = sum(isinstance(line, Event) and line.event == "state" for line in WRITTEN)
    syncs = [pair for pair in pairwise(calls) if pair == ("write", "sync")]
    assert len(syncs) == n_states + 1
