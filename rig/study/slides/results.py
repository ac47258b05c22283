"""Results of run files, kept in a hidden folder of the study, used again only if nothing changed.

A kept result is found by a key over the run file's bytes, the code that analyses (all of it, byte
for byte, and the versions of numpy and scipy), and the calibration. The file is read and hashed
every time; neither its name nor its time stamps are believed. Each kept result carries a check of
its own: one that reads otherwise than it was written is made again.
"""

import hashlib
import subprocess
import sys
from collections.abc import Iterable
from contextlib import suppress
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

import msgspec

from rig.calibration.model import Calibration
from rig.files.durable import make_folder, replace_file
from rig.study.slides.look import Contents, Kept, Looked, Order, look

FOLDER = ".rig-results"
NAME = "results.msgpack"
MANY = 24
"""From this many files on, another process takes half of them."""
CODE = ("analysis", "calibration", "runfile", "settings")


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
    digest.update((Path(__file__).parent / "look.py").read_bytes())
    digest.update(f"{version('numpy')} {version('scipy')}".encode())
    return digest.hexdigest()


def results_of(
    files: Iterable[Path],
    folder: Path,
    calibration: Calibration | None = None,
    contents: Contents | None = None,
) -> dict[Path, Kept]:
    """The results of run files, analysed only where no kept result fits.

    Args:
        files: run files.
        folder: the study, where results are kept; one that cannot be written to is not an error.
        calibration: used instead of those in the files.
        contents: gets the bytes that were read; then this process does all of the work.
    """
    paths = list(files)
    salt = analysis_version().encode()
    if calibration is not None:
        salt += msgspec.json.encode(calibration)
    store = folder / FOLDER / NAME
    kept = _load(store)
    order = Order(
        paths=[str(path) for path in paths],
        salt=salt,
        known=frozenset(kept),
        calibration=calibration,
    )
    is_shared = contents is None and len(paths) - len(kept) >= MANY
    done = _shared(order) if is_shared else look(order, contents)
    looked = dict(zip(paths, done, strict=True))
    found = {key: kept[key] if fresh is None else fresh for key, fresh in looked.values()}
    if found.keys() != kept.keys():
        _save(store, found)
    return {path: _named(found[key], path) for path, (key, _) in looked.items()}


def _shared(order: Order) -> list[Looked]:
    """The same with half of the work done by another process; all of it here if that fails."""
    middle = len(order.paths) // 2
    mine, other = (
        msgspec.structs.replace(order, paths=part)
        for part in (order.paths[:middle], order.paths[middle:])
    )
    with subprocess.Popen(
        [sys.executable, "-m", "rig.study.slides.look"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as process:
        assert process.stdin is not None  # noqa: S101 - it was asked for
        assert process.stdout is not None  # noqa: S101
        with suppress(BrokenPipeError):
            process.stdin.write(msgspec.msgpack.encode(other))
            process.stdin.close()
        done = look(mine)
        answer = process.stdout.read()
    if process.returncode != 0:
        return done + look(other)
    return done + msgspec.msgpack.decode(answer, type=list[Looked])


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
