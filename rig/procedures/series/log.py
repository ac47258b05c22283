"""Log of the series in a folder: an append-only file beside the run files.

One JSON object per line, each with a `kind`: plan of the series, begin of a run with its file, its
end, or the later record of a run that was cut off. A line counts once it is on the disk; a torn
last line is ignored. Run files themselves are never touched. The counts of slides and pushes of
each bag face come from the same lines.
"""

import fcntl
import os
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import msgspec

from rig.control.request import RunRequest
from rig.errors import BadInputError, BusyError, MachineFaultError
from rig.files.checked import UNREADABLE
from rig.files.durable import make_folder, sync_folder
from rig.files.log import append_to, lines_of
from rig.files.stamps import utc_text
from rig.procedures.series.climate_gate import ClimateBand
from rig.procedures.series.cut_runs import how_it_ended
from rig.procedures.series.stop_rules import MIN_RUNS, SlideScatter
from rig.runfile.model import Outcome, State

NAME = "series.jsonl"


class SeriesOptions(msgspec.Struct, frozen=True, kw_only=True):
    """Options of a series, besides its runs."""

    unattended: bool = False
    climate: ClimateBand | None = None
    until_angle_deg: float | None = None
    """Enough when the mean is known to ± this, after `least_runs`."""
    least_runs: int = MIN_RUNS
    slide_scatter: SlideScatter | None = None
    """What is known of it when the series begins."""
    bad_in_a_row: int | None = None
    stop_at_trend: bool = False
    clean_every: int | None = None
    quick: bool = False
    """One settling raise, then quick starts to below the angle that it found."""


class _Entry(msgspec.Struct, tag_field="kind", frozen=True, kw_only=True):
    at: str


class Planned(_Entry, tag="series", frozen=True, kw_only=True):
    """A series was begun."""

    series_id: str
    requests: list[RunRequest]
    options: SeriesOptions


class Begun(_Entry, tag="run", frozen=True, kw_only=True):
    """A run's file is about to be created."""

    series_id: str
    repeat: int
    run_id: str
    run_file: str
    """Relative to the folder."""
    bag: str | None
    face: str | None


class _Over(_Entry, frozen=True, kw_only=True):
    run_id: str
    slid: bool
    pushes: int = 0
    """Number of pushes begun by the blade."""
    brought_down: int = 0
    """Number of slides made only to bring the bag back to the catch."""

    @property
    def slides(self) -> int:
        """Number of slides of the bag over the board."""
        return self.slid + self.brought_down


class Ended(_Over, tag="ended", frozen=True, kw_only=True):
    """A run's file has its last line."""

    outcome: Outcome


class Cut(_Over, tag="cut", frozen=True, kw_only=True):
    """End of a run that its file could not record: it was cut off."""

    state: State | None
    """The last state in the file; None if the file was never created."""
    t_s: float | None


class Closed(_Entry, tag="closed", frozen=True, kw_only=True):
    """The series is finished; one that ended early without this line can be resumed."""

    series_id: str
    reason: str


Entry = Planned | Begun | Ended | Cut | Closed
COUNTED: frozenset[Outcome] = frozenset({"slid", "no_slide"})


class OpenSeries(msgspec.Struct, frozen=True, kw_only=True):
    """A series and its progress."""

    planned: Planned
    counted: dict[int, str]
    """Run file of each completed `repeat`."""
    slides: int
    """Number of slides, including those of runs that were cut off."""

    @property
    def remaining(self) -> list[RunRequest]:
        """The remaining requests, in order."""
        return [r for r in self.planned.requests if (r.repeat or 0) not in self.counted]


class Wear(msgspec.Struct, frozen=True, kw_only=True):
    """Wear of a bag face, from these logs."""

    slides: int = 0
    pushes: int = 0


class SeriesLog:
    """The log of one folder, held by one process at a time.

    Args:
        folder: for run files; created if missing.

    Raises:
        BusyError: another process makes a series there.
        BadInputError: it cannot be opened or read.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / NAME
        self.entries: list[Entry] = []
        self.problems: list[str] = []
        """Sentences about lines changed after they were written, which are left out."""
        try:
            make_folder(folder)
            self._descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
            try:
                fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                sync_folder(folder)
            except OSError:
                self.close()
                raise
        except BlockingIOError as error:
            raise BusyError(
                f"Another process makes a series in {folder}; wait for it, or name another folder"
                " (--out)."
            ) from error
        except OSError as error:
            raise BadInputError(
                f"Cannot write to {self.path}: {(error.strerror or str(error)).lower()}; choose a"
                " folder you may write to and that has space (--out)."
            ) from error
        self._read()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Release the file; harmless when it is closed."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            os.close(descriptor)

    def _read(self) -> None:
        decoder = msgspec.json.Decoder(Entry)
        for line in lines_of(self.path.read_bytes()):
            try:
                if line.verdict != "changed":
                    self.entries.append(decoder.decode(line.data))
                    continue
            except UNREADABLE:
                if line.verdict == "unchecked":
                    continue  # a torn line, ended by the next one; nothing depends on it
            if not line.is_torn:
                self.problems.append(
                    f"Line {line.number} of {self.path} was changed after it was written and is"
                    " left out: slides in it do not count as wear, and its series can't be resumed."
                )

    def add(self, entry: Entry) -> None:
        """Append a line and sync it to the disk.

        Raises:
            MachineFaultError: cause `disk`.
        """
        try:
            append_to(self._descriptor, [msgspec.json.encode(entry)])
        except OSError as error:
            raise MachineFaultError(
                "disk",
                f"{self.path} cannot be written: {(error.strerror or str(error)).lower()}.",
            ) from error
        self.entries.append(entry)

    def settle(self, at: datetime) -> list[tuple[Begun, Cut]]:
        """Record the end of every run that has none in this file; returns those cut off.

        A run whose own file is complete has ended, and only its line here is missing.
        """
        told = {e.run_id for e in self.entries if isinstance(e, Ended | Cut)}
        cuts = []
        for begun in [e for e in self.entries if isinstance(e, Begun) and e.run_id not in told]:
            end = how_it_ended(self.folder / begun.run_file)
            wear: dict[str, Any] = {
                "slid": end.has_slid,
                "pushes": end.pushes,
                "brought_down": end.brought_down,
            }
            if end.outcome is not None:
                self.add(Ended(at=stamp(at), run_id=begun.run_id, outcome=end.outcome, **wear))
                continue
            cut = Cut(at=stamp(at), run_id=begun.run_id, state=end.state, t_s=end.t_s, **wear)
            self.add(cut)
            cuts.append((begun, cut))
        return cuts

    def unfinished(self) -> OpenSeries | None:
        """The newest series with runs left that is not closed; call `settle` before."""
        planned = next((e for e in reversed(self.entries) if isinstance(e, Planned)), None)
        if planned is None:
            return None
        series = self.series(planned)
        is_closed = any(
            isinstance(e, Closed) and e.series_id == planned.series_id for e in self.entries
        )
        return None if is_closed or not series.remaining else series

    def series(self, planned: Planned) -> OpenSeries:
        """Progress of a series."""
        ends = {e.run_id: e for e in self.entries if isinstance(e, Ended | Cut)}
        counted: dict[int, str] = {}
        slides = 0
        for begun in self._of(planned.series_id):
            end = ends.get(begun.run_id)
            slides += 0 if end is None else end.slides
            if isinstance(end, Ended) and end.outcome in COUNTED:
                counted[begun.repeat] = begun.run_file
        return OpenSeries(planned=planned, counted=counted, slides=slides)

    def _of(self, series_id: str) -> Iterable[Begun]:
        return (e for e in self.entries if isinstance(e, Begun) and e.series_id == series_id)

    def wear(self, bag: str | None, face: str | None) -> Wear:
        """Slides and pushes of one bag face, over all series in this folder."""
        mine = {
            e.run_id
            for e in self.entries
            if isinstance(e, Begun) and (e.bag, e.face) == (bag, face)
        }
        ends = [e for e in self.entries if isinstance(e, Ended | Cut) and e.run_id in mine]
        return Wear(
            slides=sum(e.slides for e in ends),
            pushes=sum(e.pushes for e in ends),
        )


def stamp(at: datetime) -> str:
    """Wall time as written in this log."""
    return utc_text(at, "milliseconds")


def unfinished_in(folder: Path) -> OpenSeries:
    """The series in a folder that can be resumed.

    Raises:
        BadInputError: there is none.
        BusyError: another process is making it.
    """
    if (folder / NAME).exists():
        with SeriesLog(folder) as log:
            found = log.unfinished()
        if found is not None:
            return found
    raise BadInputError(f"There is no unfinished series in {folder}; begin one with `rig run`.")
