"""Results of run files, kept in a hidden folder of the study, used again only if nothing changed.

A kept result is found by a key over the run file's bytes, the code that analyses (all of it, byte
for byte, and the versions of numpy and scipy), and the calibration. The file is read and hashed
every time; neither its name nor its time stamps are believed.
"""

import hashlib
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress
from functools import lru_cache
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Literal

import msgspec

from rig.analysis.row import RunResult
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.files.durable import make_folder, replace_file
from rig.runfile.reader import RunFile, read_run

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
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"
    source: str = ""
    problems: tuple[str, ...] = ()


_encoder = msgspec.msgpack.Encoder()
_decoder = msgspec.msgpack.Decoder(dict[str, Kept])


@lru_cache(maxsize=1)
def analysis_version() -> str:
    """A digest of the code that turns files into results, and of the libraries it computes with."""
    digest = hashlib.blake2b(digest_size=16)
    root = Path(__file__).resolve().parent.parent
    for package in CODE:
        for path in sorted((root / package).rglob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
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
    with ThreadPoolExecutor(WORKERS) as pool:
        keys = dict(zip(paths, pool.map(lambda path: _key(path, salt), paths), strict=True))
    store = folder / FOLDER / NAME
    kept = _load(store)
    missing = [path for path, key in keys.items() if key not in kept]
    if missing:
        fresh = dict(zip(missing, _analyse_all(missing, calibration), strict=True))
        # The file may have grown since it was hashed, so what is kept is what was hashed again.
        for path, one in fresh.items():
            kept[keys[path]] = one
        unchanged = {p for p in missing if _key(p, salt) == keys[p]}
        in_use = {key: kept[key] for p, key in keys.items() if p not in fresh or p in unchanged}
        _save(store, in_use)
    return {path: _named(kept[key], path) for path, key in keys.items()}


def _named(kept: Kept, path: Path) -> Kept:
    """The same with the file's present place: a kept result knows where the file was, not is."""
    if kept.result is None or kept.result.run_file == str(path):
        return kept
    result = msgspec.structs.replace(kept.result, run_file=str(path))
    return msgspec.structs.replace(kept, result=result)


def _key(path: Path, salt: bytes) -> str:
    digest = hashlib.blake2b(salt, digest_size=16)
    try:
        digest.update(path.read_bytes())
    except OSError as error:
        raise BadInputError(f"{path} can't be read ({error.strerror}); check its rights.") from None
    return digest.hexdigest()


def _load(store: Path) -> dict[str, Kept]:
    """What is kept; nothing if there is none or it is damaged or of another form."""
    try:
        return _decoder.decode(store.read_bytes())
    except (OSError, msgspec.DecodeError, msgspec.ValidationError):
        return {}


def _save(store: Path, kept: dict[str, Kept]) -> None:
    """Replace the store in one step, so that a reader sees the old one or the new one."""
    with suppress(OSError):  # a study on a read-only disk is analysed every time
        make_folder(store.parent)
        replace_file(store, _encoder.encode(kept))


def _analyse_all(paths: list[Path], calibration: Calibration | None) -> list[Kept]:
    if len(paths) < MANY:
        return [_analyse(path, calibration) for path in paths]
    # A server process forks the workers, since this one may have threads by now.
    with ProcessPoolExecutor(WORKERS, get_context("forkserver")) as pool:
        return list(pool.map(_analyse, paths, [calibration] * len(paths), chunksize=8))


def _analyse(path: Path, calibration: Calibration | None) -> Kept:
    try:
        return kept_of(read_run(path), calibration)
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
        approach=run.header.approach,
        source=run.header.source,
        problems=tuple(run.problems),
    )
