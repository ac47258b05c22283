"""An evening on the page alone, counted: taps, typed characters, what hands do, minutes.

`python -m tests.bench.panel_evening [--runs 3] [--write]` goes twice through four bags, two faces,
before and after a treatment, in Chromium: with readings by hand, and beside a twin in real time
with so many slides a series (and the settling raise). Taps and characters are counted. Minutes of
handling are those counts times what each act takes; these times are judged and stand in the table.
"""

import argparse
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from rig.study.folder.study import open_study
from rig.study.slides.table import slide_table
from tests.bench.heading import Table, columns
from tests.panel.browser import PHONE, browser
from tests.panel.rig_example import served_rig, wait_for
from tests.panel.study.club import make_club
from tests.panel.study.evening import (
    EFFECT_DEG,
    Hand,
    answered,
    half_by_hand,
    half_on_the_rig,
    page_alone,
)

INPUTS = (
    "rig/panel/static/study.js",
    "rig/panel/study/book.py",
    "rig/panel/study/tonight.py",
    "tests/panel/study/evening.py",
    "tests/bench/panel_evening.py",
)
TAP_S, DIGIT_S, LETTER_S = 2.0, 0.7, 0.7
BAG_S = 20.0
"""To take a bag off and put another in its place, face and edge as asked."""
LIFT_S = 25.0
"""To lift a board by hand to the slide, read the level, lower it, lay the bag back."""
BACK_S = 10.0
"""To lay the bag back on the rig and press its start button."""


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=3, help="slides of a series on the rig")
    parser.add_argument("--write", action="store_true", help="put the table into PANEL.md")
    asked = parser.parse_args()
    table = Table("tests/bench/PANEL.md", "an evening on the page", INPUTS)
    table.show(lines_of(asked.runs), seed=3, write=asked.write)


def lines_of(runs: int) -> Iterator[str]:
    """Measure; the lines of the table in Markdown."""
    yield from columns(
        *("evening", "taps", "digits", "letters", "bags put on", "slides", "other presses"),
        *("handling, min", "whole, min"),
    )
    with tempfile.TemporaryDirectory() as folder:
        study = make_club(Path(folder) / "club").path
        with page_alone(study) as url, browser(url, PHONE) as page:
            hand = Hand(page)
            wait_for(lambda: "Put Harbour" in page.text("next"), "the first bag")
            half_by_hand(hand, 0.0)
            hand.treat()
            half_by_hand(hand, EFFECT_DEG)
            answered(hand)
        seconds = handling_s(hand) + hand.slides * LIFT_S
        yield row("by hand", hand, hand.slides, 0, seconds, None)
    with tempfile.TemporaryDirectory() as folder:
        study = make_club(
            Path(folder) / "club", runs_per_series=runs, raise_start="quick", dwell_s=2.0
        ).path
        began = time.monotonic()
        with (
            served_rig(study / "runs", presses=True, study=study) as rig,
            browser(rig.url, PHONE) as page,
        ):
            hand = Hand(page)
            half_on_the_rig(hand)
            hand.treat()
            half_on_the_rig(hand)
            answered(hand)
            made = len(rig.outcomes())
            slides = len(slide_table(open_study(study)).valid)
        took_s = time.monotonic() - began
        yield row("on the rig", hand, slides, made, handling_s(hand) + made * BACK_S, took_s)


def handling_s(hand: Hand) -> float:
    """What page and bags take."""
    typed = hand.digits * DIGIT_S + hand.letters * LETTER_S
    return hand.taps * TAP_S + typed + hand.mountings * BAG_S


def row(
    name: str, hand: Hand, slides: int, presses: int, seconds: float, took_s: float | None
) -> str:
    """One evening."""
    whole = "–" if took_s is None else f"{took_s / 60:.0f}"
    counts = (hand.taps, hand.digits, hand.letters, hand.mountings, slides, presses)
    return f"| {name} | {' | '.join(map(str, counts))} | {seconds / 60:.0f} | {whole} |"


if __name__ == "__main__":
    main()
