"""Samples of a sound run file, taken from their text straight into arrays.

Making thousands of samples into tuples of integers takes longer than all the rest of reading a run.
So their text is decoded as one flat list, and lines are made only on demand. Whatever is unusual in
a file is left to the reader, which goes line by line and says what is wrong.
"""

from collections.abc import Sequence
from itertools import chain
from typing import Annotated, NamedTuple, overload

import msgspec
import numpy as np
from msgspec import Raw, Struct
from numpy.typing import NDArray

from rig.runfile import limits
from rig.runfile.model import Climate, End, Event, Header, Samples, Steps

_DIGITS = b"-0123456789"
_flat_decoder = msgspec.json.Decoder(list[int])
_decoder = msgspec.json.Decoder(list[tuple[int, int, int]])


class PackedLine(
    Struct, tag_field="kind", tag="samples", frozen=True, kw_only=True, forbid_unknown_fields=True
):
    """`Samples` without the gyroscope, and with the text of its counts as it stands in the file."""

    t_s: Annotated[float, limits.TIME_S.meta]
    dt_s: Annotated[float, limits.STEP_S.meta]
    counts: Raw
    imu_temperature_c: Annotated[float, limits.CHIP_C.meta] | None = None


Quick = Header | Event | PackedLine | Climate | Steps | End


class Arrays(NamedTuple):
    """Samples in order of time."""

    t_s: NDArray[np.float64]
    """(n,)"""
    counts: NDArray[np.int32]
    """(n, 3)"""


class Packed(Sequence[Samples]):
    """The lines of samples of one run, each made on demand.

    Raises:
        ValueError: a text is unusual, a count is beyond its limits, or the lines go back in time.
    """

    def __init__(self, lines: Sequence[PackedLine]) -> None:
        if np.any(np.diff([line.t_s for line in lines]) < -limits.BACK_S):
            raise ValueError("samples go back in time")
        self.lines = lines
        lengths, counts = _counts_of([bytes(line.counts) for line in lines])
        self.arrays = _arranged(lines, lengths, counts)

    def __len__(self) -> int:
        return len(self.lines)

    @overload
    def __getitem__(self, index: int) -> Samples: ...
    @overload
    def __getitem__(self, index: slice) -> list[Samples]: ...
    def __getitem__(self, index: int | slice) -> Samples | list[Samples]:
        if isinstance(index, slice):
            return [_made(line) for line in self.lines[index]]
        return _made(self.lines[index])


def arrays_of(samples: Sequence[Samples]) -> Arrays:
    """All samples of lines in order of time."""
    lengths = np.array([len(line.counts) for line in samples], dtype=np.int64)
    total = int(lengths.sum())
    flat = chain.from_iterable(chain.from_iterable(line.counts for line in samples))
    counts = np.fromiter(flat, dtype=np.int32, count=3 * total).reshape(total, 3)
    return _arranged(samples, lengths, counts)


def _arranged(
    lines: Sequence[PackedLine] | Sequence[Samples],
    lengths: NDArray[np.int64],
    counts: NDArray[np.int32],
) -> Arrays:
    """Samples in order of time.

    Args:
        lines: (l,) of which the times are taken.
        lengths: (l,) the number of samples in each.
        counts: (n, 3), as the lines follow each other.
    """
    first = np.repeat(np.array([line.t_s for line in lines], dtype=float), lengths)
    step = np.repeat(np.array([line.dt_s for line in lines], dtype=float), lengths)
    index = np.arange(len(counts)) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    t_s: NDArray[np.float64] = first + step * index
    if np.any(np.diff(t_s) < 0):
        order = np.argsort(t_s, kind="stable")
        return Arrays(t_s[order], counts[order])
    return Arrays(t_s, counts)


def _made(line: PackedLine) -> Samples:
    return Samples(
        t_s=line.t_s,
        dt_s=line.dt_s,
        counts=_decoder.decode(line.counts),
        imu_temperature_c=line.imu_temperature_c,
    )


def _counts_of(texts: list[bytes]) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """The number of samples of each text, and all of them (n, 3)."""
    lengths = np.array([text.count(b"[") - 1 for text in texts], dtype=np.int64)
    text = b",".join(texts)
    usual = b",".join(b"[" + b",".join([b"[,,]"] * n) + b"]" for n in lengths.tolist())
    if text.translate(None, _DIGITS) != usual:
        raise ValueError("not samples of three counts each, without spaces")
    if not len(lengths) or not lengths.all():
        if len(lengths) and lengths.any():
            raise ValueError("a line without samples among others")
        return lengths, np.empty((0, 3), dtype=np.int32)
    numbers = _flat_decoder.decode(b"[" + text.translate(None, b"[]") + b"]")
    try:  # sixteen bits are what `limits.COUNT` allows
        counts = np.fromiter(numbers, dtype=np.int16, count=len(numbers))
    except OverflowError as error:
        raise ValueError("a count is beyond its limits") from error
    return lengths, counts.astype(np.int32).reshape(-1, 3)
