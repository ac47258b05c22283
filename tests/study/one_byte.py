"""Changes one byte anywhere in a study's files, and asks a command what it now says."""

import io
import json
import random
import shutil
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

from rig.commands.main import main
from rig.study.folder.journal import Mass, Reading, Treatment
from rig.study.folder.study import Study
from rig.study.plan.keep import current_plan
from tests.study.folder_example import SOAK, add_run, make_study

AIR = ("--temperature", "22", "--humidity", "50", "--angle", "21")
COMMANDS: dict[str, tuple[str, ...]] = {
    "export": ("study", "export", "{study}"),
    "status": ("study", "status", "{study}", "--json"),
    "compare": ("compare", "{study}", "--json"),
    "choose": ("choose", "{study}", *AIR, "--json"),
    "sheet": ("sheet", "{study}", *AIR, "--text"),
    "analyse": ("analyse", "{study}", "--json"),
    "report": ("report", "{study}", "--json"),
}
_FIGURES = "rig.report.pictures.study_pictures"
CHECKED = (".jsonl", ".msgpack")
"""Files in which no number may change without a word."""
WORDS = ("notes", "warnings", "problems", "missing_climates")
"""Keys of a document that hold sentences about what is wrong."""


class Answer(NamedTuple):
    """What a command said of a study."""

    code: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """All in it that tells a person of something wrong."""
        try:
            return self.err + json.dumps(list(_words_in(json.loads(self.out))))
        except ValueError:
            return self.err


def make(folder: Path) -> Study:
    """A small study with runs, readings by hand, treatments, a plan, and results that are kept."""
    study = make_study(folder)
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
    ask("export", folder)  # its results are kept
    return study


def ask(command: str, folder: Path, *, with_figures: bool = False) -> Answer:
    """One answer, from this process; anything but the program's own way out is raised."""
    words = [word.format(study=folder) for word in COMMANDS[command]]
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with _as_it_was(), redirect_stdout(out), redirect_stderr(err):
        sys.argv = ["rig", *words]
        drawn: Any = nullcontext() if with_figures else patch(_FIGURES, lambda *_: [])
        with drawn:
            try:
                main()
            except SystemExit as end:
                code = int(end.code or 0)
    shutil.rmtree(folder / "report", ignore_errors=True)
    return Answer(code, out.getvalue(), err.getvalue())


def changes(made: Path, folder: Path, count: int, seed: int) -> Iterator[tuple[str, Path, int]]:
    """Change a byte of a file of the copy for each step, and put it back after it.

    Yields:
        The name of a command in turn, the file within the study, and the byte's place.
    """
    draw = random.Random(seed)
    files = sorted(p.relative_to(made) for p in made.rglob("*") if p.stat().st_size and p.is_file())
    names = list(COMMANDS)
    for number in range(count):
        name = draw.choice(files)
        whole = (made / name).read_bytes()
        data = bytearray(whole)
        place = draw.randrange(len(data))
        data[place] ^= draw.randrange(1, 256)
        (folder / name).write_bytes(data)
        yield names[number % len(names)], name, place
        (folder / name).write_bytes(whole)
        shutil.copytree(made / ".rig-results", folder / ".rig-results", dirs_exist_ok=True)


def check(before: Answer, after: Answer, name: Path, place: int) -> None:
    """No traceback, and no other number without a word where there is a checksum."""
    where = f"byte {place} of {name}"
    assert after.code in {0, 1, 2}, where
    assert "Traceback" not in after.err, where
    if after.code == 0 and after.out != before.out and name.name.endswith(CHECKED):
        assert after.words != before.words, f"{where} changed the answer without a word"


def _words_in(value: Any) -> Iterator[Any]:
    """What stands under one of `WORDS` anywhere in a document."""
    items = value.items() if isinstance(value, dict) else ()
    for key, inner in items:
        if key in WORDS:
            yield inner
        yield from _words_in(inner)


@contextmanager
def _as_it_was() -> Iterator[None]:
    """Puts back what the command line changes in its process."""
    handlers = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}
    arguments = sys.argv
    try:
        yield
    finally:
        sys.argv = arguments
        for number, handler in handlers.items():
            signal.signal(number, handler)
