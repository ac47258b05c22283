"""What is known of each run file that was ever read, so that only new ones are read again.

The index lies in the dataset as `_index/seen/NUMBER-DIGEST.msgpack`, a file for each batch, named
by a digest of its content and checked against it when it is read: one that reads otherwise than it
was written is thrown away, and its run files are read again. Where a file lies is kept as a keyed
hash. Of the results themselves only what is being worked on is in memory.
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import NamedTuple

import msgspec

from rig.errors import BadInputError
from rig.files.durable import make_folder, replace_file
from rig.gather.schema import month_of
from rig.study.slides.look import Kept

DIGEST_BYTES = 8
FILES_IN_MEMORY = 4


class Entry(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """A run file and what came of it."""

    place: bytes
    mark: str
    digest: bytes
    n_bytes: int
    code: str
    is_loose: bool
    kept: Kept
    """With tokens in place of names, unless the dataset has names."""


class Known(NamedTuple):
    """What of it is kept in memory."""

    mark: str
    digest: bytes
    n_bytes: int
    code: str
    is_loose: bool
    run_id: str
    """Empty for a file that can't be used."""
    rig: str | None
    month: str | None
    has_problems: bool
    file: str
    """Of the index."""


_encoder = msgspec.msgpack.Encoder()
_decoder = msgspec.msgpack.Decoder(list[Entry])


class Index:
    """The index of a dataset.

    Args:
        folder: where it lies; made if it is not there.

    Raises:
        BadInputError: it can't be read or made.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.known: dict[bytes, Known] = {}
        self._strings: dict[str, str] = {}
        self._number = 0
        self._load = lru_cache(maxsize=FILES_IN_MEMORY)(self._read)
        try:
            make_folder(folder)
            for path in sorted(folder.glob("*.msgpack")):
                self._number = max(self._number, int(path.name.partition("-")[0]))
                try:
                    entries = self._read(path.name)
                except ValueError:
                    path.unlink()
                    continue
                self._take(entries, path.name)
        except (OSError, ValueError) as error:
            raise BadInputError(f"The index in {folder} can't be read: {error}.") from error

    def add(self, entries: Sequence[Entry]) -> None:
        """Keep a batch; it is on the disk when this returns.

        Raises:
            BadInputError: it can't be written.
        """
        data = _encoder.encode(entries)
        self._number += 1
        name = f"{self._number:08d}-{_digest(data)}.msgpack"
        try:
            replace_file(self._folder / name, data)
        except OSError as error:
            raise BadInputError(
                f"Cannot write to {self._folder}: {error.strerror or error}; check its permissions"
                " and the free space. What was read so far is kept."
            ) from error
        self._take(entries, name)

    def kept(self, places: Iterable[bytes]) -> dict[bytes, Kept]:
        """The results of files that are known."""
        wanted = list(places)
        found: dict[bytes, Kept] = {}
        for file in sorted({self.known[place].file for place in wanted}):
            for entry in self._load(file):
                if self.known[entry.place].file == file:
                    found[entry.place] = entry.kept
        return {place: found[place] for place in wanted}

    def drop_unused(self) -> None:
        """Remove files all of whose entries were read again since."""
        used = {one.file for one in self.known.values()}
        for path in self._folder.glob("*.msgpack"):
            if path.name not in used:
                path.unlink(missing_ok=True)

    def loose(self) -> Iterator[tuple[bytes, Known]]:
        """Files that stand on their own, also those of earlier gathers, and can be used."""
        return ((p, one) for p, one in self.known.items() if one.is_loose and one.run_id)

    def _take(self, entries: Iterable[Entry], file: str) -> None:
        for entry in entries:
            result = entry.kept.result
            self.known[entry.place] = Known(
                mark=entry.mark,
                digest=entry.digest,
                n_bytes=entry.n_bytes,
                code=self._one(entry.code),
                is_loose=entry.is_loose,
                run_id="" if result is None else result.run_id,
                rig=None if entry.kept.rig is None else self._one(entry.kept.rig),
                month=None if result is None else month_of(entry.kept.started_at),
                has_problems=bool(entry.kept.problems),
                file=self._one(file),
            )

    def _one(self, text: str) -> str:
        """The same string for equal ones, thousands of which would need room."""
        return self._strings.setdefault(text, text)

    def _read(self, name: str) -> list[Entry]:
        """Entries of a file; ValueError if it was changed or cut off."""
        data = (self._folder / name).read_bytes()
        if _digest(data) != name.partition("-")[2].removesuffix(".msgpack"):
            raise ValueError("it was changed")
        return _decoder.decode(data)


def _digest(data: bytes) -> str:
    return blake2b(data, digest_size=DIGEST_BYTES).hexdigest()
