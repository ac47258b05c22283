"""One changed byte anywhere in a study: no traceback, and no other number without a word."""

import random
import shutil
from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInputError
from rig.study.export import export_rows
from rig.study.folder import Study, open_study
from rig.study.journal import Mass, Reading, Treatment
from rig.study.plan_keep import current_plan
from rig.study.status import study_status
from tests.study.folder_example import SOAK, add_run, make_study

CHANGES = 60
CHECKED = (".jsonl", ".msgpack")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Study:
    study = make_study(tmp_path_factory.mktemp("one-byte") / "s")
    current_plan(study)
    for day, bag in ((1, "T1"), (1, "C1"), (3, "T1"), (3, "C1")):
        add_run(study, bag, f"2026-05-0{day}T08:0{len(bag)}:00Z", stage=None)
    at = "2026-05-02T08:00:00Z"
    study.note(
        Mass(at=at, bag="T1", mass_g=441.0),
        Treatment(at=at, bag="T1", stage="after 1", recipe="soft", steps=SOAK),
        Reading(
            at="2026-05-01T09:00:00Z",
            bag="T2",
            face="slick",
            board="A",
            reader="Ida",
            angles_deg=(24.5, 25.0),
            stage="baseline",
            session="evening",
        ),
    )
    answers(study.path)  # its results are kept
    return study


def answers(folder: Path) -> tuple[list[dict[str, Any]], list[str]]:
    """The slides of a study, and every sentence about what is wrong with it."""
    study = open_study(folder)
    rows, problems = export_rows([folder])
    status = study_status(study)
    return rows, [*problems, *status.warnings]


@pytest.mark.parametrize("seed", [1, 2])
def test_one_changed_byte(made: Study, tmp_path: Path, seed: int) -> None:
    before, known = answers(made.path)
    draw = random.Random(seed)
    files = sorted(p.relative_to(made.path) for p in made.path.rglob("*") if p.is_file())
    folder = Path(shutil.copytree(made.path, tmp_path / "s"))
    for name in draw.choices(files, k=CHANGES // 2):
        whole = (made.path / name).read_bytes()
        if not whole:
            continue
        data = bytearray(whole)
        place = draw.randrange(len(data))
        data[place] ^= draw.randrange(1, 256)
        (folder / name).write_bytes(data)
        try:
            rows, problems = answers(folder)
        except BadInputError:
            rows = before
        else:
            is_told = set(problems) != set(known)
            assert not name.name.endswith(CHECKED) or rows == before or is_told, (name, place)
        (folder / name).write_bytes(whole)
        if name.suffix != ".msgpack":
            shutil.copytree(made.path / ".rig-results", folder / ".rig-results", dirs_exist_ok=True)
