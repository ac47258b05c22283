"""Results of run files, kept in a hidden folder of the study, used again only if nothing changed.

A kept result is found by a key over the run file's bytes, the code that analyses (all of it, byte
for byte, and the versions of numpy and scipy), and the calibration. The file is read and hashed
every time; neither its name nor its time stamps are believed. Each kept result carries a check of
its own: one that reads otherwise than it was written is made again.
"""

import hashlib
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress
from functools import lru_cache, partial
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Literal

import msgspec

from rig.analysis.home import HomeReading, home_reading
from rig.analysis.row import RunResult
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.files.durable import make_folder, replace_file
from rig.runfile.reader import RunFile, parse_run

FOLDER = ".rig-results"
NAME = "results.msgpack"
MANY = 24
"""From this many files on, other processes help to analyse them."""
WORKERS = 2
CODE = ("analysis", "calibration", "runfile", "settings")


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

_encoder = msgspec.msgpack.Encoder()
_decoder = msgspec.msgpack.Decoder(Kept)
_store = msgspec.msgpack.Decoder(dict[str, bytes])
DIGEST = 16


@lru_cache(maxsize=1)
def analysis_version() -> str:
    """A digest of the code that turns files into results, and of the libraries it computes with."""
    digest = hashlib.blake2b(digest_size=16)
    root = Path(__file__).resolve().parents[2]
    for package in CODE:
        for path in sorted((root / package).rglob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    digest.update(Path(__file__).read_bytes())
    digest.update(f"{version('numpy')} {version('scipy')}".encode())
    return digest.hexdigest()


def results_of(
    files: Iterable[Path], folder: Path, calibration: Calibration | None = None
) -> dict[Path, Kept]:
    """The results of run files, analysed only where no kept result fits.

    Args:
        files: run files.
        folder: the study, where results are kept; one that can't be written to is no error.
        calibration: used instead of those in the files.
    """
    paths = list(files)
    salt = analysis_version().encode()
    if calibration is not None:
        salt += msgspec.json.encode(calibration)
    store = folder / FOLDER / NAME
    kept = _load(store)
    work = partial(_look, salt=salt, known=frozenset(kept), calibration=calibration)
    looked = dict(zip(paths, _all(work, paths, few=len(paths) - len(kept) < MANY), strict=True))
    found = {key: kept[key] if fresh is None else fresh for key, fresh in looked.values()}
    if found.keys() != kept.keys():
        _save(store, found)
    return {path: _named(found[key], path) for path, (key, _) in looked.items()}


def _all(work: Callable[[Path], Looked], paths: list[Path], *, few: bool) -> list[Looked]:
    if few:
        with ThreadPoolExecutor(WORKERS) as pool:
            return list(pool.map(work, paths))
    # A server process forks the workers, since this one may have threads by now.
    with ProcessPoolExecutor(WORKERS, get_context("forkserver")) as pool:
        return list(pool.map(work, paths, chunksize=8))


def _look(
    path: Path, *, salt: bytes, known: frozenset[str], calibration: Calibration | None
) -> Looked:
    """Read a file once: its key, and its result unless that is known."""
    digest = hashlib.blake2b(salt, digest_size=16)
    try:
        data = path.read_bytes()
    except OSError as error:
        problem = f"{path} can't be read ({error.strerror}); check its rights."
        digest.update(problem.encode())
        return digest.hexdigest(), Kept(result=None, problems=(problem,))
    digest.update(data)
    key = digest.hexdigest()
    return key, None if key in known else _analyse(path, data, calibration)


def _named(kept: Kept, path: Path) -> Kept:
    """The same with the file's present place: a kept result knows where the file was, not is."""
    if kept.result is None or kept.result.run_file == str(path):
        return kept
    result = msgspec.structs.replace(kept.result, run_file=str(path))
    return msgspec.structs.replace(kept, result=result)


def _load(store: Path) -> dict[str, Kept]:
    """What is kept and sound; nothing if there is none or it is of another form."""
    try:
        entries = _store.decode(store.read_bytes())
    except (OSError, ValueError):
        return {}
    return {
        key: _decoder.decode(entry[DIGEST:])
        for key, entry in entries.items()
        if entry[:DIGEST] == _digest(key, entry[DIGEST:])
    }


def _digest(key: str, data: bytes) -> bytes:
    return hashlib.blake2b(key.encode() + b"\0" + data, digest_size=DIGEST).digest()


def _save(store: Path, kept: dict[str, Kept]) -> None:
    """Replace the store in one step, so that a reader sees the old one or the new one."""
    with suppress(OSError):  # a study on a read-only disk is analysed every time
        make_folder(store.parent)
        replace_file(store, _encoder.encode(dict(map(_sealed, kept.items()))))


def _sealed(item: tuple[str, Kept]) -> tuple[str, bytes]:
    key, kept = item
    data = _encoder.encode(kept)
    return key, _digest(key, data) + data


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
