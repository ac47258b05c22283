"""Two that write at once: one waits for the other, or is told that it must."""

import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInputError, BusyError
from rig.procedures.series.log import NAME, SeriesLog
from rig.runfile.model import Event
from rig.runfile.reader import read_run
from rig.runfile.writer import OsFiles, RunWriter
from rig.study.folder.catalogue import Bag
from rig.study.folder.catalogue_file import add_table
from rig.study.folder.journal import Mass
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, new_study, open_study
from rig.study.plan.keep import add_to_plan, current_plan
from tests.runfile.example import header
from tests.study.folder_example import make_study

HOLD = """
import fcntl, os, sys
from pathlib import Path
descriptor = os.open(sys.argv[1], os.O_RDONLY)
fcntl.flock(descriptor, fcntl.LOCK_SH)
print("held", flush=True)
sys.stdin.readline()
if len(sys.argv) > 2:
    Path(sys.argv[2]).write_bytes(Path(sys.argv[3]).read_bytes())
"""
LOCKS = Path("/proc/locks")
PATIENCE_S = 30.0


@contextmanager
def held(*words: Path) -> Iterator["subprocess.Popen[str]"]:
    """A process that holds the lock of a file or folder, until it is sent a line.

    It would share the lock, so that whoever does not want it for himself alone is noticed.

    Args:
        words: what is locked; then perhaps a file that the process writes before it lets go, and
            one with the content.
    """
    command = [sys.executable, "-S", "-c", HOLD, *map(str, words)]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "held\n"
            yield process
        finally:
            process.kill()


def waits(process: int) -> bool:
    """Whether somebody waits for a lock that this process holds."""
    lines = [line.split() for line in LOCKS.read_text().splitlines()]
    mine = {words[0] for words in lines if words[1] == "FLOCK" and words[4] == str(process)}
    return any(words[0] in mine and words[1] == "->" for words in lines)


# -- a study's folder -------------------------------------------------------------------------


def weighed() -> Mass:
    return Mass(at="2026-05-01T08:00:00Z", bag="T1", mass_g=440.0)


def with_climate(study: Study) -> Study:
    """One block more is wanted than is planned."""
    text = study.catalogue_path.read_text()
    study.catalogue_path.write_text(f"{text}\n[climates.damp]\nrelative_humidity_pct = 75\n")
    return open_study(study.path)


def adds_to_plan(path: Path) -> Callable[[], Any]:
    study = make_study(path)
    current_plan(study)
    study = with_climate(study)
    return lambda: add_to_plan(study)


def adds_a_bag(path: Path) -> Callable[[], Any]:
    file = make_study(path).catalogue_path
    return lambda: add_table(file, "bags", "T9", Bag())


def begins(path: Path) -> Callable[[], Any]:
    path.mkdir()
    return lambda: new_study(path, "One")


def plans(path: Path) -> Callable[[], Any]:
    study = make_study(path)
    return lambda: [row.row for row in current_plan(study)]


def weighs(path: Path) -> Callable[[], Any]:
    journal = make_study(path).journal_path
    return lambda: append(journal, weighed()).line


WRITERS: dict[str, tuple[Callable[[Path], Callable[[], Any]], str, str]] = {
    "a line of the journal": (weighs, "journal.jsonl", "3"),
    "a bag": (adds_a_bag, "study.toml", "There is bag 'T9' already"),
    "a study": (begins, "study.toml", "exists already"),
    "a plan": (plans, "plan.csv", ""),
    "more of the plan": (adds_to_plan, "plan.csv", "has everything already"),
}


@pytest.mark.skipif(not LOCKS.exists(), reason="only Linux tells who waits for a lock")
@pytest.mark.parametrize("what", WRITERS)
def test_who_writes_to_a_study_waits_and_then_looks_again(what: str, place: Path) -> None:
    """Another program does the very same meanwhile, so that only a second look sees it."""
    prepare, file, says = WRITERS[what]
    before_us, ours = prepare(place / "theirs"), prepare(place / "ours")
    theirs = before_us()
    result: list[Any] = []

    def write() -> None:
        try:
            result.append(ours())
        except BadInputError as error:
            result.append(str(error))

    thread = threading.Thread(target=write)
    with held(place / "ours", place / "ours" / file, place / "theirs" / file) as process:
        thread.start()
        while thread.is_alive() and not waits(process.pid):
            thread.join(0.002)
        assert thread.is_alive(), f"nobody waited: {result}"
        process.communicate("write and let go\n")
        thread.join(PATIENCE_S)
    assert says in str(result[0])
    if what == "a plan":
        assert result == [theirs]
        assert not list((place / "ours").glob("plan-*.csv"))


# -- a folder of runs -------------------------------------------------------------------------


def test_a_series_is_refused_while_another_process_makes_one(place: Path) -> None:
    SeriesLog(place).close()
    with held(place / NAME) as process:
        with pytest.raises(BusyError, match="Another process makes a series"):
            SeriesLog(place)
        process.kill()
        process.wait()
        SeriesLog(place).close()


def test_a_series_in_the_making_holds_its_folder_until_it_is_closed(place: Path) -> None:
    command = [sys.executable, "-S", "-c", HOLD.replace("LOCK_SH", "LOCK_SH | fcntl.LOCK_NB")]
    with SeriesLog(place) as log:
        held = [*command, str(log.path)]
        tries = [subprocess.run(held, input="", capture_output=True, text=True, check=False)]
    tries.append(subprocess.run(held, input="", capture_output=True, text=True, check=False))
    assert "BlockingIOError" in tries[0].stderr
    assert [one.stdout for one in tries] == ["", "held\n"]


# -- one run file, several threads ------------------------------------------------------------

STEP = Event(t_s=1.0, event="beam_broken", detail={"beam": 1})


class Interrupted(OsFiles):
    """Takes a line in two parts, and lets another thread try its luck in between."""

    def __init__(self) -> None:
        self.other: threading.Thread | None = None
        self.has_ended_between = False

    def write(self, descriptor: int, data: bytes) -> int:
        """Write half, then wait a moment for the other."""
        other, self.other = self.other, None
        if other is None:
            return super().write(descriptor, data)
        taken = super().write(descriptor, data[: len(data) // 2])
        other.start()
        other.join(0.1)
        return taken


@pytest.mark.parametrize("first", ["write", "end"])
@pytest.mark.parametrize("second", ["write", "end", "close"])
def test_a_line_is_written_whole_before_the_next_thread_comes(
    first: str, second: str, place: Path
) -> None:
    files = Interrupted()
    failures: list[Exception] = []
    with RunWriter(place / "a.run.jsonl", header(), files) as writer:
        acts: dict[str, Callable[[], None]] = {
            "write": lambda: writer.write(STEP),
            "end": lambda: writer.end("slid", [], 0, 0),
            "close": writer.close,
        }

        def act(which: str) -> None:
            try:
                acts[which]()
            except Exception as error:
                failures.append(error)

        files.other = other = threading.Thread(target=act, args=(second,))
        act(first)
        other.join(PATIENCE_S)
    run = read_run(writer.path)
    # Who comes after the end is told that the file is closed.
    assert len(failures) == ((first, second) == ("end", "write"))
    assert run.events == [STEP] * ((first == "write") + ((first, second) == ("write", "write")))
    assert (run.end is not None) == ("end" in (first, second))
    assert run.end is None or not run.problems
