"""Reads a journal, also one that was cut or damaged, and appends to it with fsync."""

from collections.abc import Sequence
from pathlib import Path
from shlex import quote
from typing import Any, TypeVar, get_args

import msgspec

from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.files.log import LogLine, append_lines, lines_of
from rig.files.stamps import parse_utc, utc_text
from rig.files.time_here import now_in
from rig.study.folder.durable import cannot_write, locked
from rig.study.folder.journal import (
    FORMAT,
    VERSION,
    Begin,
    Confirmation,
    Doubt,
    Entry,
    Journal,
    Withdrawal,
)

NAME = "journal.jsonl"
KINDS = {str(kind.__struct_config__.tag) for kind in get_args(Entry)}
T = TypeVar("T", bound=Entry)


def read_journal(path: Path) -> Journal:
    """Read a journal; a missing one is empty, and what is damaged is listed in its `problems`.

    Raises:
        BadInputError: it can't be read, is none, or was written by a newer program.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Journal()
    except OSError as error:
        raise BadInputError(f"{path} cannot be read: {error.strerror or error}.") from error
    return parse_journal(data, path)


def parse_journal(data: bytes, path: Path) -> Journal:
    """As `read_journal`, from what was read already; `path` is named in sentences."""
    journal = Journal()
    for line in lines_of(data):
        _take(journal, line, path)
    _settle_doubts(journal)
    _check_corrections(journal, path)
    return journal


def _take(journal: Journal, line: LogLine, path: Path) -> None:
    """Add a line to what was read, with the sentence about it if it can't be used or trusted."""
    left_out = f"Line {line.number} of {path.name} is left out:"
    entry: Entry | None = None
    bag: str | None = None
    try:
        raw: dict[str, Any] = msgspec.json.decode(line.data, type=dict[str, Any])
        kind = raw.get("kind")
        if line.verdict == "changed":
            bag = raw.get("bag") if isinstance(raw.get("bag"), str) else None
        elif kind == "journal":
            _check_version(raw, path)
            return
        if kind not in KINDS:
            problem = f"{left_out} it is of the unknown kind {kind!r}."
        else:
            entry = _entry_of(raw, line.number)
            problem = ""
    except UNREADABLE as error:
        damaged = not isinstance(error, msgspec.ValidationError)
        problem = f"{left_out} {'it is damaged' if damaged else error}."
    if line.is_torn and entry is None:
        problem = (
            f"The last line of {path.name} (line {line.number}) was cut off after"
            f" {len(line.data)} bytes and is left out; enter it again."
        )
    elif line.verdict == "changed":
        about = "any bag" if bag is None else bag
        problem = (
            f"Line {line.number} of {path.name} was changed after it was written, so answers about"
            f" {about} must wait: read it, then `rig study correct"
            f" {quote(str(path.parent))} --line {line.number}` with --confirm if it is"
            " right or --void if it is not."
        )
        journal.doubts.append(Doubt(line.number, bag, problem))
    if problem:
        journal.problems.append(problem)
    if entry is not None:
        journal.lines.append(entry)
        journal.unchecked += line.verdict == "unchecked"


def _entry_of(raw: dict[str, Any], number: int) -> Entry:
    entry: Entry = msgspec.convert(raw, Entry)
    try:
        at = parse_utc(entry.at)
    except ValueError as error:
        raise msgspec.ValidationError(f"its time can't be read ({error})") from None
    # A person may have written the line, so its number and its time are made like ours.
    return msgspec.structs.replace(entry, line=entry.line or number, at=utc_text(at))


def _settle_doubts(journal: Journal) -> None:
    """Lines in doubt count only once they were confirmed; withdrawn ones are settled."""
    confirmed = {e.confirms for e in journal.lines if isinstance(e, Confirmation)}
    withdrawn = {e.replaces for e in journal.lines if e.replaces is not None}
    doubtful = {doubt.line for doubt in journal.doubts}
    settled = {doubt.sentence for doubt in journal.doubts if doubt.line in confirmed | withdrawn}
    journal.problems = [one for one in journal.problems if one not in settled]
    journal.doubts = [one for one in journal.doubts if one.sentence not in settled]
    journal.lines = [e for e in journal.lines if e.line not in doubtful or e.line in confirmed]


def _check_version(raw: dict[str, Any], path: Path) -> None:
    version = raw.get("version")
    if raw.get("format") != FORMAT or not isinstance(version, int):
        raise BadInputError(
            f"{path} is not the journal of a study: its first line is another format's."
        )
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
    """Append one line; as `append_all`."""
    return append_all(path, [entry])[0]


def append_all(path: Path, entries: Sequence[T]) -> list[T]:
    """Append lines in one go and bring them to the disk before returning.

    Args:
        path: the journal; made if it is not there.
        entries: what to write; `line` and `written_at` are filled in here.

    Returns:
        The entries as they were written.

    Raises:
        BadInputError: one corrects a line that can't be corrected by it, or nothing can be written.
    """
    with locked(path.parent):
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            data = b""
        except OSError as error:
            raise cannot_write(path, error) from error
        journal = parse_journal(data, path)
        for entry in entries:
            _check_replaced(journal, entry)
        begin = [] if data else [msgspec.json.encode(Begin())]
        physical = data.count(b"\n") + bool(data and not data.endswith(b"\n")) + len(begin)
        number = max([physical, *(old.line for old in journal.lines)])
        now = utc_text(now_in(path))
        written = [
            msgspec.structs.replace(entry, line=number + i, written_at=now)
            for i, entry in enumerate(entries, start=1)
        ]
        try:
            append_lines(path, [*begin, *map(msgspec.json.encode, written)])
        except OSError as error:
            raise cannot_write(path, error) from error
        return written


def _check_replaced(journal: Journal, entry: Entry) -> None:
    doubtful = {doubt.line for doubt in journal.doubts}
    if isinstance(entry, Confirmation):
        if entry.confirms not in doubtful:
            raise BadInputError(f"Line {entry.confirms} of the journal is not in doubt.")
        return
    if entry.replaces is None or (isinstance(entry, Withdrawal) and entry.replaces in doubtful):
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
