"""WCAG 2.2 AA by axe-core: page, report, sheet; light and dark; phone, desk, on its side, 200 %.

Long, in a real browser: `python -m pytest -m browser tests/panel/test_axe.py`.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.panel.axe import check, need_axe
from tests.panel.browser import Page, browser, need_browser
from tests.panel.rig_example import served_rig, wait_for
from tests.panel.study.club import make_club
from tests.panel.study.evening import page_alone
from tests.study.answer.evening import evening

pytestmark = [
    pytest.mark.browser,
    pytest.mark.timeout(1800),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the driver's own sockets
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
AIR = ["--temperature", "22", "--humidity", "50"]


@pytest.fixture
def axe() -> str:
    need_browser()
    return need_axe()


def open_all(page: Page) -> None:
    """Every part that can be opened."""
    page.run("for (const one of document.querySelectorAll('details:not([name])')) one.open = true")


def open_act(page: Page, act: str) -> None:
    page.run(f"document.querySelector('form[data-act={act}]').closest('details').open = true")


def test_what_is_wrong_is_found(tmp_path: Path, axe: str) -> None:
    """A rule that never fails says nothing: grey on white in dark only, a field without a name."""
    page = tmp_path / "bad.html"
    page.write_text(
        "<!doctype html><html lang=en><title>Bad</title><style>p { color: #111; background: #fff }"
        "@media (prefers-color-scheme: dark) { p { color: #bbb } }"
        "@media (max-width: 400px) { p { width: 500px } }</style><main><h1>Bad</h1><p>Text</p>"
        "<input></main>"
    )
    with browser(page.as_uri()) as shown:
        found = check(shown, axe, "bad")
    assert sum("label:" in one for one in found) == 8
    pale = [one for one in found if "color-contrast:" in one]
    assert len(pale) == 4
    assert all(", dark:" in one for one in pale)
    wide = [one.split(":")[0] for one in found if "px too wide" in one]
    assert wide == ["bad, phone, light", "bad, phone, dark"]


def test_the_studys_page(tmp_path: Path, axe: str) -> None:
    study = evening(tmp_path / "club").path
    found: list[str] = []
    with page_alone(study) as url, browser(url) as page:
        wait_for(lambda: "Use Quay" in page.text("first"), "the answer", 300.0)
        found += check(page, axe, "evening and answer")
        open_all(page)
        found += check(page, axe, "all that opens")
        open_act(page, "treat")
        page.run("document.querySelector('[data-act=treat] > button').click()")
        wait_for(lambda: page.text("told") or "undone" in page.text("treat-box"), "the question")
        found += check(page, axe, "before a treatment")
        for act in ("play", "mass", "droop", "wipe", "bag"):
            open_act(page, act)
            found += check(page, axe, act)
        open_act(page, "pick")
        page.run(
            "const form = document.querySelector('[data-act=pick]');"
            "form.elements.temperature.value = '22'; form.elements.humidity.value = '50';"
            "form.querySelector('button').click()"
        )
        wait_for(lambda: page.is_shown("check-here"), "the pick", 300.0)
        found += check(page, axe, "pick")
        page.run("document.querySelector('#pad button').click()")
        found += check(page, axe, "a reading")
    assert found == []


def test_the_page_beside_a_rig(tmp_path: Path, axe: str) -> None:
    study = make_club(tmp_path / "club", runs_per_series=1, raise_start="whole", dwell_s=0.5).path
    found: list[str] = []
    with (
        served_rig(study / "runs", presses=True, study=study, is_open=True) as rig,
        browser(rig.url) as page,
    ):
        wait_for(lambda: page.is_shown("code"), "the field for the code")
        found += check(page, axe, "a watcher")
        page.type("code", rig.code_after())
        page.press("do-pair")
        wait_for(lambda: page.find("measure").is_enabled(), "leave to begin")
        open_all(page)
        found += check(page, axe, "parked")
        page.press("measure")
        wait_for(lambda: rig.state == "raising", "a raise")
        found += check(page, axe, "moving")
        rig.emergency_stop(True)
        wait_for(lambda: page.text("state") == "Halted", "the halt")
        found += check(page, axe, "halted")
        rig.emergency_stop(False)
    assert found == []


def test_report_and_sheet(tmp_path: Path, axe: str) -> None:
    study = evening(tmp_path / "club").path
    for command in ("report", "sheet"):
        rig = "from rig.commands.main import main; main()"
        words = [sys.executable, "-c", rig, command, str(study), *AIR]
        subprocess.run(words, check=True, timeout=300)
    found: list[str] = []
    for name in ("report", "sheet"):
        file = study / "report" / f"{name}.html"
        assert file.is_file()
        with browser(file.as_uri()) as page:
            found += check(page, axe, name)
            open_all(page)
            found += check(page, axe, f"{name}, all that opens")
    assert found == []
