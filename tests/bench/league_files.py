"""Thousands of run files as a league has them: studies with journals, and run files on their own.

Slides come from the fast simulator. There are SIMULATED different ones; every file has a header of
its own (rig, bag, time, run) and a check of its own over it all.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from zlib import crc32

import msgspec

from rig.files.stamps import utc_text
from rig.runfile.model import End, Header
from rig.settings.model import Settings
from rig.study.folder.catalogue import Step
from rig.study.folder.journal import Correction, Reading, Treatment
from rig.study.folder.study import Study, new_study, open_study
from rig.twin.draws import draw_scenario
from tests.fastsim.run import simulate_run

SIMULATED = 200
EACH = 500
"""Run files of a study, and of a folder of files on their own."""
RIGS = tuple(f"rig {number:02d}" for number in range(10))
START = datetime(2025, 1, 5, 9, 0, tzinfo=UTC)
SOAK = (Step(action="soak", agent="softener", time_min=45.0),)


def make_league(folder: Path, n_files: int) -> None:
    """Write files, EACH in a study and EACH on their own in turns; what is there is left alone."""
    for block in range(n_files // EACH):
        place = folder / f"block {block:03d}"
        if not (place / "done").exists():
            if block % 2:
                _write(place / "files", block, range(EACH))
            else:
                _study(place / "study", block)
            (place / "done").write_text("")


def _study(path: Path, block: int) -> Study:
    study = new_study(path, f"Harbour {block}")
    text = study.catalogue_path.read_text("utf-8")
    bags = "".join(f'[bags."Quay {n}"]\nmodel = "Tern"\n' for n in range(8))
    study.catalogue_path.write_text(f"{text}\n[boards.A]\n{bags}", "utf-8")
    runs = list(_write(study.runs_path, block, range(EACH)))
    half = _time(block, EACH // 2)
    study = open_study(path)
    study.note(
        Treatment(at=half, bag="Quay 1", stage="after 1", recipe="soak", steps=SOAK),
        Correction(at=half, runs=(runs[3],), bag="Quay 2", note="wrong bag"),
        Correction(at=half, runs=(runs[5],), void=True, note="Anna bumped the board"),
        Reading(
            at=half,
            bag="Quay 1",
            face="slick",
            board="A",
            reader="Anna",
            angles_deg=(22.5, 22.9),
            stage="after 1",
            session="by hand",
        ),
    )
    return study


def _write(folder: Path, block: int, numbers: range) -> list[str]:
    runs = []
    for number in numbers:
        header, body, n_lines = _slide((block * EACH + number) % SIMULATED)
        run = f"{_time(block, number)[:10]}-{block:03d}-{number:03d}"
        header = msgspec.structs.replace(
            header,
            run_id=run,
            started_at=_time(block, number),
            rig=RIGS[block % len(RIGS)],
            bag=f"Quay {number % 8}",
            face=("slick", "grip")[number // 8 % 2],
            board="A",
            operator=("Anna", "Bert")[number % 2],
            session=f"day {number // 40}",
            series=f"{block}-{number // 5}",
            slide_number=number % 5 + 1,
            treatment_stage=None,
        )
        data = msgspec.json.encode(header) + b"\n" + body
        end = End(
            outcome="slid",
            flags=[],
            samples_lost=0,
            bus_retries=0,
            lines=n_lines,
            check=f"{crc32(data):08x}",
        )
        place = folder / header.started_at[:10]
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{run}.run.jsonl").write_bytes(data + msgspec.json.encode(end) + b"\n")
        runs.append(run)
    return runs


def _time(block: int, number: int) -> str:
    return utc_text(START + timedelta(days=9 * block + number // 40, minutes=4 * (number % 40)))


@cache
def _slide(seed: int) -> tuple[Header, bytes, int]:
    lines, _ = simulate_run(Settings(), draw_scenario(seed), seed, rate_deg_s=2.0, dwell_s=1.0)
    header, *rest = lines
    assert isinstance(header, Header)
    body = [msgspec.json.encode(line) + b"\n" for line in rest if not isinstance(line, End)]
    return header, b"".join(body), 1 + len(body)


def run_files(folder: Path) -> Iterator[Path]:
    """All run files below a folder."""
    return folder.rglob("*.run.jsonl")
