"""Gathers: lists the sources, has new run files read, and renews the units that have changed."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from hashlib import blake2b
from pathlib import Path
from typing import NamedTuple

import msgspec

from rig.errors import BadInputError
from rig.files.lock import Busy, locked
from rig.gather import batch
from rig.gather.batch import BatchOrder
from rig.gather.dataset import Dataset
from rig.gather.index import Entry, Index
from rig.gather.sources import File, GatherSource
from rig.gather.tokens import Tokens
from rig.gather.units import Problem, StudyAt, renew_loose, renew_studies, write_problems
from rig.study.slides.results import analysis_version

Work = Callable[[Iterable[BatchOrder]], Iterator[tuple[BatchOrder, bytes]]]
"""Does orders, here or elsewhere, and hands over what came of each in any order."""
Told = Callable[[int, int], None]
"""Gets the run files read so far, and how many there are to be read."""


class Gathered(NamedTuple):
    """What came of a gather."""

    n_files: int
    """Run files in the sources."""
    n_read: int
    """Of them read now."""
    n_studies: int
    n_slides: int
    """In the dataset."""
    n_parts: int
    problems: list[Problem]
    notes: list[str]


class _Wanted(NamedTuple):
    place: bytes
    file: File
    is_loose: bool


def here(orders: Iterable[BatchOrder]) -> Iterator[tuple[BatchOrder, bytes]]:
    """Do the work in this process."""
    return ((order, batch.make(order)) for order in orders)


def gather(
    urls: Sequence[str],
    out: Path,
    tokens: Tokens,
    *,
    work: Work = here,
    told: Told = lambda done, total: None,
    reread: bool = False,
) -> Gathered:
    """Bring a dataset up to date with its sources.

    What was gathered from other sources stays, and so do loose run files that are gone from these.

    Args:
        urls: folders, run files, or URLs that fsspec knows.
        out: the dataset's folder.
        tokens: that stand for people's names.
        work: where run files are read.
        told: hears of progress.
        reread: read all files again, also those that look the same.

    Raises:
        BadInputError: a source can't be read, or the dataset can't be written.
    """
    sources = [GatherSource(url) for url in urls]
    listed = [source.listed() for source in sources]
    out.mkdir(parents=True, exist_ok=True)
    try:
        with locked(out, wait=False):
            dataset = Dataset(out, tokens)
            index = Index(out / "_index" / "seen")
            n_files = n_read = 0
            studies: list[StudyAt] = []
            where: dict[bytes, str] = {}
            wanted: list[tuple[GatherSource, list[_Wanted]]] = []
            for source, found in zip(sources, listed, strict=True):
                files = [
                    *((run, False) for study in found.studies for run in study.runs),
                    *((file, True) for file in found.loose),
                ]
                mine = [
                    _Wanted(tokens.place(source.url, file.name), file, is_loose)
                    for file, is_loose in files
                ]
                n_files += len(mine)
                where |= {
                    one.place: f"{source.shown.rstrip('/')}/{one.file.name}".rstrip("/")
                    for one in mine
                }
                wanted.append(
                    (source, [one for one in mine if reread or not _is_known(index, one)])
                )
                studies += [StudyAt(source, study) for study in found.studies]
            n_read = _read(wanted, index, tokens, work, told)
            problems, notes = renew_studies(studies, dataset, index, tokens)
            notes += renew_loose(dataset, index, tokens)
            problems += _of_files(where, index)
            write_problems(out, problems, tokens)
            index.drop_unused()
    except Busy as error:
        raise BadInputError(
            f"Another program is gathering into {out}; wait until it has finished."
        ) from error
    units = dataset.units.values()
    return Gathered(
        n_files=n_files,
        n_read=n_read,
        n_studies=len(studies),
        n_slides=sum(part.n_rows for unit in units for part in unit.parts),
        n_parts=sum(len(unit.parts) for unit in units),
        problems=problems,
        notes=notes,
    )


def _is_known(index: Index, one: _Wanted) -> bool:
    known = index.known.get(one.place)
    return (
        known is not None
        and known.mark == one.file.mark != ""
        and known.code == analysis_version()
        and known.is_loose == one.is_loose
    )


def _read(
    wanted: Sequence[tuple[GatherSource, list[_Wanted]]],
    index: Index,
    tokens: Tokens,
    work: Work,
    told: Told,
) -> int:
    """Have files read and put into the index, batch by batch; returns how many were."""
    total = sum(len(files) for _, files in wanted)
    waiting: dict[str, list[_Wanted]] = {}

    def orders() -> Iterator[BatchOrder]:
        for source, files in wanted:
            for first in range(0, len(files), batch.MOST):
                some = files[first : first + batch.MOST]
                order = BatchOrder(
                    url=source.url, names=tuple(one.file.name for one in some), key=_key(some)
                )
                waiting[order.key] = some
                yield order

    done = 0
    told(done, total)
    for order, made in work(orders()):
        files = waiting.pop(order.key)
        index.add(_entries(files, made, tokens))
        done += len(files)
        told(done, total)
    return done


def _key(files: Sequence[_Wanted]) -> str:
    digest = blake2b(analysis_version().encode(), digest_size=16)
    for one in files:
        digest.update(one.place + one.file.mark.encode() + b"\0")
    return digest.hexdigest()


def _entries(files: Sequence[_Wanted], made: bytes, tokens: Tokens) -> list[Entry]:
    done = batch.decoder.decode(made)
    if done.code != analysis_version():
        raise BadInputError(
            "A worker of the cluster has another version of rig or its libraries; install the same"
            " one everywhere."
        )
    return [
        Entry(
            place=one.place,
            # What could not be opened is tried again next time.
            mark=one.file.mark if seen.digest else "",
            digest=seen.digest,
            n_bytes=seen.n_bytes,
            code=done.code,
            is_loose=one.is_loose,
            kept=msgspec.structs.replace(seen.kept, operator=tokens.person(seen.kept.operator)),
        )
        for one, seen in zip(files, done.seen, strict=True)
    ]


def _of_files(where: dict[bytes, str], index: Index) -> list[Problem]:
    """Problems of the files that the sources have now, in order of their places."""
    bad = sorted((path, place) for place, path in where.items() if index.known[place].has_problems)
    kept = index.kept(place for _, place in bad)
    return [
        Problem(path, sentence, is_left_out=kept[place].result is None)
        for path, place in bad
        for sentence in kept[place].problems
    ]
