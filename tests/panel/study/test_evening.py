"""An evening on the page alone, in a real browser. Long: `python -m pytest -m browser tests/panel`.

Four bags, two faces, before and after a treatment, all by hand readings. Taps and typed characters
are counted: digits of an angle and names are typed, everything else is a tap.
"""

import re
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from rig.study.folder.journal import Reading, Treatment
from rig.study.folder.study import open_study
from tests.panel.browser import PHONE, Page, browser, need_browser
from tests.panel.rig_example import wait_for
from tests.panel.study.club import make_club

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the driver's own sockets
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
LEVELS = {"slick": 19.0, "grip": 26.0}
MOST_TAPS = 25


@pytest.fixture
def url(tmp_path: Path) -> Iterator[str]:
    """The page of a study without a rig."""
    need_browser()
    make_club(tmp_path / "club")
    command = "from rig.commands.main import main; main()"
    words = [sys.executable, "-c", command, "panel", str(tmp_path / "club"), "--port", "0"]
    with subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        found = None
        while found is None:
            line = process.stderr.readline()
            assert line, "the page did not begin"
            found = re.search(r"http://localhost:\d+/", line)
        yield found[0]
        process.terminate()


class Hand:
    """A thumb that counts what it does."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = 0
        self.digits = 0
        self.letters = 0

    def tap(self, css: str) -> None:
        element = self.page.driver.find_element("css selector", css)
        self.page.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()
        self.taps += 1

    def read(self, angle_deg: float) -> None:
        """Three digits on the page's own pad."""
        for digit in f"{angle_deg:04.1f}".replace(".", ""):
            name = f"//div[@id='pad']/button[text()='{digit}']"
            self.page.driver.find_element("xpath", name).click()
            self.digits += 1

    def name(self, field: str, text: str) -> None:
        self.page.type(field, text)
        self.letters += len(text)


def _reads(page: Page, words: str) -> bool:
    return words in page.text("tonight-words")


def half(hand: Hand, shift_deg: float) -> int:
    """All bag faces once; returns the taps."""
    page, before = hand.page, hand.taps
    for number in range(8):
        done = f"{number} of 8"
        wait_for(partial(_reads, page, done), "the next bag")
        face = page.run("return document.querySelector('#faces :checked').value")
        bag = page.find("bag").get_attribute("value")
        treated = bag != "Harbour 4"
        level = LEVELS[face] + 0.2 * number + (shift_deg if treated else 0.0)
        for extra in (-0.3, 0.0, 0.3):
            hand.read(level + extra)
        hand.tap("#note")
        if number == 0 and not hand.letters:
            hand.name("reader", "Ann")
            hand.tap("#note")
    return hand.taps - before


def test_an_evening_by_thumb(url: str, tmp_path: Path) -> None:
    with browser(url, PHONE) as page:
        hand = Hand(page)
        wait_for(lambda: "Put Harbour" in page.text("next"), "the first bag")
        first = half(hand, 0.0)
        wait_for(lambda: page.is_shown("to-treat"), "the treatment")
        hand.tap("#to-treat")
        hand.tap("[data-act=treat] > button")
        wait_for(lambda: "cannot be undone" in page.text("treat-box"), "what it costs")
        assert open_study(tmp_path / "club").journal.of(Treatment) == []
        hand.tap("[data-act=treat] > button")
        wait_for(lambda: "0 of 8" in page.text("tonight-words"), "the second half")
        second = half(hand, -2.0)
        wait_for(lambda: "8 of 8" in page.text("tonight-words"), "the end")
        wait_for(lambda: "Use Harbour" in page.text("first"), "the answer", 120.0)
        wait_for(lambda: "newer" not in page.text("age"), "the newest answer", 120.0)
        journal = open_study(tmp_path / "club").journal
        assert len(journal.of(Reading)) == 16
        assert [entry.bag for entry in journal.of(Treatment)] == [f"Harbour {i}" for i in (1, 2, 3)]
        assert page.complaints() == []
        print(
            f"{first} and {second} taps, {hand.taps} in all; {hand.digits} digits,"
            f" {hand.letters} letters"
        )
        assert max(first, hand.taps - first) <= MOST_TAPS
        assert hand.letters == len("Ann")
        smallest_px = page.run(
            "return Math.min(...[...document.querySelectorAll('button, summary, select, label')]"
            ".filter((e) => !e.querySelector('input:not([type=checkbox], [type=radio]), select'))"
            ".map((e) => e.getBoundingClientRect())"
            ".filter((r) => r.width > 1).map((r) => r.height))"
        )
        assert smallest_px >= 48.0
