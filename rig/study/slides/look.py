"""Looks at run files, each opened once: what it is known by, and what the analysis makes of it.

`python -m rig.study.slides.look` takes an order on its standard input and answers on its standard
output, so that another processor can share the work.
"""

import hashlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import msgspec

from rig.analysis.home import HomeReading, home_reading
from rig.analysis.row import RunResult
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.reader import RunFile, parse_run, read_bytes

if TYPE_CHECKING:
    from rig.analysis.friction import RunAnalysis


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """What is kept of one run: its row, and what the statistics need from its header."""

    result: RunResult | None
    """None for a file that can't be used; `problems` says why."""
    started_at: str = ""
    source: Literal["rig", "twin", "hand"] | None = None
    rig: str | None = None
    operator: str | None = None
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"
    conditioned_h: float | None = None
    bag_mass_g: float | None = None
    home: HomeReading | None = None
    is_unchecked: bool = False
    """Its last line has no check, as an older program wrote it."""
    problems: tuple[str, ...] = ()


Looked = tuple[str, Kept | None]
"""A file's key, and its result where none was kept."""


class Order(msgspec.Struct, frozen=True, kw_only=True):
    """Files to look at."""

    paths: list[str]
    salt: bytes
    """Of the keys: all that a result depends on beside the file."""
    known: frozenset[str]
    """Keys whose results are not wanted again."""
    calibration: Calibration | None
    """Used instead of those in the files."""


class Contents:
    """Bytes of run files that were looked at, so that none has to be opened a second time.

    Args:
        most_bytes: no more than this is kept; what is beyond must be read again.
    """

    def __init__(self, most_bytes: int = 100_000_000) -> None:
        self._left = most_bytes
        self._data: dict[Path, bytes] = {}

    def add(self, path: Path, data: bytes) -> None:
        """Keep a file's bytes if there is room."""
        if len(data) <= self._left:
            self._left -= len(data)
            self._data[path] = data

    def run(self, path: Path) -> RunFile:
        """The run of a file; raises BadInputError as `read_run` does."""
        data = self._data.get(path)
        return parse_run(path, read_bytes(path) if data is None else data)


def look(order: Order, contents: Contents | None = None) -> list[Looked]:
    """Look at every file of an order; what was read goes into `contents`."""
    return [_look(Path(path), order, contents) for path in order.paths]


def _look(path: Path, order: Order, contents: Contents | None) -> Looked:
    digest = hashlib.blake2b(order.salt, digest_size=16)
    try:
        data = path.read_bytes()
    except OSError as error:
        problem = f"{path} can't be read ({error.strerror}); check its rights."
        digest.update(problem.encode())
        return digest.hexdigest(), Kept(result=None, problems=(problem,))
    if contents is not None:
        contents.add(path, data)
    digest.update(data)
    key = digest.hexdigest()
    return key, None if key in order.known else kept_in(path, data, order.calibration)


def kept_in(path: Path, data: bytes, calibration: Calibration | None = None) -> Kept:
    """What is kept of a run file that was read; of one that can't be used, why not."""
    try:
        return kept_of(parse_run(path, data), calibration)
    except BadInputError as error:
        return Kept(result=None, problems=(str(error),))


def kept_of(run: RunFile, calibration: Calibration | None = None) -> Kept:
    """Analyse a run that was read.

    Raises:
        BadInputError: it can't be used.
    """
    from rig.analysis.friction import analyse_run

    return kept_from(analyse_run(run, calibration))


def kept_from(analysis: "RunAnalysis") -> Kept:
    """What is kept of an analysis."""
    run = analysis.run
    return Kept(
        result=analysis.result,
        started_at=run.header.started_at,
        source=run.header.source,
        rig=run.header.rig,
        operator=run.header.operator,
        approach=run.header.approach,
        conditioned_h=run.header.conditioned_h,
        bag_mass_g=run.header.bag_mass_g,
        home=home_reading(run),
        is_unchecked=run.is_unchecked,
        problems=tuple(run.problems),
    )


def main() -> None:
    """Answer one order."""
    order = msgspec.msgpack.decode(sys.stdin.buffer.read(), type=Order)
    sys.stdout.buffer.write(msgspec.msgpack.encode(look(order)))


if __name__ == "__main__":
    main()
