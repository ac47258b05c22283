import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from rig.commands.gather import left_words
from tests.gather.league import make_league

MAIN = "from rig.commands.main import main; main()"


def rig(tmp_path: Path, *words: str, before: str = "") -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", f"{before}\n{MAIN}", *words],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"XDG_CONFIG_HOME": str(tmp_path / "config")},
    )


@pytest.mark.long
def test_gather_says_what_it_did_without_dask(tmp_path: Path) -> None:
    make_league(tmp_path / "league")
    words = ("gather", str(tmp_path / "league"), "--out", str(tmp_path / "d"))
    done = rig(
        tmp_path,
        *words,
        before="import sys; sys.modules['dask'] = sys.modules['distributed'] = None",
    )
    assert done.returncode == 0
    assert "7 slides in 3 parts. 6 run files in the sources, 6 read now, 1 left" in done.stdout
    assert "b.run.jsonl is not a run file" in done.stderr
    assert "names.key" in done.stderr
    again = rig(
        tmp_path, "gather", str(tmp_path / "league"), "--out", str(tmp_path / "d"), "--json"
    )
    found = json.loads(again.stdout)
    assert (found["n_read"], found["n_slides"], found["n_left_out"]) == (0, 7, 1)
    assert "names.key" not in again.stderr


@pytest.mark.parametrize(
    ("module", "more"),
    [("fsspec", ()), ("pyarrow", ()), ("distributed", ("--scheduler", "tcp://x:1"))],
)
def test_without_the_extra_one_sentence_says_what_to_install(
    tmp_path: Path, module: str, more: tuple[str, ...]
) -> None:
    make_league(tmp_path / "league")
    words = ("gather", str(tmp_path / "league"), "--out", str(tmp_path / "d"), *more)
    done = rig(tmp_path, *words, before=f"import sys; sys.modules['{module}'] = None")
    assert done.returncode == 2
    assert f"This needs {module}, which is not installed; `pip install '.[many]'`" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "d").exists()


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(1.0, "about 5 s left"), (62.0, "about 60 s left"), (600.0, "about 10 min left"),
     (7200.0, "about 2.0 h left")],
)  # fmt: skip
def test_time_left_is_rounded(seconds: float, words: str) -> None:
    assert left_words(seconds) == words
