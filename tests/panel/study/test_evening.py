"""An evening on the page alone, in a real browser. Long: `python -m pytest -m browser tests/panel`.

By hand, without a rig; and beside a twin in real time. Taps and typed characters are counted:
digits of an angle on the page's pad and names are typed, all else is a tap. The figures of
`tests/bench/PANEL.md` come from the same steps, by `python -m tests.bench.panel_evening`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rig.study.folder.journal import Reading, Treatment
from rig.study.folder.study import open_study
from rig.study.slides.table import slide_table
from tests.panel.browser import PHONE, Page, browser, need_browser
from tests.panel.rig_example import Rig, served_rig, wait_for
from tests.panel.study.club import make_club
from tests.panel.study.evening import (
    EFFECT_DEG,
    WATCH,
    Hand,
    answered,
    half_by_hand,
    half_on_the_rig,
    page_alone,
    reads,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.timeout(3600),  # real time, and a model that shares the computer
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the driver's own sockets
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
MOST_TAPS = 25
SMALLEST = """
return Math.min(...[...document.querySelectorAll('button, summary, select, label')]
  .filter((e) => !e.querySelector('input:not([type=checkbox], [type=radio]), select'))
  .map((e) => e.getBoundingClientRect()).filter((r) => r.width > 1).map((r) => r.height))
"""


@pytest.fixture(autouse=True)
def _browser_is_there() -> None:
    need_browser()


def treated(study: Path) -> list[str]:
    return [entry.bag for entry in open_study(study).journal.of(Treatment)]


def put_on(bag: str, face: str) -> str:
    return f"Put {bag} on, {face} face down, its marked edge downhill."


@contextmanager
def beside_a_rig(folder: Path, runs_per_series: int) -> Iterator[tuple[Path, Rig, Page]]:
    """A study, a twin in real time whose start button is pressed, and its page on a phone."""
    study = make_club(
        folder, runs_per_series=runs_per_series, raise_start="whole", rate_deg_s=1.5, dwell_s=0.5
    ).path
    with (
        served_rig(study / "runs", presses=True, study=study) as rig,
        browser(rig.url, PHONE) as page,
    ):
        yield study, rig, page


def test_an_evening_by_thumb(tmp_path: Path) -> None:
    study = make_club(tmp_path / "club").path
    with page_alone(study) as url, browser(url, PHONE) as page:
        hand = Hand(page)
        wait_for(lambda: "Put Harbour" in page.text("next"), "the first bag")
        half_by_hand(hand, 0.0)
        assert treated(study) == []
        hand.treat()
        half_by_hand(hand, EFFECT_DEG)
        wait_for(lambda: reads(page, "tonight-words", "8 of 8"), "the end")
        answered(hand)
        assert len(open_study(study).journal.of(Reading)) == 16
        assert treated(study) == [f"Harbour {i}" for i in (1, 2, 3)]
        assert page.complaints() == []
        assert hand.taps <= MOST_TAPS
        assert hand.letters == len("Ann")
        assert page.run(SMALLEST) >= 48.0


def test_an_evening_beside_the_rig(tmp_path: Path) -> None:
    """One raise for each series, so that it takes minutes; more would need no more taps."""
    with beside_a_rig(tmp_path / "club", runs_per_series=1) as (study, rig, page):
        hand = Hand(page)
        half_on_the_rig(hand)
        assert rig.outcomes() == ["slid"] * 8
        hand.treat()
        half_on_the_rig(hand)
        assert "Use Harbour" in answered(hand)
        slides = slide_table(open_study(study)).valid
        assert [slide.stage for slide in slides] == ["baseline"] * 8 + ["after 1"] * 8
        assert len({(one.bag, one.face, one.stage) for one in slides}) == 16
        assert hand.asked == [put_on(str(slide.bag), str(slide.face)) for slide in slides]
        assert treated(study) == [f"Harbour {i}" for i in (1, 2, 3)]
        assert (hand.taps, hand.letters, hand.digits) == (5, 0, 0)
        assert page.run(SMALLEST) >= 48.0


def test_a_bag_is_put_on_once_and_then_back(tmp_path: Path) -> None:
    with beside_a_rig(tmp_path / "club", runs_per_series=2) as (study, rig, page):
        hand = Hand(page)
        wait_for(lambda: "Begin: 8 series" in page.text("measure"), "the proposal")
        wait_for(lambda: page.find("measure").is_enabled(), "leave to begin")
        page.run(
            "const box = document.getElementById('bag'); box.value = 'Harbour 3';"
            "box.dispatchEvent(new Event('change', {bubbles: true}))"
        )
        wait_for(lambda: "Begin with Harbour 3" in page.text("measure"), "the picked bag")
        page.run(WATCH)
        hand.tap("#measure")
        wait_for(lambda: rig.outcomes() == ["slid"] * 2, "both runs", 300.0)
        (first, _) = slide_table(open_study(study)).valid
        asked = page.run("return window.watched")
        assert asked == [put_on("Harbour 3", str(first.face)), "Put Harbour 3 back the same way."]
