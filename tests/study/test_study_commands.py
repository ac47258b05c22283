"""`rig compare`, `rig choose` and `rig sheet` on run files of the simulator."""

import json
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rig.commands import main as entry
from rig.study.gather import gather
from tests.study.simulated_study import simulate_study

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = simulate_study(tmp_path_factory.mktemp("made") / "study").path
    gather(path)  # its results are kept, so that each copy is quick to open
    return path


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "study"))


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Iterator[Run]:
    """Call the command line in this process: exit code, stdout, stderr."""
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}

    def call(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["rig", *map(str, words)])
        code = 0
        try:
            entry.main()
        except SystemExit as left:
            code = int(left.code or 0)
        said = capsys.readouterr()
        return code, said.out, said.err

    yield call
    for number, handler in before.items():
        signal.signal(number, handler)


def test_compare_finds_the_simulated_effect(rig: Run, folder: Path) -> None:
    code, out, _ = rig("compare", folder, "--json")
    assert code == 0
    (effect,) = json.loads(out)["effects"]
    # 0.05 in the coefficient about 0.37 is 2.5°
    assert effect["effect_mu"] == pytest.approx(0.05, abs=0.01)
    assert effect["lower_deg"] < effect["effect_deg"] < effect["upper_deg"]
    code, out, _ = rig("compare", folder)
    assert code == 0
    assert "What this says" in out
    assert "No reference bag was run" in out
    assert "Paths over the treatments" in out


def test_choose_ranks_and_explains(rig: Run, folder: Path) -> None:
    code, out, _ = rig(
        "choose", folder, "--temperature", 22, "--humidity", 50, "--mu", 0.43, "--json"
    )
    assert code == 0
    document = json.loads(out)
    assert document["candidates"][0]["bag"] == "T2"  # 0.38 + 0.05
    assert document["provisional"]
    like = ("--like", "C1/slick@A:23,40", "--reading", "T1/slick=22.5,22.1,22.3")
    code, out, _ = rig("choose", folder, "--temperature", 22, "--humidity", 50, *like)
    assert code == 0
    assert "like C1" in out
    assert "moved the list" in out


def test_choose_reads_the_air_on_the_rig(rig: Run, folder: Path) -> None:
    code, out, err = rig("choose", folder, "--twin", "--seed", 5, "--angle", 21, "--json")
    assert code == 0
    assert "Air by the rig's sensor" in err
    air = json.loads(out)["air"]
    assert 10.0 < air["temperature_c"] < 35.0
    assert f"{air['temperature_c']:.1f} °C" in err
    _, _, err = rig("choose", folder, "--twin", "--seed", 5, "--angle", 21, "--units", "us")
    assert f"{air['temperature_c'] * 1.8 + 32.0:.1f} °F" in err


def test_sheet_writes_a_page_and_prints_text(rig: Run, folder: Path) -> None:
    words = (folder, "--temperature", 22, "--humidity", 50, "--angle", 21)
    code, out, err = rig("sheet", *words)
    assert (code, out) == (0, "")
    assert "sheet.html" in err
    assert (folder / "report" / "sheet.html").read_text().startswith("<!doctype html>")
    code, out, _ = rig("sheet", *words, "--text")
    assert code == 0
    assert "Check the pick" in out


@pytest.mark.parametrize("command", ["choose", "sheet"])
def test_a_run_that_was_cut_off_is_told(rig: Run, folder: Path, command: str) -> None:
    words = (command, folder, "--temperature", 22, "--humidity", 50, "--angle", 21)
    assert "cut off" not in rig(*words)[2]
    path = sorted(folder.rglob("*.run.jsonl"))[0]
    path.write_bytes(path.read_bytes()[:-60])
    code, _, err = rig(*words)
    assert code == 0
    assert f"{path.name} has no last line: it was cut off in state" in err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "Give the day's air"),
        (("--temperature", 22), "Give both"),
        (("--temperature", 22, "--humidity", 150), "--humidity must lie between 0 and 100 %"),
        (("--temperature", 22, "--humidity", 50), "There is no wish"),
        (("--temperature", 22, "--humidity", 50, "--angle", 20, "--mu", 0.4), "Give one wish"),
        (("--temperature", 22, "--humidity", 50, "--angle", 80), "between 0 and 60"),
        (("--temperature", 22, "--humidity", 50, "--like", "C1"), "names no bag to be like"),
        (("--temperature", 22, "--humidity", 50, "--angle", 20, "--reading", "C1=3"), "no reading"),
        (("--temperature", 22, "--humidity", 50, "--angle", 20, "--from", "rain"), "from `dry`"),
        (("--temperature", 22, "--humidity", 50, "--angle", 20, "--tolerance", 0), "more than 0"),
    ],
)
def test_what_was_typed_wrong_is_one_sentence(
    rig: Run, folder: Path, words: tuple[object, ...], sentence: str
) -> None:
    code, out, err = rig("choose", folder, *words)
    assert code == 2
    assert out == ""
    assert sentence in err
    assert err.count("\n") == 1


def test_a_study_without_runs(rig: Run, folder: Path) -> None:
    shutil.rmtree(folder / "runs")
    code, _, err = rig("compare", folder)
    assert code == 2
    assert "has no run yet" in err


def test_compare_names_the_stages_there_are(rig: Run, folder: Path) -> None:
    code, _, err = rig("compare", folder, "--after", "after 9")
    assert code == 2
    assert "baseline, after 1" in err
