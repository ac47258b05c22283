"""The public face: its names, its cost, and the examples of its docstrings and of the README."""

import doctest
import re
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

import rig
import rig.public
from rig.files.stamps import parse_utc
from rig.settings.model import Settings
from rig.study.folder.journal import Reading
from rig.study.folder.study import open_study
from rig.twin.draws import draw_scenario
from tests.fastsim.run import simulate_run, write_run
from tests.study.folder_example import make_study

ROOT = Path(__file__).parents[1]
BAGS = """
[targets.grip]
angle_deg = 23.5

[bags."Quay 1"]
faces = { grip = "" }

[bags."Quay 2"]
faces = { grip = "" }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with `runs` and a study `club`, as the examples say."""
    root = tmp_path_factory.mktemp("examples")
    (root / "runs").mkdir()
    for number in range(1, 5):
        lines, truth = simulate_run(
            Settings(), draw_scenario(7), 7, number=number, rate_deg_s=2.0, dwell_s=1.0
        )
        header = msgspec.structs.replace(
            lines[0], run_id=f"{number}", bag="Quay 1", face="grip", board="ash", series="1"
        )
        write_run(root / "runs", [header, *lines[1:]], truth)
    study = make_study(root / "club")
    text = study.catalogue_path.read_text("utf-8")
    study.catalogue_path.write_text(text[: text.index("[bags.T1]")] + BAGS, "utf-8")
    study = open_study(root / "club")
    for minute, (bag, angles) in enumerate(
        [("Quay 1", (24.6, 24.4, 24.7)), ("Quay 2", (25.0, 25.2, 24.9))]
    ):
        at = f"2026-05-30T18:0{minute}:00Z"
        entry = Reading(
            at=at,
            bag=bag,
            face="grip",
            board="A",
            reader="Ada",
            stage="baseline",
            session="an evening",
            angles_deg=angles,
        )
        study.note(entry, now=parse_utc("2026-05-31T00:00:00Z"), simulated=True)
    return root


@pytest.fixture(autouse=True)
def here(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)


def test_names_that_other_programs_use_stay() -> None:
    assert set(rig.__all__) == {"BadInputError", "Settings", "analyse", "open_study", "read_run"}
    assert all(getattr(rig, name).__name__ == name for name in rig.__all__)
    assert set(rig.__all__) <= set(dir(rig))
    with pytest.raises(AttributeError, match="no attribute 'analyze'"):
        _ = rig.analyze


def test_import_loads_nothing() -> None:
    code = "import sys, rig; print([n for n in ('numpy', 'msgspec', 'typer') if n in sys.modules])"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_examples_of_the_docstrings_hold() -> None:
    found = doctest.testmod(rig.public, optionflags=doctest.ELLIPSIS)
    assert found.attempted > 5
    assert found.failed == 0


def test_examples_of_the_readme_hold() -> None:
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.S)
    assert blocks
    test = doctest.DocTestParser().get_doctest("".join(blocks), {}, "README.md", "README.md", 0)
    found = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(test)
    assert found.attempted > 2
    assert found.failed == 0


@pytest.mark.parametrize("path", ["runs", Path("runs"), ["runs/1.run.jsonl", Path("runs")]])
def test_paths_are_text_or_paths(path: object) -> None:
    assert len(rig.analyse(path).runs) == 4  # type: ignore[arg-type]


def test_run_file_by_its_name_as_text() -> None:
    assert rig.read_run("runs/1.run.jsonl").header.bag == "Quay 1"


def test_tables_for_pandas() -> None:
    pytest.importorskip("pandas")
    runs = rig.analyse("runs").to_pandas()
    assert list(runs.bag) == ["Quay 1"] * 4
    slides = rig.open_study("club").slides.to_pandas()
    assert list(slides.onset_angle_deg) == [24.6, 24.4, 24.7, 25.0, 25.2, 24.9]
    assert set(slides.reader) == {"Ada"}


def test_slides_as_a_sequence() -> None:
    slides = rig.open_study("club").slides
    assert (len(slides), repr(slides)) == (6, "<Slides: 6>")
    assert slides[1:3] == tuple(slides)[1:3]
    assert repr(msgspec.structs.replace(slides[0], valid=False)).endswith("24.6°, left out>")
    assert repr(msgspec.structs.replace(slides[0], bag=None, face=None, onset_angle_deg=None)) == (
        f"<Slide: {slides[0].slide_id}>"
    )
