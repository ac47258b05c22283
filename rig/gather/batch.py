"""One task: read some run files and analyse them. It runs here or on any worker of a cluster."""

from collections.abc import Sequence
from hashlib import blake2b
from pathlib import Path, PurePosixPath

import msgspec

from rig.gather.sources import read_from
from rig.study.slides.look import Kept, kept_in
from rig.study.slides.results import analysis_version

MOST = 100
"""Files of a task: seconds of work, so that a killed worker costs little."""


class BatchOrder(msgspec.Struct, frozen=True, kw_only=True):
    """Files to be read."""

    url: str
    """Of their source."""
    names: tuple[str, ...]
    """From its root."""
    key: str
    """The same for the same files with the same marks under the same code."""


class Seen(msgspec.Struct, frozen=True, kw_only=True):
    """What came of a file."""

    digest: bytes
    """Of its content; empty if it could not be read."""
    n_bytes: int = 0
    kept: Kept


class BatchDone(msgspec.Struct, frozen=True, kw_only=True):
    """What came of an order, file by file."""

    code: str
    """Of the analysis that was at work."""
    seen: tuple[Seen, ...]


_encoder = msgspec.msgpack.Encoder()
decoder = msgspec.msgpack.Decoder(BatchDone)


def make(order: BatchOrder) -> bytes:
    """Do an order; returns a `BatchDone` as MessagePack, the same bytes from any process."""
    seen = tuple(_seen(order.url, name) for name in order.names)
    return _encoder.encode(BatchDone(code=analysis_version(), seen=seen))


def _seen(url: str, name: str) -> Seen:
    # Sentences name the file alone: folders may be called after people.
    own = PurePosixPath(name or url.rpartition("/")[2]).name
    try:
        data = read_from(url, name)
    except Exception as error:
        why = getattr(error, "strerror", None) or error or type(error).__name__
        return Seen(digest=b"", kept=refused(f"{own} can't be read ({why}); check its rights."))
    digest = blake2b(data, digest_size=16).digest()
    try:
        kept = kept_in(Path(own), data)
    except Exception as error:  # one file among thousands must never end a gather
        kept = refused(f"{own} can't be analysed ({type(error).__name__}); it is left out.")
    return Seen(digest=digest, n_bytes=len(data), kept=kept)


def joined(parts: Sequence[bytes | None], names: Sequence[str]) -> bytes:
    """Results of orders for one file each, as if they had been one; None ended its worker."""
    code, seen = analysis_version(), []
    for name, part in zip(names, parts, strict=True):
        if part is None:
            seen.append(Seen(digest=b"", kept=refused(lost_words(PurePosixPath(name).name))))
        else:
            done = decoder.decode(part)
            code = done.code
            seen += done.seen
    return _encoder.encode(BatchDone(code=code, seen=tuple(seen)))


def lost_words(name: str) -> str:
    """The sentence about a file that ended whatever read it."""
    return f"{name} ended every process that read it; it is left out, and tried again next time."


def refused(why: str) -> Kept:
    """The result of a file that can't be used."""
    return Kept(result=None, problems=(why,))
