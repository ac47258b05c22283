"""Append logs: a line for each entry, brought to the disk before the call returns.

A line that was cut off by a power failure is ended by the next one, so that only it is lost.
"""

import errno
import os
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from rig.files.checked import Verdict, sealed, verdict
from rig.files.durable import make_folder, sync_file, sync_folder


class LogLine(NamedTuple):
    """One line as it stands in the file."""

    number: int
    data: bytes
    verdict: Verdict
    is_torn: bool = False
    """It is the last one and does not end."""


def lines_of(data: bytes) -> list[LogLine]:
    """The lines of a log, empty ones left out but counted."""
    *whole, tail = data.split(b"\n")
    found = [
        LogLine(number, line, verdict(line))
        for number, line in enumerate(whole, start=1)
        if line.strip(b"\0 \r")
    ]
    if tail.strip(b"\0 \r"):
        found.append(LogLine(len(whole) + 1, tail, verdict(tail), is_torn=True))
    return found


def append_lines(path: Path, entries: Sequence[bytes], *, checked: bool = True) -> None:
    """Append JSON objects, one on each line, in one go; OSError if it can't be done.

    Args:
        path: the log; it and its folder are made if they are not there.
        entries: encoded objects.
        checked: give each line a check.
    """
    make_folder(path.parent)
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        append_to(descriptor, entries, checked=checked)
    finally:
        os.close(descriptor)
    # Each time: whoever made the file may have been killed before its name was kept.
    sync_folder(path.parent)


def append_to(descriptor: int, entries: Sequence[bytes], *, checked: bool = True) -> None:
    """The same for a log that is open for reading and appending."""
    size = os.fstat(descriptor).st_size
    is_torn = size > 0 and os.pread(descriptor, 1, size - 1) != b"\n"
    lines = [sealed(entry) if checked else entry for entry in entries]
    data = b"\n" * is_torn + b"".join(line + b"\n" for line in lines)
    while data:
        taken = os.write(descriptor, data)
        if taken <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        data = data[taken:]
    sync_file(descriptor)
