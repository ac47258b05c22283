"""An evening on the page alone: four bags, two faces, before and after a treatment, counted."""

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from tests.panel.browser import Page
from tests.panel.rig_example import wait_for

LEVELS = {"slick": 19.0, "grip": 26.0}
EFFECT_DEG = -2.0
CONTROL = "Harbour 4"
LONG_S = 1800.0
"""A half of an evening on the rig takes as long as its slides do."""
WATCH = """
window.watcher?.disconnect();
window.watched = [];
let before = '';
window.watcher = new MutationObserver(() => {
  const isPlacing = document.getElementById('state').textContent === 'Placing';
  const now = isPlacing ? document.getElementById('next').textContent : '';
  if (now && now !== before) window.watched.push(now);
  before = now;
});
window.watcher.observe(
  document.querySelector('main'), {subtree: true, childList: true, characterData: true});
"""
"""Keeps all that the page asks of a hand, however short it stood there."""


@dataclass
class Hand:
    """A thumb that counts what it does; a digit on the page's own pad is none of its taps."""

    page: Page
    taps: int = 0
    digits: int = 0
    letters: int = 0
    slides: int = 0
    mountings: int = 0
    asked: list[str] = field(default_factory=list)
    """What the page asked for, one after the other."""

    def tap(self, css: str) -> None:
        element = self.page.driver.find_element("css selector", css)
        self.page.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()
        self.taps += 1

    def read(self, angle_deg: float) -> None:
        """Three digits for a slide."""
        for digit in f"{angle_deg:04.1f}".replace(".", ""):
            name = f"//div[@id='pad']/button[text()='{digit}']"
            self.page.driver.find_element("xpath", name).click()
            self.digits += 1
        self.slides += 1

    def name(self, element: str, text: str) -> None:
        self.page.type(element, text)
        self.letters += len(text)

    def treat(self) -> None:
        """The recipe and the bags that the page proposes; it asks once more."""
        page = self.page
        wait_for(lambda: page.is_shown("to-treat"), "the treatment", LONG_S)
        self.tap("#to-treat")
        self.tap("[data-act=treat] > button")
        wait_for(lambda: "cannot be undone" in page.text("treat-box"), "what it costs")
        self.tap("[data-act=treat] > button")
        wait_for(partial(reads, page, "tonight-words", "0 of 8"), "the second half")


def reads(page: Page, name: str, words: str) -> bool:
    """Whether these words stand there."""
    return words in page.text(name)


def half_by_hand(hand: Hand, shift_deg: float) -> None:
    """All bag faces once, three slides each."""
    page = hand.page
    for number in range(8):
        wait_for(partial(reads, page, "tonight-words", f"{number} of 8"), "the next bag")
        face = page.run("return document.querySelector('#face-picks :checked').value")
        bag = page.find("bag").get_attribute("value")
        hand.asked.append(page.text("next"))
        level = LEVELS[face] + 0.2 * number + (shift_deg if bag != CONTROL else 0.0)
        for extra in (-0.3, 0.0, 0.3):
            hand.read(level + extra)
        hand.mountings += 1
        hand.tap("#note")
        if number == 0 and not hand.letters:
            hand.name("reader", "Ann")
            hand.tap("#note")


def half_on_the_rig(hand: Hand) -> None:
    """One tap; everything else is the start button at the rig, which the twin's person presses."""
    page = hand.page
    wait_for(partial(reads, page, "measure", "Begin: 8 series"), "the proposal")
    wait_for(lambda: page.find("measure").is_enabled(), "leave to begin")
    page.run(WATCH)
    hand.tap("#measure")

    def is_done() -> bool:
        return page.is_shown("to-treat") or "All of this evening" in page.text("next")

    wait_for(is_done, "the end of the half", LONG_S)
    hand.asked += page.run("return window.watched")
    hand.mountings += 8


def answered(hand: Hand) -> str:
    """The first sentence of an answer that knows all slides."""
    page = hand.page
    wait_for(lambda: "Use Harbour" in page.text("first"), "the answer", 180.0)
    wait_for(lambda: "newer" not in page.text("age"), "the newest answer", 180.0)
    return page.text("first")


@contextmanager
def page_alone(study: Path) -> Iterator[str]:
    """The address of the page of a study without a rig."""
    command = "from rig.commands.main import main; main()"
    words = [sys.executable, "-c", command, "panel", str(study), "--port", "0"]
    with subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        found = None
        while found is None:
            line = process.stderr.readline()
            assert line, "the page did not begin"
            found = re.search(r"http://localhost:\d+/", line)
        try:
            yield found[0]
        finally:
            process.terminate()
