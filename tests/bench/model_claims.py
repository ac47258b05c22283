"""How often a study claims what is not there: four recipes, two faces, before and after.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_claims --studies 500 --write

Two bags for each recipe and two controls; all scatter is drawn from what the model believes. Either
no recipe does anything, or the first one lowers the angle by 3° on both faces and the others do
nothing. A study is wrong if any effect of a recipe that does nothing is shown, on either face.
"""

import argparse
import time
from collections.abc import Iterator
from dataclasses import replace
from math import log

import numpy as np

from rig.study.answer.effects import is_shown
from rig.study.model.data import model_data
from rig.study.model.fit import fit
from tests.bench.heading import Table, columns
from tests.bench.model_studies import FILE, INPUTS, Result, kept
from tests.bench.worlds import FACE, Layout, draw_world, make_study

INPUTS_HERE = (*INPUTS, "rig/study/answer/effects.py", "tests/bench/model_claims.py")
TABLE = Table(FILE, "claims", INPUTS_HERE)
RECIPES = ("brine", "press", "soak", "wash")
STRONG, EFFECT = RECIPES[0], -3.0
LAYOUT = Layout(
    {f"{recipe} {i}": recipe for recipe in RECIPES for i in (1, 2)} | {"C1": None, "C2": None}
)


def study_of(seed: int, *, strong: bool) -> Result:
    """What one study shows."""
    rng = np.random.default_rng([18, seed])
    world = replace(draw_world(rng, RECIPES), kinds=dict.fromkeys(RECIPES, "nothing"))
    if strong:
        # As much on either face, whatever way it works.
        world = replace(
            world,
            kinds={**world.kinds, STRONG: "linear" if seed % 2 else "saturates"},
            effects={**world.effects, STRONG: EFFECT},
            doses={**world.doses, STRONG: log(1.0 / 0.5)},
            range=-EFFECT / 0.5,
            range_face_sd=0.0,
            effect_face_sd=0.0,
        )
    slides, facts, _ = make_study(world, LAYOUT, rng)
    started = time.process_time()
    draws = fit(model_data(slides, facts))
    seconds = time.process_time() - started
    shown = {
        (recipe, face): is_shown(draws.effect(recipe, "heron", face))
        for recipe in RECIPES
        for face in FACE
    }
    null = RECIPES[1:] if strong else RECIPES
    return {
        "seconds": seconds,
        "pareto_k": draws.quality.pareto_k,
        "ess": draws.quality.ess,
        "false": sum(shown[recipe, face] for recipe in null for face in FACE),
        "found": sum(shown[STRONG, face] for face in FACE),
    }


def lines(studies: int) -> Iterator[str]:
    """The table."""
    yield from columns(
        "truth", "studies", "with a false claim %", "false of all claims there might be %",
        "the strong one shown, of faces %", "k̂ > 0.7", "mean processor time in s",
    )  # fmt: skip
    for strong in (False, True):

        def one(seed: int, strong: bool = strong) -> Result:
            return study_of(seed, strong=strong)

        results = list(kept(f"claims-{int(strong)}", range(studies), one))
        each = (len(RECIPES) - strong) * len(FACE)
        wrong = 100.0 * float(np.mean([r["false"] > 0 for r in results]))
        alone = 100.0 * float(np.mean([r["false"] for r in results])) / each
        found = f"{100.0 * float(np.mean([r['found'] for r in results])) / 2.0:.1f}"
        truth = "one lowers by 3°" if strong else "none does anything"
        yield (
            f"| {truth} | {studies} | {wrong:.1f} |"
            f" {alone:.2f} | {found if strong else '–'} |"
            f" {sum(r['pareto_k'] > 0.7 for r in results)} |"
            f" {float(np.mean([r['seconds'] for r in results])):.2f} |"
        )


def main() -> None:
    """Make the studies that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=500)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    TABLE.show(lines(asked.studies), seed=f"18, 0 … {asked.studies - 1}", write=asked.write)


if __name__ == "__main__":
    main()
