"""Draws of a study, kept in its hidden folder and used again as long as nothing has changed.

They are found by a digest of the reduced slide table, the model's code and the libraries it
computes with. A CRC-32 (ISO 3309) over all shows damage; what is damaged is made again.
"""

import hashlib
from collections.abc import Sequence
from contextlib import suppress
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from zlib import crc32

import msgspec
import numpy as np

from rig.files.durable import make_folder, replace_file
from rig.study.folder.study import Study
from rig.study.model.data import ModelData, facts_of, model_data
from rig.study.model.draws import Draws
from rig.study.model.history import Played
from rig.study.model.others import NOBODY, Bound
from rig.study.model.posterior import About
from rig.study.slides.results import FOLDER
from rig.study.slides.table import SlideTable

NAME = "draws.msgpack"
WITH_OTHERS = "draws-with-others.msgpack"
CHECK_BYTES = 4


class Stored(msgspec.Struct, frozen=True, kw_only=True):
    """Draws as they lie on the disk, numbers as little-endian 32-bit floats."""

    key: str
    about: About
    values: dict[str, bytes]
    linear: bytes


_encoder = msgspec.msgpack.Encoder()
_decoder = msgspec.msgpack.Decoder(Stored)


def draws_of(
    study: Study, table: SlideTable, plays: Sequence[Played] = (), bound: Bound = NOBODY
) -> Draws:
    """The draws of a study, made afresh only where no kept ones fit.

    Args:
        study: opened afresh.
        table: its slides.
        plays: throws between measurements.
        bound: what other owners' studies say.

    Raises:
        BadInputError: no slide counts.
    """
    data = model_data(table.slides, facts_of(study, plays))
    store = study.path / FOLDER / (WITH_OTHERS if bound.readings else NAME)
    key = key_of(data, bound)
    kept = load(store, key)
    if kept is None:
        from rig.study.model.fit import fit  # what reads kept draws needs no scipy

        kept = fit(data, bound=bound)
        with suppress(OSError):  # a study on a read-only disk is fitted every time
            save(store, key, kept)
    return kept


def key_of(data: ModelData, bound: Bound = NOBODY) -> str:
    """A digest of all that the draws hang on."""
    digest = hashlib.blake2b(_encoder.encode(data), digest_size=16)
    digest.update(_encoder.encode(bound) if bound.readings else b"")
    digest.update(_code_digest())
    return digest.hexdigest()


@lru_cache(maxsize=1)
def _code_digest() -> bytes:
    digest = hashlib.blake2b(digest_size=16)
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    digest.update(f"{version('numpy')} {version('scipy')}".encode())
    return digest.digest()


def save(store: Path, key: str, draws: Draws) -> None:
    """Replace the kept draws; raises OSError."""
    values = {name: _bytes(array) for name, array in draws.values.items()}
    stored = Stored(key=key, about=draws.about, values=values, linear=_bytes(draws.linear))
    data = _encoder.encode(stored)
    make_folder(store.parent)
    replace_file(store, crc32(data).to_bytes(CHECK_BYTES, "little") + data)


def load(store: Path, key: str) -> Draws | None:
    """The kept draws, if they are sound and of this key."""
    try:
        found = store.read_bytes()
        if crc32(found[CHECK_BYTES:]).to_bytes(CHECK_BYTES, "little") != found[:CHECK_BYTES]:
            return None
        stored = _decoder.decode(found[CHECK_BYTES:])
    except (OSError, ValueError):
        return None
    if stored.key != key:
        return None
    values = {
        name: np.frombuffer(data, dtype="<f4").astype(np.float64)
        for name, data in stored.values.items()
    }
    linear = np.frombuffer(stored.linear, dtype="<f4").reshape(len(stored.about.columns), -1)
    return Draws(stored.about, values, linear)


def _bytes(array: np.ndarray[tuple[int, ...], np.dtype[np.floating]]) -> bytes:
    return array.astype("<f4").tobytes()
