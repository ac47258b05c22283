"""Lines that show when they were changed.

The last key of a JSON object on a line may be `check`: the CRC-32 (ISO 3309, as in zlib) of the
line without that key, in hexadecimal. It finds every change of up to 32 neighbouring bits, and
others but for one in four thousand million. A line without it was written by an older program or
by a person.
"""

import re
from typing import Literal
from zlib import crc32

UNREADABLE = (ValueError, RecursionError)
"""Errors of a decoder for unreadable bytes: bad UTF-8 and values of another type are ValueErrors
too, and brackets may be nested too deeply."""

Verdict = Literal["sound", "changed", "unchecked"]

_CHECK = re.compile(rb',"check":"([0-9a-f]{8})"\}$')


def sealed(line: bytes) -> bytes:
    """A JSON object, on one line and not empty, with its check."""
    return b'%b,"check":"%08x"}' % (line[:-1], crc32(line))


def verdict(line: bytes) -> Verdict:
    """Whether a line is as it was written."""
    found = _CHECK.search(line)
    if found is None:
        # A check whose own key or place was hit is still there, in some form.
        return "changed" if b'"check"' in line[-24:] else "unchecked"
    return "sound" if crc32(line[: found.start()] + b"}") == int(found[1], 16) else "changed"


def unchecked_words(n_files: int, n_lines: int = 0) -> str:
    """The sentence about run files and journal lines without a check; empty if there are none."""
    parts = [
        f"{n} {what}{'' if n == 1 else 's'}"
        for n, what in ((n_files, "run file"), (n_lines, "journal line"))
        if n
    ]
    if not parts:
        return ""
    were = "was" if n_files + n_lines == 1 else "were"
    return (
        f"{' and '.join(parts)} {were} written without a checksum (before 0.2, or by hand): a"
        " changed number there can't be noticed."
    )
