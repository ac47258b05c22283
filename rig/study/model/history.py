"""What each bag face has been through: applications in order, slides and throws between them."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from rig.study.slides.slide import Applied, Slide


class Played(NamedTuple):
    """Throws of a bag between measurements."""

    bag: str
    at: str
    """RFC 3339, UTC."""
    throws: int


class Application(NamedTuple):
    """One treatment of one bag, both faces of it."""

    bag: str
    recipe: str
    line: int
    """Of the journal."""


class State(NamedTuple):
    """What a bag face has been through since the study began."""

    applications: tuple[int, ...] = ()
    """Numbers into the study's applications, in order."""
    slides: float = 0.0
    throws: float = 0.0
    since: float = 0.0
    """Slides and throws since the last application."""


class Histories(NamedTuple):
    """States at each slide and now."""

    applications: tuple[Application, ...]
    at_slide: dict[str, State]
    """By the slide's identity."""
    now: dict[tuple[str, str], State]
    """(bag, face) → state after all that the journal and the slides say."""

    def mean_of(self, slide_ids: Sequence[str]) -> State:
        """The mean state over slides of one series."""
        states = [self.at_slide[name] for name in slide_ids]
        n = len(states)
        return State(
            states[0].applications,
            sum(state.slides for state in states) / n,
            sum(state.throws for state in states) / n,
            sum(state.since for state in states) / n,
        )


def histories_of(
    slides: Sequence[Slide],
    done: Mapping[str, Sequence[Applied]],
    plays: Sequence[Played],
) -> Histories:
    """Follow every bag face through the study.

    Args:
        slides: in order of time, those that wore the bag without counting among them.
        done: bag → all its treatments; a bag without an entry has those of its last slide.
        plays: throws, in any order.
    """
    treatments = dict(done)
    for slide in slides:
        if slide.bag is not None and slide.bag not in done:
            treatments[slide.bag] = slide.treatments
    applications = tuple(
        Application(bag, one.name, one.line) for bag, all_ in treatments.items() for one in all_
    )
    numbers = {(one.bag, one.line): number for number, one in enumerate(applications)}
    at_slide: dict[str, State] = {}
    last: dict[tuple[str, str], float] = {}
    marks: dict[tuple[str, str], tuple[float, tuple[int, ...]]] = {}
    first: dict[tuple[str, str], int] = {}
    for slide in slides:
        bag, face = slide.bag or "", slide.face or ""
        start = first.setdefault((bag, face), slide.slides_before)
        had = tuple(
            n for one in slide.treatments if (n := numbers.get((bag, one.line))) is not None
        )
        worn = float(slide.slides_before - start)
        thrown = float(
            sum(play.throws for play in plays if play.bag == bag and play.at <= slide.at)
        )
        at_slide[slide.slide_id] = _state((bag, face), had, worn, thrown, marks)
        last[bag, face] = worn + slide.slid
    now = {
        (bag, face): _state(
            (bag, face),
            tuple(numbers[bag, one.line] for one in treatments.get(bag, ())),
            worn,
            float(sum(play.throws for play in plays if play.bag == bag)),
            marks,
        )
        for (bag, face), worn in last.items()
    }
    return Histories(applications, at_slide, now)


def _state(
    key: tuple[str, str],
    had: tuple[int, ...],
    slides: float,
    throws: float,
    marks: dict[tuple[str, str], tuple[float, tuple[int, ...]]],
) -> State:
    """A state; `marks` keeps the use at which the last application came to be."""
    use = slides + throws
    mark, before = marks.get(key, (use, ()))
    if had != before:
        mark = use
    marks[key] = mark, had
    return State(had, slides, throws, use - mark if had else 0.0)
