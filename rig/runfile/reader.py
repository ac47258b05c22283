"""Read run files, even if cut off or damaged, and report what is missing."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple
from zlib import crc32

import msgspec
import numpy as np
from numpy.typing import NDArray

from rig.calibration.file import calibration_fault
from rig.errors import BadInputError
from rig.files.checked import UNREADABLE
from rig.runfile.limits import BACK_S, implausible, implausible_detail
from rig.runfile.model import (
    FORMAT,
    VERSION,
    Climate,
    End,
    Event,
    Header,
    Line,
    Samples,
    Steps,
)
from rig.runfile.packed import Arrays, Packed, PackedLine, Quick, arrays_of
from rig.runfile.writer import SUFFIX

_TYPES: dict[str, type[Line]] = {
    "header": Header,
    "event": Event,
    "samples": Samples,
    "climate": Climate,
    "steps": Steps,
    "end": End,
}
_KNOWN_KEYS = {
    kind: {"kind", *(info.encode_name for info in msgspec.structs.fields(line_type))}
    for kind, line_type in _TYPES.items()
}
_line_decoder: msgspec.json.Decoder[Line] = msgspec.json.Decoder(Line)
_quick_decoder: msgspec.json.Decoder[Quick] = msgspec.json.Decoder(Quick)
_any_decoder = msgspec.json.Decoder(dict[str, Any])


LEFT_OUT = "; the file is left out. Restore it from a copy, or take it out of the folder."


class Implausible(str):
    """What is wrong with a readable line whose content is not valid."""

    __slots__ = ()


class RunFile(msgspec.Struct, kw_only=True, dict=True):
    """Contents of one run file."""

    path: Path
    header: Header
    events: list[Event] = msgspec.field(default_factory=list)
    samples: list[Samples] | Packed = msgspec.field(default_factory=list)
    climate: list[Climate] = msgspec.field(default_factory=list)
    steps: list[Steps] = msgspec.field(default_factory=list)
    end: End | None = None
    unknown: list[dict[str, Any]] = msgspec.field(default_factory=list)
    """Lines of an unknown kind, and the unknown keys of known lines with their `kind`."""
    problems: list[str] = msgspec.field(default_factory=list)

    @property
    def interrupted(self) -> bool:
        """True when the run's last line is not there."""
        return self.end is None

    @property
    def is_unchecked(self) -> bool:
        """True when the last line is that of an older program, without a check."""
        return self.end is not None and self.end.check is None

    def samples_arrays(self) -> Arrays:
        """All samples in order of time."""
        if isinstance(self.samples, Packed):
            return self.samples.arrays
        kept: _Kept | None = self.__dict__.get("arrays")
        if kept is None or kept.of != self.samples:  # quick, since the same lines are one object
            kept = self.__dict__["arrays"] = _Kept(list(self.samples), arrays_of(self.samples))
        return kept.arrays

    def turning_arrays(
        self,
    ) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.int32]]:
        """Samples that have the gyroscope's counts: `t_s` (n,), counts and its own (n, 3) each."""
        turning = [line for line in self.samples if _turns(line)]
        t_s, counts = arrays_of(turning)
        turned = [msgspec.structs.replace(line, counts=_turns(line)) for line in turning]
        return t_s, counts, arrays_of(turned)[1]

    def steps_arrays(self) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Step counts in order of time: `t_s` (n,) and counts (n,)."""
        t_s = np.array([line.t_s for line in self.steps], dtype=float)
        count = np.array([line.count for line in self.steps], dtype=np.int64)
        order = np.argsort(t_s, kind="stable")
        return t_s[order], count[order]

    def chip_temperature_c(self, time_s: float) -> float | None:
        """The angle sensor's temperature nearest to a time; None if it was never read."""
        lines: Sequence[Samples] | Sequence[PackedLine] = self.samples
        if isinstance(self.samples, Packed):
            lines = self.samples.lines
        read = [line for line in lines if line.imu_temperature_c is not None]
        nearest = min(read, key=lambda line: abs(line.t_s - time_s), default=None)
        return None if nearest is None else nearest.imu_temperature_c

    @property
    def last_time_s(self) -> float | None:
        """Time of the newest event, sample or step; None for a file without any."""
        times = [
            *(line.t_s for line in self.events[-1:]),
            *(line.t_s for line in self.samples[-1:]),
            *(line.t_s for line in self.steps[-1:]),
        ]
        return max(times, default=None)

    def first_event(self, name: str) -> Event | None:
        """The first event of this name."""
        return next((event for event in self.events if event.event == name), None)


def _turns(line: Samples) -> list[tuple[int, int, int]]:
    """Counts of the gyroscope, where there is one for each sample."""
    turns = line.gyro_counts
    return turns if turns and len(turns) == len(line.counts) else []


class _Kept(NamedTuple):
    """What `samples_arrays` has made, and of which lines."""

    of: list[Samples]
    arrays: Arrays


def read_run(path: Path) -> RunFile:
    """Read a run file; damaged or missing parts are reported in `problems`.

    Raises:
        BadInputError: the file can't be read, is not a run file, has nothing left of its first
            line, was written in a newer version of the format, was changed after it was written,
            or has a value that is not valid.
    """
    return parse_run(path, read_bytes(path))


def parse_run(path: Path, data: bytes) -> RunFile:
    """As `read_run`, from what was read already; `path` is named in sentences."""
    first, line_feed, rest = data.partition(b"\n")
    run = RunFile(path=path, header=header_of(path, first, cut=not line_feed))
    run.unknown += _unknown_keys(first)
    refused = ""
    for number, problem in _take_all(run, rest):
        if isinstance(problem, Implausible):
            refused = refused or f"{path}, line {number}: {problem}{LEFT_OUT}"
        else:
            run.problems.append(problem)
    _check_end(run, data.count(b"\n") - data.endswith(b"\n"))
    _check_bytes(run, data)
    if refused:  # only now: a changed file is said to be that
        raise BadInputError(refused)
    return run


def find_runs(paths: Iterable[Path]) -> list[Path]:
    """The run files among these files and in these folders (at any depth), in order, once each.

    A file that is named is taken whatever its name; in folders only `*.run.jsonl` counts.

    Raises:
        BadInputError: a path does not exist.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(sorted(path.rglob(f"*{SUFFIX}"))))
        elif path.exists():
            found[path] = None
        else:
            raise BadInputError(f"There is no file or folder {path}; check its name.")
    return list(found)


def read_bytes(path: Path) -> bytes:
    """All of a file; raises BadInputError if it can't be read."""
    if path.is_dir():
        raise BadInputError(f"{path} is a folder, not a run file; name a file in it.")
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadInputError(
            f"Cannot read {path}: {error.strerror or error}; check its name and permissions."
        ) from error


def header_of(path: Path, line: bytes, cut: bool = False) -> Header:
    """The first line of a run file; `cut` says that nothing follows it.

    Raises:
        BadInputError: it is not a header, is damaged, of a newer version, or has an invalid value.
    """
    opening = b'{"kind":"header"'
    if not line.strip(b"\0"):
        raise BadInputError(f"{path} is empty: the run ended before its first line was written.")
    try:
        raw = _any_decoder.decode(line)
    except UNREADABLE as error:
        if cut and (line.startswith(opening) or opening.startswith(line)):
            raise BadInputError(
                f"{path} is cut off within its first line; nothing of the run is left in it."
            ) from error
        if line.startswith(opening):
            raise BadInputError(
                f"The first line of {path} is damaged, and without it the run can't be read."
            ) from error
        raise BadInputError(
            f"{path} is not a run file: it has no header; name a *{SUFFIX} file."
        ) from error
    if raw.get("kind") != "header" or raw.get("format") != FORMAT:
        raise BadInputError(f"{path} is not a run file: it has no header; name a *{SUFFIX} file.")
    if raw.get("version") != VERSION:
        raise BadInputError(
            f"{path} is written in version {raw.get('version')} of the run-file format, and this "
            f"program reads version {VERSION}; update the program."
        )
    if problem := implausible(raw):
        raise BadInputError(f"{path}, line 1: {problem}{LEFT_OUT}")
    try:
        header = msgspec.convert(raw, Header)
    except msgspec.ValidationError as error:
        raise BadInputError(
            f"The first line of {path} is damaged, and without it the run can't be read: {error}."
        ) from error
    if header.calibration is not None and (fault := calibration_fault(header.calibration)):
        raise BadInputError(f"{path}, line 1: in its calibration, {fault}{LEFT_OUT}")
    return header


def _take_sound(run: RunFile, rest: bytes) -> bool:
    """Add the lines behind the header in one go, if there is nothing to say about any of them."""
    kinds: defaultdict[type, list[Any]] = defaultdict(list)
    try:
        for line in _quick_decoder.decode_lines(rest):
            kinds[type(line)].append(line)
        samples = Packed(kinds[PackedLine])
    except UNREADABLE:
        return False
    if (
        sum(map(len, kinds.values())) != rest.count(b"\n") + (not rest.endswith(b"\n"))
        or kinds[Header]
        or len(kinds[End]) > 1
        or any(implausible_detail(event.detail) for event in kinds[Event])
    ):
        return False
    run.samples, run.steps = samples, kinds[Steps]
    run.events, run.climate = kinds[Event], kinds[Climate]
    run.end = next(iter(kinds[End]), None)
    return True


def _take_all(run: RunFile, rest: bytes) -> Iterator[tuple[int, str]]:
    """Add the lines behind the header; yields number and sentence of those that are not right."""
    if not rest or _take_sound(run, rest):
        return
    problems = map(partial(_take, run), rest.removesuffix(b"\n").split(b"\n"))
    for number, problem in enumerate(problems, start=2):
        if problem is None:
            continue
        is_last = number == 2 + rest.count(b"\n")
        if isinstance(problem, Implausible):
            yield number, problem
        elif is_last:
            tail = rest.rpartition(b"\n")[2]
            told = f"cut off after {len(tail)} bytes and left out"
            yield number, f"The last line of {run.path.name} is {told}."
        else:
            told = f"is damaged and left out: {problem}"
            yield number, f"Line {number} of {run.path.name} {told}."


def _take(run: RunFile, line: bytes) -> str | None:
    """Add a line to what was read; returns what is wrong with it, if anything."""
    if line.strip(b"\0 \r") == b"":
        return "it is empty"
    try:
        return _add(run, _line_decoder.decode(line))
    except UNREADABLE as error:
        return _take_unknown(run, line, error)


def _add(run: RunFile, parsed: Line) -> str | None:
    if isinstance(parsed, Samples):
        samples = run.samples
        assert isinstance(samples, list)  # noqa: S101 - packed ones come all at once
        if samples and parsed.t_s < samples[-1].t_s - BACK_S:
            return Implausible(
                f"t_s is {parsed.t_s:g}, and the samples before are of {samples[-1].t_s:g} s"
            )
        samples.append(parsed)
    elif isinstance(parsed, Steps):
        run.steps.append(parsed)
    elif isinstance(parsed, Climate):
        run.climate.append(parsed)
    elif isinstance(parsed, Event):
        if problem := implausible_detail(parsed.detail):
            return Implausible(problem)
        run.events.append(parsed)
    elif isinstance(parsed, End):
        if run.end is not None:
            return "it is a second last line"
        run.end = parsed
    else:
        return "it is a second header"
    return None


def _take_unknown(run: RunFile, line: bytes, error: Exception) -> str | None:
    """Take a line of an unknown kind, or one with unknown keys without these."""
    try:
        raw = _any_decoder.decode(line)
        kind = raw.get("kind")
        if not isinstance(kind, str):
            return str(error)
        if kind not in _TYPES:
            run.unknown.append(raw)
            return None
        if problem := implausible(raw):
            return Implausible(problem)
        known = {key: value for key, value in raw.items() if key in _KNOWN_KEYS[kind]}
        told = (
            _add(run, msgspec.convert(known, _TYPES[kind])) if len(known) < len(raw) else str(error)
        )
    except UNREADABLE as other:
        return str(other)
    if told is None:
        run.unknown += _unknown_keys(line)
    return told


def _unknown_keys(line: bytes) -> list[dict[str, Any]]:
    """The unknown keys of a known line, with its kind; they alone may not be UTF-8 and raise."""
    raw = _any_decoder.decode(line)
    kind = raw["kind"]
    extra = {key: value for key, value in raw.items() if key not in _KNOWN_KEYS[kind]}
    return [{"kind": kind, **extra}] if extra else []


def _check_bytes(run: RunFile, data: bytes) -> None:
    """Refuse a file that reads otherwise than it was written."""
    if run.end is None or run.end.check is None:
        return
    before = data[: data.rstrip(b"\n").rfind(b"\n") + 1]
    if f"{crc32(before):08x}" != run.end.check:
        raise BadInputError(
            f"{run.path} was changed after it was written, so its numbers can't be trusted; restore"
            " it from a copy. (To correct a bag, face or board: `rig study correct`.)"
        )


def _check_end(run: RunFile, before: int) -> None:
    """Tell when the last line is missing, or counts more lines than there are."""
    name = run.path.name
    if run.end is None:
        states = [event for event in run.events if event.event == "state"]
        last = f"in state {states[-1].detail.get('state')}" if states else "before its first state"
        when = "" if run.last_time_s is None else f" at {run.last_time_s:.2f} s"
        run.problems.append(f"{name} has no last line: it was cut off {last}{when}.")
    elif run.end.lines != before:
        run.problems.append(
            f"{name} should have {run.end.lines} lines before its last one and has {before}."
        )
