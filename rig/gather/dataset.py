"""A dataset on the disk: its parts, what they were made of, and how one set replaces another.

```
DATASET/dataset.json                          format, version, whether it has names
DATASET/slides/rig=RIG/month=MONTH/PART.parquet
DATASET/problems.csv                          files that could not be used, and why
DATASET/_index/                               what was read, and which parts count
```

A *unit* is a study, or the loose run files of one rig and month. Its parts are staged, then its
manifest is replaced in one step, then the parts are moved to their places and older ones removed.
A gather that was killed in between is put right by the next one: manifests say what counts.
"""

from collections.abc import Iterable, Mapping
from hashlib import blake2b
from pathlib import Path
from typing import Any

import msgspec

from rig.errors import BadInputError
from rig.files.durable import make_folder, replace_file
from rig.gather.rows import Partition, Row
from rig.gather.schema import FORMAT, VERSION, folder_of, schema
from rig.gather.tokens import Tokens

CHECK_BYTES = 16
STEM = 16
"""Characters that stand for a unit in the names of its manifest and parts."""


class DatasetPart(msgspec.Struct, frozen=True, array_like=True):
    """One Parquet file."""

    path: str
    """From `slides`."""
    digest: bytes
    """Of its bytes."""
    n_rows: int


class DatasetUnit(msgspec.Struct, frozen=True, kw_only=True):
    """What counts of a study, or of the loose run files of a rig and month."""

    key: str
    name: str = ""
    """Of the study."""
    inputs: bytes
    """A digest of all that its rows were made of."""
    parts: tuple[DatasetPart, ...]
    contents: tuple[bytes, ...] = ()
    """Digests of the run files in it."""
    run_ids: tuple[str, ...] = ()
    journal_lines: int = 0


class DatasetAbout(msgspec.Struct, frozen=True, kw_only=True):
    """`dataset.json`."""

    format: str
    version: int
    with_names: bool = False
    secret: str = ""
    """The fingerprint of what the tokens were made with."""


_encoder = msgspec.msgpack.Encoder()
_decoder = msgspec.msgpack.Decoder(DatasetUnit)


class Dataset:
    """A dataset that is written to; its folder must be locked.

    Args:
        folder: of the dataset; made if it is not there.
        tokens: that stand for people's names in it.

    Raises:
        BadInputError: it is another thing, of a newer program, or with other tokens.
    """

    def __init__(self, folder: Path, tokens: Tokens) -> None:
        self.folder = folder
        self.slides = folder / "slides"
        self._units = folder / "_index" / "units"
        self._staged = folder / "_index" / "staged"
        self.units: dict[str, DatasetUnit] = {}
        self.unsound: set[str] = set()
        """Units with a part that is gone or was changed."""
        try:
            self._open(tokens)
            self._settle()
        except OSError as error:
            raise _cannot_write(folder, error) from error

    def put(self, unit: DatasetUnit, rows: Mapping[Partition, list[Row]]) -> None:
        """Let these rows be the unit's, whatever was there before; `unit.parts` is filled in here.

        Raises:
            BadInputError: it can't be written.
        """
        parts = []
        old = {part.path for part in self._parts(unit.key)}
        try:
            make_folder(self._staged)
            for partition in sorted(rows, key=str):
                data = parquet_bytes(rows[partition])
                name = f"{_stem(unit.key)}-{_digest(data).hex()}.parquet"
                path = f"{folder_of(*partition)}/{name}"
                parts.append(DatasetPart(path, _digest(data), len(rows[partition])))
                if path not in old or unit.key in self.unsound:
                    replace_file(self._staged / name, data)
            unit = msgspec.structs.replace(unit, parts=tuple(parts))
            data = _encoder.encode(unit)
            replace_file(self._manifest(unit.key), _digest(data) + data)
            self.units[unit.key] = unit
            self.unsound.discard(unit.key)
            self._move(unit.parts)
            if _stem(unit.key) in self._damaged:
                old |= {self._below(one) for one in self.slides.rglob(f"{_stem(unit.key)}-*")}
                self._damaged.discard(_stem(unit.key))
            for path in old - {part.path for part in parts}:
                (self.slides / path).unlink(missing_ok=True)
        except OSError as error:
            raise _cannot_write(self.folder, error) from error

    def drop(self, key: str) -> None:
        """Take a unit out."""
        parts = self._parts(key)
        self._manifest(key).unlink(missing_ok=True)
        self.units.pop(key, None)
        for part in parts:
            (self.slides / part.path).unlink(missing_ok=True)

    def _open(self, tokens: Tokens) -> None:
        about = self.folder / "dataset.json"
        if about.exists():
            found = read_about(self.folder)
            check_tokens(found, tokens, self.folder)
        elif any(not one.name.startswith(".") for one in self.folder.iterdir()):
            raise BadInputError(
                f"{self.folder} has other files in it; name a new folder for the dataset."
            )
        else:
            made = DatasetAbout(
                format=FORMAT,
                version=VERSION,
                with_names=tokens.with_names,
                secret=tokens.fingerprint,
            )
            replace_file(about, msgspec.json.format(msgspec.json.encode(made)) + b"\n")
        make_folder(self.slides)
        make_folder(self._units)

    def _settle(self) -> None:
        """Finish what an earlier gather could not, and see that every part is as it was written."""
        self.units, self._damaged = read_units(self.folder)
        wanted = {part.path for unit in self.units.values() for part in unit.parts}
        for unit in self.units.values():
            self._move(unit.parts)
            if not all(is_sound(self.slides, part) for part in unit.parts):
                self.unsound.add(unit.key)
        for path in self.slides.rglob("*.parquet"):
            # Those whose manifest is damaged stay until their unit is gathered again.
            if self._below(path) not in wanted and path.name[:STEM] not in self._damaged:
                path.unlink()
        if self._staged.is_dir():
            for path in self._staged.iterdir():
                path.unlink()

    def _move(self, parts: Iterable[DatasetPart]) -> None:
        for part in parts:
            target = self.slides / part.path
            staged = self._staged / target.name
            if staged.exists():
                make_folder(target.parent)
                staged.replace(target)

    def _parts(self, key: str) -> tuple[DatasetPart, ...]:
        unit = self.units.get(key)
        return () if unit is None else unit.parts

    def _manifest(self, key: str) -> Path:
        return self._units / f"{_stem(key)}.msgpack"

    def _below(self, path: Path) -> str:
        return path.relative_to(self.slides).as_posix()


def read_about(folder: Path) -> DatasetAbout:
    """What a dataset says of itself.

    Raises:
        BadInputError: it is none, or of a newer program.
    """
    path = folder / "dataset.json"
    try:
        about = msgspec.json.decode(path.read_bytes(), type=DatasetAbout)
    except FileNotFoundError:
        raise BadInputError(
            f"{folder} is not a dataset of slides; `rig gather SOURCE --out {folder}` makes one."
        ) from None
    except (OSError, ValueError) as error:
        raise BadInputError(f"{path} can't be read: {error}.") from error
    if about.format != FORMAT:
        raise BadInputError(f"{path} is not of a dataset of slides: its format is another one.")
    if about.version > VERSION:
        raise BadInputError(
            f"{folder} is a dataset of version {about.version}, and this program knows up to"
            f" {VERSION}; update the program."
        )
    return about


def check_tokens(about: DatasetAbout, tokens: Tokens, folder: Path) -> None:
    """Raise BadInputError unless names are hidden in the dataset as they would be now."""
    if about.with_names != tokens.with_names:
        has = "has people's names in it" if about.with_names else "hides people's names"
        raise BadInputError(
            f"{folder} {has}; {'add' if about.with_names else 'leave out'} --with-names, or gather"
            " into a new folder."
        )
    if about.secret != tokens.fingerprint:
        raise BadInputError(
            f"{folder} was begun with another secret, so the same people would get other tokens:"
            " copy `names.key` from the other computer's configuration folder, or gather into a"
            " new folder."
        )


def read_units(folder: Path) -> tuple[dict[str, DatasetUnit], set[str]]:
    """The units of a dataset, and the names of the manifests that are damaged."""
    found: dict[str, DatasetUnit] = {}
    damaged: set[str] = set()
    for path in sorted((folder / "_index" / "units").glob("*.msgpack")):
        data = path.read_bytes()
        if _digest(data[CHECK_BYTES:]) == data[:CHECK_BYTES]:
            unit = _decoder.decode(data[CHECK_BYTES:])
            found[unit.key] = unit
        else:
            damaged.add(path.stem)
    return found, damaged


def is_sound(slides: Path, part: DatasetPart) -> bool:
    """Whether a part is as it was written."""
    try:
        return _digest((slides / part.path).read_bytes()) == part.digest
    except OSError:
        return False


def parquet_bytes(rows: list[Row]) -> bytes:
    """Rows as a Parquet file; the same rows give the same bytes under the same pyarrow."""
    pa, pq = _arrow()
    sink = pa.BufferOutputStream()
    pq.write_table(pa.Table.from_pylist(rows, schema=schema()), sink)
    return bytes(sink.getvalue().to_pybytes())


def _arrow() -> tuple[Any, Any]:
    from rig.gather.extra import needed

    return needed("pyarrow"), needed("pyarrow.parquet")


def _stem(key: str) -> str:
    return blake2b(key.encode(), digest_size=STEM // 2).hexdigest()


def _digest(data: bytes) -> bytes:
    return blake2b(data, digest_size=CHECK_BYTES).digest()


def _cannot_write(folder: Path, error: OSError) -> BadInputError:
    return BadInputError(
        f"Cannot write to {folder}: {error.strerror or error}; check its permissions and the free"
        " space. What was read so far is kept."
    )
