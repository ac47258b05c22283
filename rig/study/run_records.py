"""What a study's run files say without analysing them, read from their first and last bytes."""

from pathlib import Path
from typing import Any

import msgspec

from rig.calibration.file import parse_utc
from rig.errors import BadInputError
from rig.runfile.model import INVALIDATING, VERSION
from rig.runfile.reader import find_runs
from rig.study.folder import Study
from rig.study.journal_file import utc_text

HEAD_BYTES = 32_768
TAIL_BYTES = 2_048


class RunRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One run file at a glance; None where the file does not say."""

    path: Path
    run_id: str
    started_at: str
    """RFC 3339, UTC, whole seconds, as in the journal."""
    bag: str | None
    face: str | None
    board: str | None
    stage: str | None
    """As the file says; else from the journal, for bags of the catalogue."""
    stage_is_stated: bool
    """True when the file says it."""
    session: str | None
    series: str | None
    outcome: str | None
    flags: tuple[str, ...] = ()
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None

    @property
    def counts(self) -> bool:
        """The bag slid, and no flag keeps the run out of the analysis."""
        return self.outcome == "slid" and not any(flag in INVALIDATING for flag in self.flags)


def read_records(study: Study) -> tuple[list[RunRecord], list[str]]:
    """The study's runs in order of time, and sentences about files that can't be read."""
    records: list[RunRecord] = []
    problems: list[str] = []
    if study.runs_path.is_dir():
        for path in find_runs([study.runs_path]):
            try:
                records.append(_record(path, study))
            except (BadInputError, OSError, ValueError, KeyError) as error:
                problems.append(f"{path.name} is no readable run file and is left out: {error}.")
    return sorted(records, key=lambda record: (record.started_at, record.run_id)), problems


def _record(path: Path, study: Study) -> RunRecord:
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
        size = file.seek(0, 2)
        file.seek(max(0, size - TAIL_BYTES))
        tail = file.read()
    first, *rest = head.split(b"\n")
    header = _header(first)
    climate: dict[str, Any] = next(
        (line for raw in rest if (line := _try(raw)).get("kind") == "climate"), {}
    )
    end = _try(tail.rstrip(b"\n").rpartition(b"\n")[2])
    if end.get("kind") != "end":
        end = {}
    started_at = utc_text(parse_utc(header["started_at"]))
    bag = header.get("bag")
    stage = header.get("treatment_stage")
    if stage is None and bag in study.catalogue.bags:
        stage = study.stage_at(bag, started_at)
    return RunRecord(
        path=path,
        run_id=header["run_id"],
        started_at=started_at,
        bag=bag,
        face=header.get("face"),
        board=header.get("board"),
        stage=stage,
        stage_is_stated=header.get("treatment_stage") is not None,
        session=header.get("session"),
        series=header.get("series"),
        outcome=end.get("outcome"),
        flags=tuple(end.get("flags", ())),
        temperature_c=climate.get("temperature_c"),
        relative_humidity_pct=climate.get("relative_humidity_pct"),
    )


def header_of(path: Path) -> dict[str, Any]:
    """The first line of a run file as plain values.

    Raises:
        ValueError, OSError: it is no run file of this version, or can't be read.
    """
    with path.open("rb") as file:
        return _header(file.readline())


def _header(line: bytes) -> dict[str, Any]:
    header = _decode(line)
    if header.get("kind") != "header":
        raise ValueError("its first line is no header")
    if header.get("version") != VERSION:
        raise ValueError("it is written in another version of the format")
    return header


def _decode(line: bytes) -> dict[str, Any]:
    return msgspec.json.decode(line, type=dict[str, Any])


def _try(line: bytes) -> dict[str, Any]:
    """The line, or nothing if it is cut or damaged."""
    try:
        return _decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return {}
