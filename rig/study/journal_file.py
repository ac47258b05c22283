"""Reads a journal, also one that was cut or damaged, and appends to it with fsync."""

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from rig.errors import BadInputError
from rig.files.durable import sync_folder
from rig.study.durable import cannot_write, locked
from rig.study.journal import FORMAT, VERSION, Begin, Entry, Journal, Withdrawal

NAME = "journal.jsonl"
KINDS = ("treatment", "mass", "droop", "reading", "wipe", "withdrawal")
T = TypeVar("T", bound=Entry)


def utc_text(time: datetime) -> str:
    """A time as journals write it: RFC 3339, UTC, whole seconds; such texts sort by time."""
    return time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def read_journal(path: Path) -> Journal:
    """Read a journal; a missing one is empty, and what is damaged is told in its `problems`.

    Raises:
        BadInputError: it can't be read, is none, or was written by a newer program.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Journal()
    except OSError as error:
        raise BadInputError(f"{path} cannot be read: {error.strerror or error}.") from error
    return _parse(data, path)


def _parse(data: bytes, path: Path) -> Journal:
    journal = Journal()
    lines = data.split(b"\n")
    tail = lines.pop()
    for number, line in enumerate([*lines, tail] if tail else lines, start=1):
        cut = number > len(lines)
        problem = _take(journal, line, number, path)
        if problem and cut:
            problem = (
                f"The last line of {path.name} (line {number}) was cut off after {len(line)} bytes"
                " and is left out; enter it again."
            )
        if problem:
            journal.problems.append(problem)
    _check_corrections(journal, path)
    return journal


def _take(journal: Journal, line: bytes, number: int, path: Path) -> str | None:
    """Add a line to what was read; returns the sentence about it if it can't be used."""
    if not line.strip(b"\0 \r"):
        return None
    left_out = f"Line {number} of {path.name} is left out:"
    try:
        raw: dict[str, Any] = msgspec.json.decode(line, type=dict[str, Any])
    except (msgspec.DecodeError, UnicodeDecodeError):
        return f"{left_out} it is damaged."
    kind = raw.get("kind")
    if kind == "journal":
        _check_version(raw, path)
        return None
    if kind not in KINDS:
        return f"{left_out} it is of the unknown kind {kind!r}."
    try:
        entry: Entry = msgspec.convert(raw, Entry)
        at = datetime.fromisoformat(entry.at)
    except (msgspec.ValidationError, ValueError) as error:
        return f"{left_out} {error}."
    if at.tzinfo is None:
        return f"{left_out} its time {entry.at} has no zone."
    # A person may have written the line, so its number and its time are made like ours.
    entry = msgspec.structs.replace(entry, line=entry.line or number, at=utc_text(at))
    journal.lines.append(entry)
    return None


def _check_version(raw: dict[str, Any], path: Path) -> None:
    version = raw.get("version")
    if raw.get("format") != FORMAT or not isinstance(version, int):
        raise BadInputError(f"{path} is no journal of a study: its first line is another format's.")
    if version > VERSION:
        raise BadInputError(
            f"{path} belongs to a study folder from the future: it is written in version {version}"
            f" and this program reads up to version {VERSION}; update the program."
        )


def _check_corrections(journal: Journal, path: Path) -> None:
    by_line: dict[int, Entry] = {}
    for entry in journal.lines:
        if entry.line in by_line:
            journal.problems.append(f"Two lines of {path.name} have the number {entry.line}.")
        by_line[entry.line] = entry
    for entry in journal.lines:
        if entry.replaces is not None and entry.replaces not in by_line:
            journal.problems.append(
                f"Line {entry.line} of {path.name} corrects line {entry.replaces}, which is not"
                " there."
            )


def append(path: Path, entry: T) -> T:
    """Append one line and bring it to the disk before returning.

    Args:
        path: the journal; made if it is not there.
        entry: what to write; its `line` and `written_at` are filled in here.

    Returns:
        The entry as it was written.

    Raises:
        BadInputError: it corrects a line that can't be corrected by it, or can't be written.
    """
    with locked(path.parent):
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            data = b""
        except OSError as error:
            raise cannot_write(path, error) from error
        journal = _parse(data, path)
        _check_replaced(journal, entry)
        begin = b"" if data else msgspec.json.encode(Begin()) + b"\n"
        # A line that was cut off must end first, so that this one can be read.
        torn = b"\n" if data and not data.endswith(b"\n") else b""
        physical = (data + torn + begin).count(b"\n")
        number = 1 + max([physical, *(old.line for old in journal.lines)])
        entry = msgspec.structs.replace(entry, line=number, written_at=utc_text(datetime.now(UTC)))
        _write(path, torn + begin + msgspec.json.encode(entry) + b"\n")
        return entry


def _check_replaced(journal: Journal, entry: Entry) -> None:
    if entry.replaces is None:
        return
    standing = {line.line: line for line in journal.standing()}
    old = standing.get(entry.replaces)
    if old is None:
        raise BadInputError(
            f"The journal has no line {entry.replaces} that counts; `rig study status --journal`"
            " lists the lines with their numbers."
        )
    if not isinstance(entry, Withdrawal) and type(old) is not type(entry):
        raise BadInputError(
            f"Line {entry.replaces} of the journal is a {type(old).__name__.lower()}, and a"
            f" {type(entry).__name__.lower()} cannot take its place; name the right line."
        )


def _write(path: Path, data: bytes) -> None:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        try:
            while data:
                data = data[os.write(descriptor, data) :]
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        # Not only when it is new: who made it may have been killed before this.
        sync_folder(path.parent)
    except OSError as error:
        raise cannot_write(path, error) from error
