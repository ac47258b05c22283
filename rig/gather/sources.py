"""Where run files and studies lie: a folder, an S3-compatible store, or a web server's folders.

Anything that fsspec reads will do. A study is a folder with a `study.toml`; run files below its
`runs` are the study's, all other `*.run.jsonl` stand on their own.
"""

import os
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from rig.errors import BadInputError
from rig.gather.extra import needed
from rig.runfile.writer import SUFFIX
from rig.study.folder import catalogue_file, journal_file

MARKS = ("ETag", "LastModified", "Last-Modified", "mtime", "last_modified", "updated")
"""What a file system may say that changes with a file's content; the first that is there counts."""


class File(NamedTuple):
    """A file as its source lists it."""

    name: str
    """From the source's root, with forward slashes; empty for a source that is one file."""
    mark: str
    """Another one after a change; empty where the source says nothing that would show it."""


class StudyFiles(NamedTuple):
    """A study in a source."""

    name: str
    """Of its folder, from the source's root; empty for the root itself."""
    has_journal: bool
    runs: list[File]


class Listed(NamedTuple):
    """What a source has."""

    studies: list[StudyFiles]
    loose: list[File]


class GatherSource:
    """A place to read from.

    Args:
        url: a path or a URL that fsspec knows.
    """

    def __init__(self, url: str) -> None:
        self.is_local = "://" not in url
        self.url = os.path.abspath(url) if self.is_local else url.rstrip("/")
        self.shown = re.sub(r"(?<=://)[^/@]*@", "", url)
        """As typed, without a password."""

    def listed(self) -> Listed:
        """Find studies and run files.

        Raises:
            BadInputError: there is nothing there, or it can't be reached.
        """
        try:
            files = dict(self._files())
        except BadInputError:
            raise
        except Exception as error:  # each store has errors of its own
            raise self._unreachable(error) from error
        studies = sorted(
            (name.rpartition("/")[0] for name in files if _is(name, catalogue_file.NAME)),
            key=len,
            reverse=True,
        )
        owned: dict[str, list[File]] = {study: [] for study in studies}
        loose: list[File] = []
        for name in sorted(name for name in files if name == "" or name.endswith(SUFFIX)):
            file = File(name, files[name])
            owner = next((s for s in studies if _is_below(name, s)), None)
            if owner is None:
                loose.append(file)
            elif _is_below(name, f"{owner}/runs" if owner else "runs"):
                owned[owner].append(file)
        return Listed(
            [
                StudyFiles(name, _joined(name, journal_file.NAME) in files, owned[name])
                for name in sorted(studies)
            ],
            loose,
        )

    def read(self, name: str) -> bytes:
        """All of a file.

        Raises:
            BadInputError: it can't be read.
        """
        try:
            return read_from(self.url, name)
        except Exception as error:
            raise self._unreachable(error, name) from error

    def _unreachable(self, error: Exception, name: str = "") -> BadInputError:
        where = f"{self.shown.rstrip('/')}/{name}" if name else self.shown
        why = str(getattr(error, "strerror", None) or error or type(error).__name__)
        return BadInputError(
            f"Cannot read {where}: {why.rstrip('.')}; check its name, the network and your rights."
        )

    def _files(self) -> Iterator[tuple[str, str]]:
        """Names and marks."""
        if self.is_local:
            return _local_files(Path(self.url), self.shown)
        return _remote_files(self.url, self.shown)


def read_from(url: str, name: str) -> bytes:
    """All of a file below a source; raises whatever the file system does."""
    if "://" not in url:
        return Path(url, name).read_bytes()
    fs, root = _opened(url)
    return bytes(fs.cat_file(_joined(root.rstrip("/"), name)))


@lru_cache(maxsize=16)
def _opened(url: str) -> tuple[Any, str]:
    core = needed("fsspec.core")
    protocol = url.partition("://")[0]
    package = {"s3": "s3fs", "s3a": "s3fs", "http": "aiohttp", "https": "aiohttp"}.get(protocol)
    if package is not None:
        needed(package)
    # Listings are taken afresh, so that a long-lived worker sees what has come since.
    found: tuple[Any, str] = core.url_to_fs(url, use_listings_cache=False)
    return found


def _local_files(root: Path, shown: str) -> Iterator[tuple[str, str]]:
    if root.is_file():
        yield "", _local_mark(root)
        return
    if not root.is_dir():
        raise BadInputError(f"There is no file or folder {shown}; check its name.")
    for folder, folders, names in os.walk(root):
        folders.sort()
        for name in names:
            if _matters(name):
                path = Path(folder, name)
                yield path.relative_to(root).as_posix(), _local_mark(path)


def _local_mark(path: Path) -> str:
    try:
        told = path.stat()
    except OSError:
        return ""
    return f"{told.st_size} {told.st_mtime_ns}"


def _remote_files(url: str, shown: str) -> Iterator[tuple[str, str]]:
    fs, root = _opened(url)
    if not url.endswith(SUFFIX) and not fs.isdir(root) and not fs.exists(root):
        raise BadInputError(f"There is nothing at {shown}; check its name.")
    if url.endswith(SUFFIX):
        yield "", _mark(fs.info(root))
        return
    for folder, _, files in fs.walk(root, detail=True):
        for name, info in files.items():
            if _matters(name):
                if info.get("size") is None:  # a web server's page lists names alone
                    info = fs.info(info["name"])
                below = _joined(folder.rstrip("/")[len(root.rstrip("/")) :].strip("/"), name)
                yield below, _mark(info)


def _mark(info: dict[str, Any]) -> str:
    told = next((str(info[key]) for key in MARKS if info.get(key)), "")
    return f"{info.get('size')} {told}" if told else ""


def _matters(name: str) -> bool:
    return name.endswith(SUFFIX) or name in (catalogue_file.NAME, journal_file.NAME)


def _is(name: str, file: str) -> bool:
    return name == file or name.endswith(f"/{file}")


def _is_below(name: str, folder: str) -> bool:
    return not folder or name.startswith(f"{folder}/")


def _joined(folder: str, name: str) -> str:
    return f"{folder}/{name}" if folder and name else folder or name
