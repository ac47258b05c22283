"""Whether the model's chances are right: studies drawn from what it believes, ranks of the truth.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_calibration --studies 1000 --write

A rank is the part of the draws below the truth. If the chances are right, ranks are uniform. Each
quantity is tested by the greatest distance of its ranks' distribution from the uniform one
(Kolmogorov–Smirnov), and all together by Holm's method at 5 % in all.
"""

import argparse
from collections.abc import Iterator

import numpy as np
from scipy.stats import kstest

from tests.bench.heading import Table, columns
from tests.bench.model_studies import FILE, INPUTS, Result, judged, kept, median_half, share, worst
from tests.bench.worlds import FACE, Layout, draw_world

NAMES = (
    "effect", "angle", "next", "throws", "new bag", "slope", "from damp", "damp shift",
    "run", "series", "session", "bag", "bag_face", "response",
)  # fmt: skip
TABLE = Table(FILE, "calibration", (*INPUTS, "tests/bench/model_calibration.py"))


def layout_of(rng: np.random.Generator, *, is_approach_noted: bool) -> Layout:
    """A study as people might make it: 3 to 6 bags, 1 or 2 recipes, 2 to 4 stages."""
    recipes = ["soak", "wash"][: int(rng.integers(1, 3))]
    n_controls = int(rng.integers(0, 3))
    bags: dict[str, str | None] = {f"C{i}": None for i in range(n_controls)}
    for i in range(int(rng.integers(3, 7)) - n_controls + 1):
        bags[f"T{i}"] = recipes[i % len(recipes)]
    return Layout(
        bags,
        models=("heron", "dunlin")[: int(rng.integers(1, 3))],
        faces=FACE[: int(rng.integers(1, 3))],
        stages=int(rng.integers(2, 5)),
        sessions_each=int(rng.integers(1, 3)),
        slides=int(rng.integers(2, 6)),
        by_hand=bool(rng.random() < 0.3),
        throws=int(rng.choice([0, 100, 400])),
        is_approach_noted=is_approach_noted,
    )


def one(seed: int) -> Result:
    """A study of this seed."""
    rng = np.random.default_rng([14, seed])
    # By a seed of its own: whence bags come is noted in every second study.
    is_noted = bool(np.random.default_rng([14, seed, 1]).random() < 0.5)
    layout = layout_of(rng, is_approach_noted=is_noted)
    world = draw_world(rng, ("soak", "wash"), by_hand=layout.by_hand)
    return judged(world, layout, rng)


def lines(results: list[Result]) -> Iterator[str]:
    """The table."""
    yield from columns(
        "quantity", "studies", "held (95 %)", "median half width", "distance", "p", "after Holm"
    )
    ranks = {n: [r[n]["rank"] for r in results if n in r] for n in NAMES}
    tests = {name: kstest(values, "uniform") for name, values in ranks.items()}
    order = sorted(NAMES, key=lambda name: tests[name].pvalue)
    after, worst_so_far = {}, 0.0
    for place, name in enumerate(order):
        worst_so_far = max(worst_so_far, (len(order) - place) * float(tests[name].pvalue))
        after[name] = min(1.0, worst_so_far)
    for name in NAMES:
        yield (
            f"| {name} | {len(ranks[name])} | {share(results, name)} % |"
            f" {median_half(results, name)} | {tests[name].statistic:.3f} |"
            f" {tests[name].pvalue:.3f} | {after[name]:.3f} |"
        )
    yield ""
    yield "k̂ above 0.7, least ESS, mean processor time in s: " + worst(results).replace(" |", ",")


def main() -> None:
    """Make the studies that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=1000)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    results = list(kept("calibration", range(asked.studies), one))
    TABLE.show(lines(results), seed=f"14, 0 … {asked.studies - 1}", write=asked.write)


if __name__ == "__main__":
    main()
