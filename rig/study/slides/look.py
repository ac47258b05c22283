"""Looks at run files, each opened once: what it is known by, and what the analysis makes of it.

`python -m rig.study.slides.look` takes an order on its standard input and answers on its standard
output, so that another processor can share the work.
"""

import hashlib
import sys
from pathlib import Path
from typing import Literal

import msgspec

from rig.analysis.home import HomeReading, home_reading
from rig.analysis.row import RunResult
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.reader import RunFile, parse_run


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


def look(order: Order) -> list[Looked]:
    """Look at every file of an order."""
    return [_look(Path(path), order) for path in order.paths]


def _look(path: Path, order: Order) -> Looked:
    digest = hashlib.blake2b(order.salt, digest_size=16)
    try:
        data = path.read_bytes()
    except OSError as error:
        problem = f"{path} can't be read ({error.strerror}); check its rights."
        digest.update(problem.encode())
        return digest.hexdigest(), Kept(result=None, problems=(problem,))
    digest.update(data)
    key = digest.hexdigest()
    return key, None if key in order.known else _analyse(path, data, order.calibration)


def _analyse(path: Path, data: bytes, calibration: Calibration | None) -> Kept:
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

    return Kept(
        result=analyse_run(run, calibration).result,
        started_at=run.header.started_at,
        source=run.header.source,
        rig=run.header.rig,
        operator=run.header.operator,
        approach=run.header.approach,
        conditioned_h=run.header.conditioned_h,
        bag_mass_g=run.header.bag_mass_g,
        home=home_reading(run),
        problems=tuple(run.problems),
    )


def main() -> None:
    """Answer one order."""
    order = msgspec.msgpack.decode(sys.stdin.buffer.read(), type=Order)
    sys.stdout.buffer.write(msgspec.msgpack.encode(look(order)))


if __name__ == "__main__":
    main()
