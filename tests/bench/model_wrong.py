"""Worlds that the model does not assume: how often its intervals hold all the same.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_wrong --studies 300 --write

All else is drawn from what the model believes, a recipe that does nothing among it, but for
"never saturates", where the recipe is one that should. The last lines are read by hand. A study has
six bags (four soaked, two controls), two faces, three stages with a session each, three slides;
"next" is a third soak.
"""

import argparse
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from tests.bench.heading import Table, columns
from tests.bench.model_studies import FILE, INPUTS, Result, judged, kept, median_half, share
from tests.bench.worlds import Layout, World, draw_world

TABLE = Table(FILE, "wrong worlds", (*INPUTS, "tests/bench/model_wrong.py"))
LAYOUT = Layout(
    {"A": "soak", "B": "soak", "C": "soak", "D": "soak", "E": None, "F": None}, stages=3, throws=200
)


def _scaled(world: World, factor: float) -> World:
    names = ("run", "series", "session", "bag", "bag_face", "response")
    return replace(world, **{name: factor * getattr(world, name) for name in names})


WORLDS: dict[str, Callable[[World], World]] = {
    "as believed": lambda w: w,
    "all scales × 2": lambda w: _scaled(w, 2.0),
    "all scales × 0.5": lambda w: _scaled(w, 0.5),
    "heavy tails (t, 3 degrees of freedom)": lambda w: replace(w, tails=3.0),
    "never saturates": lambda w: replace(w, saturates_never=True),
    "sessions remember (0.8)": lambda w: replace(w, memory=0.8),
    "bags respond differently (factor 1.6)": lambda w: replace(w, uneven_bags=0.47),
    "controls drift (−0.15° a session)": lambda w: replace(w, drift=-0.15),
    "weather a sigmoid": lambda w: replace(w, weather="sigmoid"),
    "weather of two branches": lambda w: replace(w, weather="branches"),
    "weather of the twin's fabric": lambda w: replace(w, weather="twin"),
}
READ = {"read to half degrees": 0.5, "read to whole degrees": 1.0}
ASKED = ("effect", "angle", "next", "throws")


def study_of(change: Callable[[World], World]) -> Callable[[int], Result]:
    """Makes the study of a seed in a changed world."""

    def one(seed: int) -> Result:
        rng = np.random.default_rng([16, seed])
        world = draw_world(rng, ("soak",))
        changed = change(world)
        if changed.saturates_never:
            changed = replace(changed, kinds={"soak": "saturates"})
        return judged(changed, LAYOUT, rng)

    return one


def read_by_hand(step_deg: float) -> Callable[[int], Result]:
    """Makes the study of a seed from readings that are rounded."""

    def one(seed: int) -> Result:
        rng = np.random.default_rng([16, seed])
        world = draw_world(rng, ("soak",), by_hand=True, step_deg=step_deg)
        return judged(world, replace(LAYOUT, by_hand=True), rng)

    return one


def lines(studies: int) -> Iterator[str]:
    """The table, line by line as it is made."""
    heads = [f"{name} held %" for name in ASKED]
    yield from columns("world", "studies", *heads, "half width: effect", "angle", "next", "k̂ > 0.7")
    makers = {name: study_of(change) for name, change in WORLDS.items()}
    makers |= {name: read_by_hand(step_deg) for name, step_deg in READ.items()}
    for number, (name, maker) in enumerate(makers.items()):
        results = list(kept(f"wrong-{number}", range(studies), maker))
        held = " | ".join(share(results, asked) for asked in ASKED)
        halves = " | ".join(median_half(results, asked) for asked in ASKED[:3])
        bad = sum(one["pareto_k"] > 0.7 for one in results)
        yield f"| {name} | {studies} | {held} | {halves} | {bad} |"


def main() -> None:
    """Make the studies that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=300)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    TABLE.show(lines(asked.studies), seed=f"16, 0 … {asked.studies - 1}", write=asked.write)


if __name__ == "__main__":
    main()
