"""`rig report` and `rig figures` as a person types them."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from rig.calibration.file import save_calibration
from rig.calibration.show import u_over_range
from rig.report.evidence import collect
from rig.report.figures_rig import residuals_figure
from rig.study.slides.results import FOLDER, MANY
from tests.calibration.example import calibration
from tests.commands.conftest import Rig
from tests.opened import counting_opens
from tests.report.drawn import points
from tests.report.fonts import open_fonts
from tests.report.page_reader import Page
from tests.report.study_example import build


@pytest.fixture(scope="module", autouse=True)
def _fonts() -> None:
    open_fonts()


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("page") / "shed", small=True)


def test_the_page_holds_the_numbers_of_compare(rig: Rig, shed: Path, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    said = rig("report", str(shed), "--out", str(out), "--json")
    assert said.code == 0, said.err
    assert said.err == f"The report is {out}.\n"
    document = said.document
    compared: dict[str, Any] = rig("compare", str(shed), "--json").document
    assert document["paths"] == compared.pop("paths")
    compared.pop("cells")
    assert {k: document["comparison"][k] for k in compared} == compared
    analysed = rig("analyse", str(shed), "--json").document["runs"]
    by_id = {one["run_id"]: one for one in document["runs"]}
    for one in analysed:
        mine = by_id[one["run_id"]] | {"run_file": one["run_file"]}
        assert mine == one
    effects = [
        d
        for d in Page(out.read_text("utf-8")).of("data")
        if d.attributes["data-key"] == "comparison.effects.0.effect_deg"
    ]
    assert float(effects[0].attributes["value"]) == compared["effects"][0]["effect_deg"]


def test_without_a_place_it_lies_in_the_study(rig: Rig, shed: Path) -> None:
    said = rig("report", str(shed), "--temperature", "22", "--humidity", "50", "--units", "us")
    assert said.code == 0, said.err
    words = Page((shed / "report" / "report.html").read_text("utf-8")).of("main")[0].words
    assert "with 50 %RH at the board and 71.6 °F" in words


def test_each_run_file_is_opened_once(rig: Rig, shed: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(shed, tmp_path / "shed"))
    shutil.rmtree(folder / FOLDER)
    runs = {path.name: 1 for path in folder.rglob("*.run.jsonl")}
    assert len(runs) > MANY, "so many that another process would share the work"
    with counting_opens() as opened:
        assert rig("report", str(folder)).code == 0
    assert {n: opened[n] for n in opened if n.endswith(".run.jsonl")} == runs
    with counting_opens() as opened:
        collect(folder)
    assert {n: opened[n] for n in opened if n.endswith(".run.jsonl")} == runs, "results were kept"


def test_figures_of_a_run_and_of_a_study(rig: Rig, shed: Path, tmp_path: Path) -> None:
    run = str(next((shed / "runs").rglob("*.run.jsonl")))
    said = rig("figures", run, "--out", "one")
    assert said.err == "3 figures are in one.\n"
    names = {path.name for path in (tmp_path / "one").iterdir()}
    assert names == {f"{n}.{e}" for n in ("run", "onset", "budget") for e in ("svg", "png")}
    said = rig("figures", str(shed), "--out", "all", "--format", "svg")
    assert said.code == 0, said.err
    assert len(list((tmp_path / "all").glob("*.svg"))) >= 12


def test_the_figure_of_a_calibration(rig: Rig, tmp_path: Path) -> None:
    found = calibration(residuals_deg=(0.01, -0.02, 0.01), angles_deg=(0.0, 10.0, 20.0))
    path = tmp_path / "found.json"
    save_calibration(path, found)
    said = rig("figures", str(path), "--out", "one", "--format", "svg")
    assert said.err == "The figure is in one.\n"
    assert (tmp_path / "one" / "residuals.svg").stat().st_size > 5_000
    drawn = residuals_figure(found)
    assert drawn is not None
    residuals, left = drawn.axes
    (differences,) = residuals.lines[1:]
    assert points(differences) == [[0.0, 0.01], [10.0, -0.02], [20.0, 0.01]]
    (curve,) = left.lines
    assert points(curve) == [list(pair) for pair in u_over_range(found)]
    path.write_text("{}")
    assert rig("figures", str(path)).code == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["report", "barn"], "There is no study folder barn"),
        (["report", "{shed}", "--units", "feet"], "--units takes `metric` or `us`"),
        (["report", "{shed}", "--humidity", "50"], "Give both --temperature T and --humidity H"),
        (["report", "{shed}", "--after", "after 9"], "No run was made at stage 'after 9'"),
        (["report", "{shed}", "--out", "/proc/page.html"], "name another place with --out"),
        (["figures", "{shed}/study.toml"], "is no run file"),
        (["figures", "{shed}", "--format", "gif"], "--format takes"),
    ],
)
def test_what_it_refuses(rig: Rig, shed: Path, words: list[str], says: str) -> None:
    said = rig(*(word.format(shed=shed) for word in words))
    assert said.code == 2
    assert said.out == ""
    assert says in said.err
    assert said.err.count("\n") == 1
