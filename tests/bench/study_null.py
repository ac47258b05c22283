"""False alarms: studies in which no treatment does anything; how often is an effect "found"?

Run: python -m tests.bench.study_null [--studies 4000] [--seeds 1 2 3] [--write]
"""

import argparse
from collections.abc import Iterator
from math import sqrt

import numpy as np

from rig.study.rows import CONTROLS
from tests.bench.heading import Table, columns
from tests.bench.inputs import EFFECTS
from tests.bench.study_effects import core_effects
from tests.bench.study_world import World, make_study, share

TABLE = Table(
    "tests/bench/STUDY.md",
    "false alarms",
    (*EFFECTS, "tests/bench/study_null.py", "tests/bench/study_world.py"),
)

WORLDS = {
    "3 treatments × 3 bags, 3 controls": World(treatments=3, effect_deg=(0.0,)),
    "the same, series and sessions scatter strongly": World(
        treatments=3, effect_deg=(0.0,), series_sd=0.8, session_sd=2.0, bag_session_sd=0.8
    ),
    "uneven: 1–3 series of 2–6 runs, climates not matched": World(
        treatments=2, effect_deg=(0.0,), series=(1, 3), runs=(2, 6), matched=False
    ),
}
Z_99 = 2.5758


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studies", type=int, default=4000)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--write", action="store_true", help="put the table into STUDY.md")
    given = parser.parse_args()
    seeds = ", ".join(map(str, given.seeds))
    TABLE.show(lines_of(given), seed=seeds, write=given.write)


def lines_of(given: argparse.Namespace) -> Iterator[str]:
    """Make the studies; the lines of the table in Markdown."""
    half = Z_99 * sqrt(0.05 * 0.95 / given.studies)
    yield f"99 % binomial bounds of 5 %: {100 * (0.05 - half):.2f} … {100 * (0.05 + half):.2f} %"
    yield ""
    yield from columns("world", "seed", "per comparison (first treatment)", "per family (any pair)")
    for name, world in WORLDS.items():
        for seed in given.seeds:
            rng = np.random.default_rng(seed)
            alone, family = [], []
            for _ in range(given.studies):
                rows, bags, _truth = make_study(world, rng)
                found = core_effects(rows, bags)
                first = next(e for e in found if e.treatment == "T0" and e.against == CONTROLS)
                alone.append(first.found)
                family.append(any(e.found_in_family for e in found))
            yield f"| {name} | {seed} | {100 * share(alone):.2f} % | {100 * share(family):.2f} % |"


if __name__ == "__main__":
    main()
