"""Trace files: what a phone on the board read during one lift, as it read it.

`traces/NAME.trace.jsonl` has three lines: a header, the trace, and an end whose `check` is the
CRC-32 of all bytes before it, as in a run file. Nothing is ever written over.
"""

from pathlib import Path
from typing import Annotated, Literal
from zlib import crc32

import msgspec
from msgspec import Meta, Struct

from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.files.durable import make_folder
from rig.study.folder.durable import cannot_write, create_file, locked

FOLDER = "traces"
SUFFIX = ".trace.jsonl"
MOST_SAMPLES = 60_000
"""Ten minutes at 100 Hz."""

Seconds = Annotated[float, Meta(ge=0, le=3600)]
Vector = tuple[
    Annotated[float, Meta(ge=-200, le=200)],
    Annotated[float, Meta(ge=-200, le=200)],
    Annotated[float, Meta(ge=-200, le=200)],
]
Turning = tuple[
    Annotated[float, Meta(ge=-5000, le=5000)],
    Annotated[float, Meta(ge=-5000, le=5000)],
    Annotated[float, Meta(ge=-5000, le=5000)],
]


class Laying(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The phone at rest on the board for some seconds."""

    acceleration_m_s2: Vector
    """Mean."""
    sd_m_s2: Annotated[float, Meta(ge=0, le=50)]
    """Standard deviation of one reading, the largest of the three axes."""
    n: Annotated[int, Meta(ge=10, le=MOST_SAMPLES)]


class PhoneZero(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The phone laid on the level board, and again after a half turn on the same spot."""

    first: Laying
    second: Laying


class TraceSamples(Struct, tag="trace", tag_field="kind", frozen=True, kw_only=True):
    """The readings; times count from the first of them."""

    t_s: Annotated[tuple[Seconds, ...], Meta(max_length=MOST_SAMPLES)]
    acceleration_m_s2: Annotated[tuple[Vector, ...], Meta(max_length=MOST_SAMPLES)]
    """Gravity included, along the phone's own axes."""
    rotation_deg_s: Annotated[tuple[Turning, ...], Meta(max_length=MOST_SAMPLES)] = ()
    """About its axes, in any order and sign; empty where the phone has no gyroscope."""
    taps_s: Annotated[tuple[Seconds, ...], Meta(max_length=100)] = ()

    def __post_init__(self) -> None:
        n = len(self.t_s)
        if len(self.acceleration_m_s2) != n or len(self.rotation_deg_s) not in (0, n):
            raise ValueError("its lists are not equally long")
        if any(b < a for a, b in zip(self.t_s, self.t_s[1:], strict=False)):
            raise ValueError("its times run backwards")


class TraceHeader(Struct, tag="header", tag_field="kind", frozen=True, kw_only=True):
    """What the readings are of."""

    format: Literal["tilt-trace"] = "tilt-trace"
    version: Literal[1] = 1
    trace_id: str
    raised_by: Literal["hand"] = "hand"
    at: str
    """When it was received: RFC 3339, UTC."""
    bag: str
    face: str
    board: str
    reader: str
    pace_deg_s: float
    zero: PhoneZero
    software: str = ""


class _End(Struct, tag="end", tag_field="kind", frozen=True, kw_only=True):
    lines: int
    check: str


class Trace(Struct, frozen=True, kw_only=True):
    """One trace file."""

    header: TraceHeader
    samples: TraceSamples


def trace_name(at: str, key: str) -> str:
    """Name of the file of a request: one that is sent again finds it."""
    stamp = "".join(c for c in at if c.isalnum())
    return f"{stamp}-{_plain(key)}{SUFFIX}"


def _plain(key: str) -> str:
    return "".join(c for c in key if c.isascii() and c.isalnum())


def kept_trace(study: Path, key: str) -> Path | None:
    """The file that a request with this key has left, if it has."""
    return next((study / FOLDER).glob(f"*-{_plain(key)}{SUFFIX}"), None)


def keep_trace(study: Path, key: str, trace: Trace) -> Path:
    """Write a trace, unless a request with this key has written one; returns its path.

    Raises:
        BadInputError: it can't be written.
    """
    folder = study / FOLDER
    try:
        make_folder(folder)
    except OSError as error:
        raise cannot_write(folder, error) from error
    body = b"".join(msgspec.json.encode(one) + b"\n" for one in (trace.header, trace.samples))
    end = _End(lines=3, check=f"{crc32(body):08x}")
    with locked(folder):
        path = kept_trace(study, key)
        if path is None:
            path = folder / trace_name(trace.header.at, key)
            create_file(path, body + msgspec.json.encode(end) + b"\n")
    return path


def read_trace(path: Path) -> Trace:
    """Read a trace file.

    Raises:
        BadInputError: it can't be read, is cut off, or was changed after it was written.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInputError(f"{path} cannot be read: {error.strerror or error}.") from error
    lines = data.splitlines(keepends=True)
    if len(lines) != 3:
        raise BadInputError(
            f"{path} is not a complete trace: it has {len(lines)} lines instead of 3."
        )
    try:
        header = msgspec.json.decode(lines[0], type=TraceHeader)
        samples = msgspec.json.decode(lines[1], type=TraceSamples)
        end = msgspec.json.decode(lines[2], type=_End)
    except UNREADABLE as error:
        raise BadInputError(f"{path} cannot be read as a trace: {error}.") from error
    if end.check != f"{crc32(lines[0] + lines[1]):08x}":
        raise BadInputError(
            f"{path} was changed after it was written, so its numbers can't be trusted; restore it"
            " from a copy."
        )
    return Trace(header=header, samples=samples)
