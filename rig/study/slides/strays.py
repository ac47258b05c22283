"""Slides that lie so far from their fellows that one of them may be a slip or another bag's.

Answers take slides as they are: a 4 typed for a 2 makes every interval wide and may advise a soak
that nobody wants. So what is far off is asked about; nothing is left out by itself.
"""

from collections.abc import Iterable, Sequence
from statistics import fmean, median, median_low
from typing import NamedTuple

from rig.quantities.figures import fixed
from rig.study.slides.slide import Slide

APART_DEG = 4.0
TIMES_USUAL = 3.0
"""Slides of one series are asked about if they lie further apart than both: this, and so many times
what those of this rig's or reader's series usually do. Judged: a bag's slides scatter by some
tenths, a wrong digit by ten degrees."""
SHIFT_DEG = 6.0
"""A series is asked about if it lies so far from what the bag face did before, since its last
treatment. Judged: weather and mountings make half of it."""
MOST_ANGLES = 6


class Stray(NamedTuple):
    """A slide that is asked about."""

    slide: Slide
    text: str


def strays(slides: Iterable[Slide], study: str = "STUDY") -> list[Stray]:
    """What to ask about, the newest first.

    Args:
        slides: that count, in order of time.
        study: its folder, for the commands that are named.
    """
    series: dict[tuple[object, ...], list[Slide]] = {}
    for one in slides:
        if one.bag and one.face and one.onset_angle_deg is not None:
            key = *_state(one), one.session or one.at[:10], one.series
            series.setdefault(key, []).append(one)
    ranges: dict[tuple[object, ...], list[float]] = {}
    for of in series.values():
        if len(of) > 1:
            ranges.setdefault(_instrument(of[0]), []).append(_range(of))
    # A series that is alone has nothing usual to be held against.
    apart_deg = {
        instrument: max(APART_DEG, TIMES_USUAL * median_low(some))
        for instrument, some in ranges.items()
        if len(some) > 1
    }
    before: dict[tuple[object, ...], list[float]] = {}
    found = []
    for of in series.values():
        earlier = before.setdefault(_state(of[0]), [])
        if _range(of) > apart_deg.get(_instrument(of[0]), APART_DEG):
            found.append(_apart(of, study))
            continue
        mean_deg = fmean(_angles(of))
        if earlier and abs(mean_deg - median(earlier)) > SHIFT_DEG:
            found.append(_shifted(of[-1], mean_deg - median(earlier), study))
        earlier.append(mean_deg)
    return found[::-1]


def _instrument(one: Slide) -> tuple[object, ...]:
    return one.rig, one.reader


def _state(one: Slide) -> tuple[object, ...]:
    return one.bag, one.face, one.board, *_instrument(one), len(one.treatments)


def _angles(of: Sequence[Slide]) -> list[float]:
    return [one.onset_angle_deg or 0.0 for one in of]


def _range(of: Sequence[Slide]) -> float:
    return max(_angles(of)) - min(_angles(of))


def _apart(of: Sequence[Slide], study: str) -> Stray:
    """Of slides in one series."""
    angles = _angles(of)
    middle = median_low(angles)
    farthest = max(range(len(of)), key=lambda i: abs(angles[i] - middle))
    listed = ", ".join(fixed(one, 1) for one in angles[:MOST_ANGLES])
    more = ", …" if len(angles) > MOST_ANGLES else "°"
    one = of[farthest]
    text = (
        f"Slides of one series of {one.bag}, {one.face} lie {fixed(_range(of), 1)}° apart ({listed}"
        f"{more}): is {fixed(angles[farthest], 1)}° right?"
    )
    return Stray(one, f"{text} {_remedy(one, study)}")


def _shifted(one: Slide, by_deg: float, study: str) -> Stray:
    """Of a series against earlier ones."""
    way = "above" if by_deg > 0.0 else "below"
    text = (
        f"{one.bag}, {one.face} slid {fixed(abs(by_deg), 1)}° {way} what it did before"
        f" ({one.at[:10]}): right bag, right face?"
    )
    return Stray(one, f"{text} {_remedy(one, study)}")


def _remedy(one: Slide, study: str) -> str:
    if one.run_file:
        return f"If not, `rig study correct {study} {one.slide_id}` says what it was."
    return (
        f"If not, `rig study withdraw {study} {one.line}` takes it out, and it can be noted anew."
    )
