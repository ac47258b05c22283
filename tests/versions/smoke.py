"""Smoke test of an installed rig: every help, a small study on the twin, its results, the page.

`PYTHON tests/versions/smoke.py` tests the rig that PYTHON imports. It needs no test package, so it
runs with any versions of the dependencies: `.ci/versions.py lowest` gives it the lowest ones that
pyproject.toml allows.
"""

import contextlib
import io
import json
import os
import platform
import signal
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import typer

import rig
from rig.commands.main import INTERRUPTED, app

RIG = str(Path(sysconfig.get_path("scripts"), "rig"))
LIMIT_S = 120
BAD_INPUT = 2
SMALLER = {
    "stages_after_baseline = 1": "stages_after_baseline = 0",
    "runs_per_series = 5": "runs_per_series = 1",
    "reference_runs = 3": "reference_runs = 1",
    "min_controls = 1": "min_controls = 0",
}
"""Preferences of a new study and what makes it small."""


def commands_below(command: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield the words that call this command and each one below it."""
    yield words
    if hasattr(command, "list_commands"):
        for name in command.list_commands(None):
            yield from commands_below(command.get_command(None, name), (*words, name))


def check_help() -> str:
    """Ask every command for its help, in this process."""
    root: Any = typer.main.get_command(app)
    found = list(commands_below(root))
    for words in found:
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            root.main([*words, "--help"], prog_name="rig", standalone_mode=False)
        usage = " ".join(("Usage: rig", *words))
        assert usage in out.getvalue(), f"no {usage!r} in its help"
    assert ("study", "plan") in found, "commands of `rig study` not found"
    return f"{len(found)} helps"


def call(*words: str) -> str:
    """Run the installed command; return its stdout."""
    done = subprocess.run(
        [RIG, *words], capture_output=True, text=True, timeout=LIMIT_S, check=False
    )
    said = f"`rig {' '.join(words)}` ended with {done.returncode}:\n{done.stdout}{done.stderr}"
    assert done.returncode == 0, said
    return done.stdout


def check_study() -> str:
    """Measure a small study on the twin, as the README does."""
    call("study", "new", "club")
    call("study", "board", "club", "A")
    call("study", "climate", "club", "room")
    call("study", "bag", "club", "Heron 1", "--mass", "440")
    call("study", "bag", "club", "Knot 1", "--mass", "440", "--role", "reference")
    file = Path("club", "study.toml")
    text = file.read_text(encoding="utf-8")
    for usual, small in SMALLER.items():
        assert usual in text, f"study.toml has no {usual!r}"
        text = text.replace(usual, small)
    file.write_text(text, encoding="utf-8")
    call("study", "plan", "club")
    call("run", "--plan", "club", "--twin", "--now")
    return f"{len(list(Path('club').rglob('*.run.jsonl')))} runs"


def check_results() -> str:
    """Analyse the runs, make the report with its figures and a Parquet table."""
    runs = json.loads(call("analyse", "club/runs", "--json"))["runs"]
    angles_deg = [run["onset_angle_deg"] for run in runs]
    assert len(runs) > 3, f"only {len(runs)} runs analysed"
    assert all(10 < angle_deg < 45 for angle_deg in angles_deg), f"{angles_deg=}"
    call("report", "club")
    report = Path("club", "report", "report.html").read_text(encoding="utf-8")
    for wanted in ("Heron 1", "<svg"):
        assert wanted in report, f"the report lacks {wanted!r}"
    call("figures", str(next(Path("club").rglob("*.run.jsonl"))), "--format", "png")
    call("study", "export", "club", "--parquet", "runs.parquet")
    assert Path("runs.parquet").stat().st_size > 0, "the Parquet table is empty"
    return f"{min(angles_deg):.1f} to {max(angles_deg):.1f}°"


def check_gather() -> str:
    """Gather the study twice and read the dataset; without the extra, be told what to install."""
    words = ("gather", "club", "--out", "all", "--json")
    if not all(find_spec(name) for name in ("fsspec", "pyarrow")):
        done = subprocess.run([RIG, *words], capture_output=True, text=True, check=False)
        assert done.returncode == BAD_INPUT, f"`rig gather` ended with {done.returncode}"
        assert done.stderr.count("\n") == 1, f"more than a sentence:\n{done.stderr}"
        assert "pip install '.[many]'" in done.stderr, done.stderr
        return "told what to install"
    first, again = json.loads(call(*words)), json.loads(call(*words))
    assert first["n_slides"] == len(list(Path("club").rglob("*.run.jsonl"))) > 3, f"{first=}"
    assert (again["n_slides"], again["n_read"]) == (first["n_slides"], 0), f"{again=}"
    return f"{first['n_slides']} slides in {first['n_parts']} parts"


def check_page() -> str:
    """Serve the page of a twin, fetch it, end it by Ctrl-C."""
    command = [RIG, "panel", "--twin", "--port", "0", "--out", "page"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as panel:
        try:
            assert panel.stderr is not None  # for the type checker: it is a pipe
            said = ""
            while "http://" not in said and (line := panel.stderr.readline()):
                said += line
            assert "http://" in said, f"`rig panel` gave no address:\n{said}"
            with urlopen("http://" + said.split("http://")[1].strip(), timeout=30) as answer:
                page = answer.read().decode()
            panel.send_signal(signal.SIGINT)
            said += panel.communicate(timeout=30)[1]
        finally:
            panel.kill()
    assert "<html" in page, f"no page: {page[:200]}"
    assert panel.returncode == INTERRUPTED, f"`rig panel` ended with {panel.returncode}:\n{said}"
    return f"{len(page)} characters"


def main() -> None:
    """Make the checks in an empty folder; exit with 1 at the first that fails."""
    print(f"Python {platform.python_version()}, {Path(rig.__file__).parent}")
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        os.environ["XDG_CONFIG_HOME"] = folder  # no settings of this user
        for check in (check_help, check_study, check_results, check_gather, check_page):
            began = time.monotonic()
            name = check.__name__.removeprefix("check_")
            try:
                found = check()
            except Exception as error:
                sys.exit(f"{name}: {type(error).__name__}: {error}")
            print(f"{name}: {found}, {time.monotonic() - began:.1f} s")


if __name__ == "__main__":
    main()
