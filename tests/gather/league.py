"""A small league: two studies with journals, a loose run file, and a file that is none."""

from pathlib import Path
from typing import Any

import pyarrow.dataset as arrow

from rig.gather.run import Gathered, gather
from rig.gather.tokens import Tokens
from rig.study.folder.journal import Correction, Play, Reading, Treatment
from rig.study.folder.study import Study, open_study
from tests.study.folder_example import SOAK, add_run, make_study

TOKENS = Tokens(bytes(range(32)))
NAMES = Tokens(bytes(range(32)), with_names=True)


def make_league(folder: Path) -> Study:
    """Returns the study that has a journal; its people are Anna and Bert."""
    study = make_study(folder / "club")
    for day, bag in enumerate(["T1", "C1", "T1", "C2"], start=1):
        add_run(study, bag, f"2026-05-{day:02d}T09:00:00Z")
    study = open_study(study.path)
    study.note(
        Treatment(at="2026-05-02T12:00:00Z", bag="T1", stage="after 1", recipe="soft", steps=SOAK),
        Play(at="2026-05-02T13:00:00Z", bag="T1", throws=40),
        Correction(at="2026-05-05T09:00:00Z", runs=("run 0001",), bag="C2"),
        Correction(at="2026-05-05T09:00:00Z", runs=("run 0003",), void=True, note="Bert fell"),
        Reading(
            at="2026-05-04T12:00:00Z",
            bag="T1",
            face="slick",
            board="A",
            reader="Anna",
            angles_deg=(22.5, 22.9),
            stage="after 1",
            session="by hand",
            operator="Bert",
        ),
        simulated=True,
    )
    loose = make_study(folder.with_name("elsewhere"))
    for number in range(6):
        add_run(loose, "T9", f"2026-06-{number + 1:02d}T09:00:00Z")
    files = sorted(loose.runs_path.rglob("*.run.jsonl"))
    (folder / "loose").mkdir()
    (folder / "loose" / "a.run.jsonl").write_bytes(files[5].read_bytes())
    (folder / "loose" / "b.run.jsonl").write_bytes(b"nonsense")
    return open_study(study.path)


def gathered(folder: Path, out: Path, **options: Any) -> Gathered:
    """Gather a folder with the usual tokens."""
    return gather([str(folder)], out, options.pop("tokens", TOKENS), **options)


def rows_in(out: Path) -> list[dict[str, Any]]:
    """All rows of a dataset as other programs read them, in order of time."""
    table = arrow.dataset(out / "slides", partitioning="hive").to_table()
    return sorted(table.to_pylist(), key=lambda row: (row["started_at"], row["slide_id"]))


def parts_of(out: Path) -> dict[str, bytes]:
    """Each part by its place, byte for byte."""
    slides = out / "slides"
    paths = sorted(path for path in slides.rglob("*") if path.is_file())
    return {path.relative_to(slides).as_posix(): path.read_bytes() for path in paths}
