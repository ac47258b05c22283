"""Do the intervals of treatment effects hold the truth? 500 studies in each world.

Run: python -m tests.bench.study_effects [--studies 500] [--seed 1] [--write]
"""

import argparse
from collections.abc import Iterator
from statistics import median
from time import perf_counter

import numpy as np

from rig.study.climate_model import fit_climate
from rig.study.compare import layers_by_face
from rig.study.compare_changes import changes
from rig.study.compare_effects import Effect, effects
from rig.study.rows import CONTROLS, BagInfo, Row
from tests.bench.heading import Table, columns
from tests.bench.inputs import EFFECTS
from tests.bench.study_world import World, make_study, share

TABLE = Table(
    "tests/bench/STUDY.md",
    "effects",
    (*EFFECTS, "tests/bench/study_effects.py", "tests/bench/study_world.py"),
)

WORLDS = {
    "ordinary": World(),
    "bags respond very differently": World(bag_sd=3.0, bag_stage_sd=1.0),
    "series scatter strongly": World(series_sd=1.0, run_sd=0.5),
    "sessions scatter strongly": World(session_sd=2.0, bag_session_sd=0.8),
    "2 bags each, 2 controls": World(bags_each=2, controls=2),
    "8 bags each, 8 controls": World(bags_each=8, controls=8),
    "uneven: 1–4 series of 2–8 runs": World(series=(1, 4), runs=(2, 8), series_sd=0.6),
    "climates not matched": World(matched=False, sessions_per_stage=3),
    "groups in sittings of their own": World(own_sessions=True, sessions_per_stage=3),
    "both of these": World(own_sessions=True, matched=False, sessions_per_stage=4),
    "one bag per treatment": World(bags_each=1, controls=4),
    "one bag, one control": World(bags_each=1, controls=1, treatments=1, bag_stage_sd=0.0),
}


def core_effects(rows: list[Row], bags: dict[str, BagInfo]) -> list[Effect]:
    """What `compare` does for the effects, without the tables around it."""
    model = fit_climate(rows, left_out=False)
    layers = layers_by_face(rows, bags, model) if len(bags) <= 2 else {}
    changed = changes(rows, bags, "baseline", "after 1", model)
    return [
        effect
        for place, listed in changed.items()
        for effect in effects(place, listed, ("baseline", "after 1"), layers.get(place.face), model)
    ]


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studies", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true", help="put the table into STUDY.md")
    given = parser.parse_args()
    TABLE.show(lines_of(given), seed=given.seed, write=given.write)


def lines_of(given: argparse.Namespace) -> Iterator[str]:
    """Make the studies; the lines of the table in Markdown."""
    yield from columns(
        *("world", "truth held", "per family", "median half width, °", "claimed for", "s/100")
    )
    for name, world in WORLDS.items():
        rng = np.random.default_rng(given.seed)
        held: list[bool] = []
        family: list[bool] = []
        widths: list[float] = []
        scopes: set[str] = set()
        start = perf_counter()
        for _ in range(given.studies):
            rows, bags, truth = make_study(world, rng)
            together = True
            for effect in core_effects(rows, bags):
                true = truth[effect.treatment] - truth.get(effect.against, 0.0)
                together &= effect.family_lower_deg <= true <= effect.family_upper_deg
                if effect.against == CONTROLS:
                    held.append(effect.lower_deg <= true <= effect.upper_deg)
                    widths.append(effect.upper_deg - effect.effect_deg)
                    scopes.add(effect.scope)
            family.append(together)
        took = (perf_counter() - start) / given.studies * 100
        yield (
            f"| {name} | {100 * share(held):.1f} % | {100 * share(family):.1f} % | "
            f"{median(widths):.2f} | {', '.join(sorted(scopes))} | {took:.1f} |"
        )


if __name__ == "__main__":
    main()
