"""A glance at a run file: its first line and its last, whatever lies between."""

from pathlib import Path
from typing import NamedTuple

import msgspec

from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.runfile.model import End, Header
from rig.runfile.reader import header_of

BLOCK = 16384
"""A header with its calibration takes some 4 kB, a last line 200 bytes."""

_end_decoder = msgspec.json.Decoder(End)


class Glance(NamedTuple):
    """The two ends of a run file; the rest is unchecked."""

    header: Header
    end: End | None
    """None for a run that was cut off."""


def glance(path: Path) -> Glance:
    """Read the ends of a run file.

    Raises:
        BadInputError: as `read_run` for the first line.
    """
    try:
        with path.open("rb") as file:
            head = b""
            while b"\n" not in head and (block := file.read(BLOCK)):
                head += block
            size = file.seek(0, 2)
            file.seek(max(0, size - BLOCK))
            tail = file.read(BLOCK)
    except OSError as error:
        raise BadInputError(
            f"Cannot read {path}: {error.strerror or error}; check its name and permissions."
        ) from error
    first, line_feed, _ = head.partition(b"\n")
    return Glance(header_of(path, first, cut=not line_feed), _end_of(tail))


def _end_of(tail: bytes) -> End | None:
    *_, last = tail.rstrip(b"\n").rsplit(b"\n", 1)
    try:
        return _end_decoder.decode(last)
    except UNREADABLE:
        return None
