"""How often the disk is really asked to keep something, counted at the border to the kernel."""

import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

import rig

STRACE = shutil.which("strace")
SESSION = """
import sys
from pathlib import Path
from rig.calibration.file import save_calibration
from rig.commands.main import app
from rig.study.folder.study import new_study
from rig.study.folder.journal import Mass
from rig.study.folder.journal_file import append
from tests.calibration.example import calibration

here = Path(sys.argv[1])
app(["run", "--twin", "--seed", "3", "--now", "--out", str(here / "runs")], standalone_mode=False)
study = new_study(here / "study", "One")
for mass_g in (440.0, 441.0):
    append(study.journal_path, Mass(at="2026-05-01T08:00:00Z", bag="T1", mass_g=mass_g))
save_calibration(study.path / "calibration" / "new.json", calibration())
"""
SYNC = re.compile(r"(?:fsync|fdatasync)\(\d+<(.*)>\) = 0$")
RENAME = re.compile(r'(?:rename|link)\w*\(.*?"(.*?)".*"(.*?)".*\) = 0$')
CREATE = re.compile(r"openat\(.*O_CREAT.*\) = \d+<(.*)>$")
MKDIR = re.compile(r'mkdir\w*\(.*?"(.*?)".*\) = 0$')


class Call(NamedTuple):
    """A system call that went well; the path that counts, and the one before for a rename."""

    kind: str
    path: Path
    old: Path | None = None


def whole_lines(trace: str) -> Iterator[str]:
    """Lines of the trace, those of two threads at once put together again."""
    begun: dict[str, str] = {}
    for line in trace.splitlines():
        process, _, text = line.partition(" ")
        if text.endswith("<unfinished ...>"):
            begun[process] = text.removesuffix("<unfinished ...>")
        elif "resumed>" in text:
            yield begun.pop(process, "") + text.partition("resumed>")[2]
        else:
            yield text


def calls(trace: str, below: Path) -> list[Call]:
    found = []
    for line in whole_lines(trace):
        if match := SYNC.search(line):
            found.append(Call("sync", Path(match[1])))
        elif match := RENAME.search(line):
            found.append(Call("rename", Path(match[2]), Path(match[1])))
        elif match := CREATE.search(line):
            found.append(Call("create", Path(match[1])))
        elif match := MKDIR.search(line):
            found.append(Call("mkdir", Path(match[1])))
    return [call for call in found if below in (call.path, *call.path.parents)]


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Call]]:
    """A run on the twin, a study with two lines of its journal, a calibration."""
    if STRACE is None:
        pytest.skip("strace is not installed")
    probe = subprocess.run([STRACE, "-o", os.devnull, "true"], capture_output=True, check=False)
    if probe.returncode:
        pytest.skip(f"strace may not trace here: {probe.stderr.decode().strip()}")
    here = tmp_path_factory.mktemp("traced").resolve()
    wanted = "trace=fsync,fdatasync,openat,/^rename,/^link,/^mkdir"
    command = [STRACE, "-f", "-qq", "-y", "-s", "4096", "-e", wanted, "-o", str(here / "trace")]
    subprocess.run(
        [*command, sys.executable, "-c", SESSION, str(here / "work")],
        check=True,
        capture_output=True,
        env={**os.environ, "PYTHONPATH": str(Path(rig.__file__).parents[1])},
    )
    return here / "work", calls((here / "trace").read_text(), here)


def test_files_are_synced_as_often_as_was_promised(session: tuple[Path, list[Call]]) -> None:
    work, made = session
    syncs = Counter(call.path for call in made if call.kind == "sync")
    (run,) = (work / "runs").rglob("*.run.jsonl")
    states = run.read_text().count('"event":"state"')
    assert states >= 6
    assert syncs[run] == states + 1, "once for each state, and once at the end"
    log = work / "runs" / "series.jsonl"
    assert syncs[log] == log.read_text().count("\n") == 4
    assert syncs[work / "study" / "journal.jsonl"] == 2
    files = sum(n for path, n in syncs.items() if not path.is_dir())
    whole = [call for call in made if call.kind == "rename"]
    assert files == states + 1 + 4 + 2 + len(whole)
    assert [call.path.name for call in whole] == ["study.toml", "new.json"]
    assert 8 <= sum(syncs.values()) - files <= 16, "folders"


def test_what_is_made_or_renamed_is_kept_by_its_folder(session: tuple[Path, list[Call]]) -> None:
    _, made = session
    unsynced: set[Path] = set()
    for call in made:
        if call.kind == "sync":
            unsynced -= {path for path in unsynced if path.parent == call.path}
        elif not call.path.name.endswith(".truth.json"):  # the twin's own, promised to nobody
            unsynced = (unsynced - {call.old}) | {call.path}
    assert not unsynced


def test_what_is_renamed_was_synced_before(session: tuple[Path, list[Call]]) -> None:
    _, made = session
    renames = [(i, call) for i, call in enumerate(made) if call.kind == "rename"]
    assert renames
    for i, call in renames:
        assert Call("sync", call.old or call.path) in made[:i]
