"""Nothing that a command prints is wider than the terminal: 80 columns, and 60."""

import shutil
import sys
from pathlib import Path

import pytest

from tests.commands.conftest import Rig
from tests.study.answer.evening import evening
from tests.study.folder_example import add_run

pytestmark = pytest.mark.long

AIR = "--temperature 22 --humidity 50"
SHOWN = (
    f"answer club {AIR}",
    f"answer club {AIR} --all",
    "compare club",
    f"choose club {AIR}",
    f"sheet club {AIR} --text",
    "study status club",
    "study droop club",
    "study reading club",
    "study power club",
    "study plan club",
    "study play club --set Quay --throws 20",
    "study treat club --set Quay --recipe soak",
    "analyse club",
    "analyse club --budget --all",
    "level show --twin",
    "level history club",
    "sizing",
    "check --twin --now",
    "twin truth elsewhere",
    "answer nowhere",
    "study plan club --hours 0.2 --replace",
    "run --twin --bag Quay --out club/runs",
)
HELP = ("", "run", "study", "level", "choose", "study reading", "study plan", "twin", "analyse")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An evening by hand and a few runs, with droop and a long name."""
    study = evening(tmp_path_factory.mktemp("made") / "club", slides=2)
    for minute in range(3):
        add_run(study, "Quay 1", f"2026-06-01T17:0{minute}:00Z", flags=("rate_off", "floor_tilt"))
    return study.path


@pytest.mark.parametrize("width", [80, 60])
def test_what_commands_print_fits(
    rig: Rig, made: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, width: int
) -> None:
    shutil.copytree(made, tmp_path / "club")
    monkeypatch.setenv("COLUMNS", str(width))
    # On a pipe sentences on stderr stay on one line each; here they are read on a terminal.
    monkeypatch.setattr(type(sys.stderr), "isatty", lambda self: True, raising=False)
    monkeypatch.setattr("rig.commands.options.on_screen", _folded)
    rig(*_split("study droop club 'Quay 1' --up slick --overhang 51 --angle 24"))
    over = []
    for words in SHOWN:
        said = rig(*_split(words))
        assert "Traceback" not in said.err
        lines = [*said.out.splitlines(), *said.err.splitlines()]
        assert lines, f"{words} says nothing"
        over += [f"{words}: {len(line)}: {line}" for line in lines if _is_over(line, width)]
    assert over == []


def _is_over(line: str, width: int) -> bool:
    """A path or a word that is longer than the terminal stays whole, so that it can be pasted."""
    return len(line) > width and " " in line.strip()


def _folded(text: str) -> str:
    from rig.commands.options import folded

    return folded(text)


def _split(words: str) -> list[str]:
    from shlex import split

    return split(words)


@pytest.mark.parametrize("width", [80, 60])
@pytest.mark.parametrize("command", HELP)
def test_help_fits(rig: Rig, monkeypatch: pytest.MonkeyPatch, command: str, width: int) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    said = rig(*command.split(), "--help")
    assert said.code == 0
    over = [line for line in said.out.splitlines() if len(line) > width]
    assert over == []


def test_rare_options_of_run_are_a_word_away(rig: Rig) -> None:
    usual, whole = rig("run", "-h"), rig("run", "--help-all")
    assert (usual.code, whole.code) == (0, 0)
    listed = {line.split()[0] for line in whole.out.splitlines() if line.startswith("  --")}
    shown = {line.split()[0] for line in usual.out.splitlines() if line.startswith("  --")}
    assert {"--bag", "--plan", "--set", "--units", "--help-all"} <= shown
    assert shown < listed
    assert {"--service", "--climate-timeout", "--seed"} <= listed - shown
    assert f"{len(listed - shown)} more options: rig run --help-all" in usual.out
    assert len(usual.out.splitlines()) <= 45
