"""`rig demo`, with fewer bags and one climate so that it is short, and its commands by hand."""

import hashlib
import os
import re
import shutil
import subprocess
import sys
from multiprocessing import forkserver
from pathlib import Path

import pytest

import rig as package
from rig.commands import demo
from rig.commands.demo import CLIMATES
from tests.commands.conftest import Rig
from tests.report.fonts import open_fonts

VARIES = ("report.html", "match-day.html", "twin.json", "twin.lock")
"""Files with a time or a process of this computer in them, or none that a person compares."""
SHORT = (("Heron 1", "Heron", "soft soak"), ("Knot 1", "Knot", None), ("Knot 2", "Knot", None))


@pytest.fixture(scope="module", autouse=True)
def _kept_by_this_process() -> None:
    """What the first test to need it would start for all later ones."""
    open_fonts()
    forkserver.ensure_running()


@pytest.fixture
def _short(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "BAGS", SHORT)
    monkeypatch.setattr(demo, "CLIMATES", CLIMATES[:1])
    monkeypatch.setattr(demo, "RUNS", 1)


def test_a_story_in_a_full_folder_is_refused(rig: Rig, tmp_path: Path) -> None:
    (tmp_path / "shed").mkdir()
    (tmp_path / "shed" / "mine").touch()
    said = rig("demo", "--out", "shed")
    assert said.code == 2
    assert "is not empty" in said.err


@pytest.mark.usefixtures("_short")
@pytest.mark.long
def test_the_story_is_the_commands_that_it_prints(rig: Rig, tmp_path: Path) -> None:
    said = rig("demo", "--out", "shed")
    assert said.code == 0, said.err
    assert Path.cwd() == tmp_path
    assert re.search(r"It takes about \d+ s on two free cores and \d+ MB", said.err)
    assert re.search(r"\(command \d+ of \d+, about \d+ s left\)", said.err)
    typed = re.findall(r"^\$ (.+)$", said.out, re.MULTILINE)
    _told_well(said.out, tmp_path / "shed")
    first = _contents(tmp_path / "shed")
    shutil.rmtree(tmp_path / "shed")
    _by_hand(typed, tmp_path)
    again = _contents(tmp_path / "shed")
    assert again.keys() == first.keys()
    assert [name for name in first if first[name] != again[name]] == []
    assert sum(name.endswith(".run.jsonl") for name in first) == len(SHORT) * 2 * 2


def _by_hand(typed: list[str], folder: Path) -> None:
    """Each command in a process of its own, the shell's own ones by the shell."""
    source = Path(package.__file__).parent.parent
    program = (
        f'rig() {{ "{sys.executable}" -c "from rig.commands.main import main; main()" "$@"; }}'
    )
    done = subprocess.run(
        ["bash", "-euc", "\n".join([program, *typed])],  # noqa: S607
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(source)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def _contents(folder: Path) -> dict[str, str]:
    """What a person would compare, by the file's name in the folder."""
    found = {}
    for path in sorted(folder.rglob("*")):
        # The end of a run's name is drawn anew.
        name = re.sub(r"Z-[0-9a-f]{6}\.", "Z.", str(path.relative_to(folder)))
        is_kept = "cache" in name or ".rig-results" in name  # the program makes it again
        if path.is_file() and not is_kept and path.name not in VARIES:
            data = _without_ids(path.read_bytes())
            found[name] = hashlib.sha256(data).hexdigest()
    return found


def _without_ids(data: bytes) -> bytes:
    """Without what is drawn anew for each run file and what covers it."""
    data = re.sub(rb"Z-[0-9a-f]{6}", b"Z", data)
    return re.sub(rb'"check":("[^"]*"|\d+)', b"", data)


def _told_well(out: str, shed: Path) -> None:
    for name in ("report.html", "match-day.html"):
        assert (shed / "club" / "report" / name).stat().st_size > 3_000
    # What the program says of its errors, against the truth beside each run file.
    rows = re.findall(r"^(.+?)  +(slick|grip) +\d+ +\S+° +(\S+)° +(\S+)° +(\S+)°$", out, re.M)
    assert {row[:2] for row in rows} >= {("Heron 1", "grip"), ("Knot 2", "slick")}
    figures = [[float(word.replace("−", "-")) for word in row[2:]] for row in rows]
    for error, rms, late in figures:
        assert abs(error) <= rms < 0.4
        assert late > error + 0.15
    sentences = re.findall(r"^- .*soft soak .*$(?:\n  .*)*", out, re.MULTILINE | re.IGNORECASE)
    effects = [one for one in sentences if "True: " in one]
    faces = sorted(face for one in effects for face in re.findall(r"the (\w+)\s+face", one))
    assert faces == ["grip", "slick"]
