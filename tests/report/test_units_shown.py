"""Names that look like quantities stay as they are in US units; quantities are converted."""

from pathlib import Path

import pytest

from rig.report.document import build
from rig.report.evidence import collect
from rig.report.page import render
from rig.study.answer.ask import air_at, ask
from rig.study.folder.journal import Correction
from rig.study.folder.study import open_study
from rig.study.slides.table import slide_table
from tests.commands.conftest import Rig, rig
from tests.study.simulated_study import simulate_study

__all__ = ["rig"]
BOARD, BAG, RECIPE = "18 mm birch", "5 °C warmer", "30 g soap"
DAY = ("--temperature", "45", "--humidity", "50", "--angle", "21")


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study whose board, bag and recipe have names with a number and a unit in them."""
    path = simulate_study(tmp_path_factory.mktemp("made") / "study").path
    catalogue = path / "study.toml"
    text = catalogue.read_text()
    for old, new in (("boards.A", BOARD), ("bags.T1", BAG), ("treatments.soft", RECIPE)):
        section = old.partition(".")[0]
        text = text.replace(f"[{old}]", f'[{section}."{new}"]')
    catalogue.write_text(text.replace('treatment = "soft"', f'treatment = "{RECIPE}"'))
    rows = slide_table(open_study(path)).of_rig
    of_bag = [row.slide_id for row in rows if row.bag == "T1"]
    at = "2026-11-27T00:00:00Z"
    study = open_study(path)
    study.note(
        Correction(at=at, runs=tuple(row.slide_id for row in rows), board=BOARD, note="named"),
        Correction(at=at, runs=tuple(of_bag), bag=BAG, board=BOARD, note="named"),
    )
    return path


def check_names(page: str) -> None:
    assert BOARD in page
    assert BAG in page
    for wrong in ("0.71 in birch", "41 °F warmer", "9 °F warmer", "1.06 oz soap"):
        assert wrong not in page


def check_air(page: str) -> None:
    assert "113 °F" in page
    assert "45 °C" not in page


def test_the_report_keeps_names_and_converts_quantities(named: Path) -> None:
    document = build(collect(ask(open_study(named), air=air_at(45.0, 50.0), angle_deg=21.0)))
    page = render(document, [], study=named, folder=named, units="us")
    check_names(page)
    check_air(page)
    assert RECIPE in page
    assert document["said"]["air"] == "45 °C, 50 %RH"


@pytest.mark.parametrize("command", ["answer", "choose", "sheet"])
def test_names_stay_and_quantities_are_converted(rig: Rig, named: Path, command: str) -> None:
    said = rig(command, str(named), *DAY, "--units", "us")
    assert said.code == 0, said.err
    page = said.out
    if command == "sheet":
        page = (named / "report" / "sheet.html").read_text()
    assert BAG in page
    check_names(page + BOARD)
    check_air(page)


def test_as_json_all_is_metric(rig: Rig, named: Path) -> None:
    found = rig("choose", str(named), *DAY, "--units", "us", "--json").document
    assert found["air"]["temperature_c"] == 45.0
    assert found == rig("choose", str(named), *DAY, "--json").document
