"""`rig report` and `rig figures` as a person types them."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from rig.calibration.file import save_calibration
from rig.calibration.show import u_over_range
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


@pytest.mark.long
def test_the_page_holds_the_answer_that_answer_gives(rig: Rig, shed: Path, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    said = rig("report", str(shed), "--out", str(out), "--json")
    assert said.code == 0, said.err
    assert said.err == f"The report is {out}.\n"
    document = said.document
    answer: dict[str, Any] = rig("answer", str(shed), "--json").document
    assert document["answer"] == answer
    analysed = rig("analyse", str(shed), "--json").document["runs"]
    angles = [each["onset_angle_deg"] for row in document["series"] for each in row["slides"]]
    assert sorted(angles) == sorted(one["onset_angle_deg"] for one in analysed)
    page = Page(out.read_text("utf-8"))
    shown = {one.attributes["data-key"]: one for one in page.of("data")}
    for place, one in enumerate(document["faces"]):
        same = next(b for b in answer["bags"] if (b["bag"], b["face"]) == (one["bag"], one["face"]))
        value = shown[f"faces.{place}.angle_deg"].attributes["value"]
        assert float(value) == same["angle_deg"] == one["stages"][-1]["angle_deg"]
    (pick,) = [p for p in page.of("p") if p.attributes.get("class") == "pick"]
    assert pick.words == answer["sentences"][0]


def test_each_run_file_is_opened_once(rig: Rig, shed: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(shed, tmp_path / "shed"))
    shutil.rmtree(folder / FOLDER, ignore_errors=True)
    runs = {path.name: 1 for path in folder.rglob("*.run.jsonl")}
    assert len(runs) > MANY, "so many that another process would share the work"
    for _ in range(2):  # the second time, results are kept
        with counting_opens() as opened:
            assert rig("report", str(folder)).code == 0
        assert {n: opened[n] for n in opened if n.endswith(".run.jsonl")} == runs


def test_without_a_place_it_lies_in_the_study(rig: Rig, shed: Path) -> None:
    said = rig("report", str(shed), "--temperature", "22", "--humidity", "50", "--units", "us")
    assert said.code == 0, said.err
    header = Page((shed / "report" / "report.html").read_text("utf-8")).of("header")[0].words
    assert "72 °F, 50 %RH" in header


@pytest.mark.long
def test_figures_of_a_run_and_of_a_study(rig: Rig, shed: Path, tmp_path: Path) -> None:
    run = str(next((shed / "runs").rglob("*.run.jsonl")))
    said = rig("figures", run, "--out", "one")
    assert said.err == "3 figures are in one.\n"
    names = {path.name for path in (tmp_path / "one").iterdir()}
    assert names == {f"{n}.{e}" for n in ("run", "onset", "budget") for e in ("svg", "png")}
    said = rig("figures", str(shed), "--out", "all", "--format", "svg")
    assert said.code == 0, said.err
    assert len(list((tmp_path / "all").glob("*.svg"))) >= 11


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
        (["report", "{shed}", "--humidity", "50"], "--temperature T and --humidity H"),
        (["report", "{shed}", "--board", "shed bord"], "did you mean 'shed board'"),
        (["report", "{shed}", "--out", "/proc/page.html"], "name another place with --out"),
        (["figures", "{shed}/study.toml"], "is not a run file"),
        (["figures", "{shed}", "--format", "gif"], "--format takes"),
    ],
)
def test_what_it_refuses(rig: Rig, shed: Path, words: list[str], says: str) -> None:
    said = rig(*(word.format(shed=shed) for word in words))
    assert said.code == 2
    assert said.out == ""
    assert says in said.err
    assert said.err.count("\n") == 1
