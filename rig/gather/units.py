"""Studies and loose run files as units of the dataset: what belongs to which, and is it new."""

import csv
import io
from collections.abc import Sequence
from hashlib import blake2b
from pathlib import Path, PurePosixPath
from typing import NamedTuple

import msgspec

from rig.errors import BadInputError
from rig.files.cells import safe_cell
from rig.files.durable import replace_file
from rig.gather.dataset import Dataset, DatasetUnit
from rig.gather.index import Index
from rig.gather.rows import by_partition, loose_rows, rows_of
from rig.gather.schema import VERSION, columns, study_id_of
from rig.gather.sources import GatherSource, StudyFiles
from rig.gather.tokens import Tokens
from rig.study.folder import catalogue_file, journal_file
from rig.study.folder.catalogue_file import parse_catalogue
from rig.study.folder.journal import Journal
from rig.study.folder.journal_file import parse_journal
from rig.study.folder.study import Study
from rig.study.slides.look import Kept
from rig.study.slides.table import slide_of, table_of


class StudyAt(NamedTuple):
    """A study and where it lies."""

    source: GatherSource
    files: StudyFiles


class Problem(NamedTuple):
    """Something that could not be used."""

    path: str
    """Of the file or study."""
    sentence: str
    is_left_out: bool


class _Opened(NamedTuple):
    study: Study
    study_id: str
    inputs: bytes
    places: dict[Path, bytes]
    """Place of each run file, by its path within the study."""
    shown: str


def renew_studies(
    found: Sequence[StudyAt], dataset: Dataset, index: Index, tokens: Tokens
) -> tuple[list[Problem], list[str]]:
    """Renew the units of studies that have changed.

    Returns:
        What could not be used, and notes for the person.
    """
    problems: list[Problem] = []
    notes: list[str] = []
    opened: dict[str, _Opened] = {}
    for at in found:
        try:
            one = _open(at, index, tokens)
        except BadInputError as error:
            shown = _shown(at)
            problems.append(Problem(shown, str(error), is_left_out=True))
            continue
        other = opened.get(one.study_id)
        if other is not None:
            fuller, poorer = sorted((other, one), key=_fullness, reverse=True)
            notes.append(f"{poorer.shown} is a copy of {fuller.shown}, which has more; left out.")
            one = fuller
        opened[one.study_id] = one
    for study_id, one in sorted(opened.items()):
        known = dataset.units.get(study_id)
        if known is not None and known.journal_lines > len(one.study.journal.lines):
            notes.append(
                f"{one.shown} has fewer lines in its journal than when it was gathered before;"
                " what was gathered then stays. Is it an old copy?"
            )
            continue
        problems += [
            Problem(one.shown, sentence, is_left_out=False)
            for sentence in one.study.journal.problems
        ]
        if known is None or known.inputs != one.inputs or study_id in dataset.unsound:
            notes += _renew(one, dataset, index, tokens)
    notes += [
        f"The slides of {dataset.units[key].name or key} were changed in the dataset; gather its"
        " study again."
        for key in sorted(dataset.unsound)
        if not key.startswith("loose")
    ]
    return problems, notes


def renew_loose(dataset: Dataset, index: Index, tokens: Tokens) -> list[str]:
    """Renew the units of run files that stand on their own, by rig and month.

    A file counts once, however often it lies about: not at all if a study has it, and of several
    of one run the longest, for a copy may have been cut off.
    """
    of_studies = [u for key, u in dataset.units.items() if not key.startswith("loose")]
    taken = {digest for unit in of_studies for digest in unit.contents}
    runs = {run for unit in of_studies for run in unit.run_ids}
    best: dict[str, bytes] = {}
    n_known = 0
    for place, one in index.loose():
        n_known += 1
        if one.digest in taken or one.run_id in runs:
            continue
        other = best.get(one.run_id)
        if other is None or _rank(index, place) > _rank(index, other):
            best[one.run_id] = place
    groups: dict[str, list[bytes]] = {}
    for place in best.values():
        one = index.known[place]
        groups.setdefault(f"loose\0{one.rig or ''}\0{one.month or ''}", []).append(place)
    there = runs | {one.run_id for _, one in index.loose()}
    # A damaged file of the index forgets runs; their slides stay until they are gathered again.
    short = {
        key
        for key, unit in dataset.units.items()
        if key.startswith("loose") and not there.issuperset(unit.run_ids)
    }
    for key in [k for k in dataset.units if k.startswith("loose") and k not in groups]:
        if key not in short:
            dataset.drop(key)
    for key, places in sorted(groups.items()):
        places.sort(key=lambda place: index.known[place].run_id)
        inputs = _inputs(tokens, *(_version_of(index, place) for place in places))
        known = dataset.units.get(key)
        is_sound = known is not None and key not in dataset.unsound
        if is_sound and (key in short or (known is not None and known.inputs == inputs)):
            continue
        kept = index.kept(places)
        slides = [slide_of(Path(_own(kept[place])), kept[place]) for place in places]
        slides.sort(key=lambda slide: (slide.at, slide.slide_id))
        run_ids = tuple(index.known[place].run_id for place in places)
        unit = DatasetUnit(key=key, inputs=inputs, parts=(), run_ids=run_ids)
        dataset.put(unit, by_partition(loose_rows(slides, tokens)))
    n_more = n_known - len(best)
    notes = [f"{n_more} loose run files are copies of runs that count once."] if n_more else []
    if short:
        notes.append(
            "A part of the index was damaged: gather all sources of the dataset again, so that new"
            " run files that are in no study can join the old ones."
        )
    return notes


def write_problems(folder: Path, problems: Sequence[Problem], tokens: Tokens) -> None:
    """List in the dataset what could not be used, by the files' own names."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(("file", "left_out", "problem"))
    for one in problems:
        shown = one.path if tokens.with_names else PurePosixPath(one.path).name
        left_out = str(one.is_left_out).lower()
        writer.writerow(map(safe_cell, (shown, left_out, one.sentence)))
    replace_file(folder / "problems.csv", buffer.getvalue().encode())


def _open(at: StudyAt, index: Index, tokens: Tokens) -> _Opened:
    """A study from its source.

    Raises:
        BadInputError: its catalogue or journal can't be read.
    """
    prefix = f"{at.files.name}/" if at.files.name else ""
    folder = Path(at.files.name or PurePosixPath(at.source.url).name or "study")
    toml = at.source.read(f"{prefix}{catalogue_file.NAME}")
    try:
        text = toml.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInputError(
            f"{folder / catalogue_file.NAME} is not UTF-8 text; save it in that encoding."
        ) from None
    lines = at.source.read(f"{prefix}{journal_file.NAME}") if at.files.has_journal else b""
    study = Study(
        path=folder,
        catalogue=parse_catalogue(text, folder / catalogue_file.NAME),
        journal=parse_journal(lines, folder / journal_file.NAME) if lines else Journal(),
    )
    places = {
        folder / run.name[len(prefix) :]: tokens.place(at.source.url, run.name)
        for run in at.files.runs
    }
    contents = (
        path.as_posix().encode() + b"\0" + _version_of(index, place)
        for path, place in sorted(places.items())
    )
    return _Opened(
        study=study,
        study_id=study_id_of(study.catalogue),
        inputs=_inputs(tokens, toml, lines, *contents),
        places=places,
        shown=_shown(at),
    )


def _renew(one: _Opened, dataset: Dataset, index: Index, tokens: Tokens) -> list[str]:
    kept = index.kept(one.places.values())
    named = {path: _at(kept[place], path) for path, place in sorted(one.places.items())}
    table = table_of(one.study, named)
    elsewhere = {
        run: unit.name
        for key, unit in dataset.units.items()
        if key != one.study_id and not key.startswith("loose")
        for run in unit.run_ids
    }
    doubled = {slide.slide_id for slide in table.of_rig} & elsewhere.keys()
    slides = [slide for slide in table.slides if slide.slide_id not in doubled]
    rows = rows_of(one.study, one.study_id, table._replace(slides=slides), tokens)
    known = [index.known[place] for place in one.places.values()]
    unit = DatasetUnit(
        key=one.study_id,
        name=one.study.catalogue.name,
        inputs=one.inputs,
        parts=(),
        contents=tuple(sorted(each.digest for each in known if each.digest)),
        run_ids=tuple(
            sorted(each.run_id for each in known if each.run_id and each.run_id not in doubled)
        ),
        journal_lines=len(one.study.journal.lines),
    )
    dataset.put(unit, by_partition(rows))
    if not doubled:
        return []
    other = elsewhere[min(doubled)]
    return [
        f"{len(doubled)} run files of {one.shown} belong to the study {other} as well and count"
        " there."
    ]


def _at(kept: Kept, path: Path) -> Kept:
    """The same with its place in the study."""
    if kept.result is None:
        return kept
    result = msgspec.structs.replace(kept.result, run_file=str(path))
    return msgspec.structs.replace(kept, result=result)


def _inputs(tokens: Tokens, *parts: bytes) -> bytes:
    """A digest of all that a unit's rows hang on."""
    digest = blake2b(digest_size=16)
    about = (str(VERSION), " ".join(columns()), tokens.fingerprint, str(tokens.with_names))
    for part in (*(text.encode() for text in about), *parts):
        digest.update(len(part).to_bytes(8, "little") + part)
    return digest.digest()


def _version_of(index: Index, place: bytes) -> bytes:
    known = index.known[place]
    return known.digest + known.code.encode()


def _rank(index: Index, place: bytes) -> tuple[int, bytes]:
    """Of equal content the same one each time, in whatever order files were read."""
    known = index.known[place]
    return known.n_bytes, known.digest


def _own(kept: Kept) -> str:
    return "" if kept.result is None else kept.result.run_file


def _fullness(one: _Opened) -> tuple[int, int]:
    return len(one.study.journal.lines), len(one.places)


def _shown(at: StudyAt) -> str:
    return f"{at.source.shown.rstrip('/')}/{at.files.name}".rstrip("/")
