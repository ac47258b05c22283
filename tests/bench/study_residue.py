"""Residue carried over to the board: how often does the reference bag block the comparison?

Run: python -m tests.bench.study_residue [--studies 300] [--seed 1] [--write]
"""

import argparse
from collections.abc import Iterator

import msgspec
import numpy as np

from rig.study.climate_model import fit_climate
from rig.study.compare import layers_by_face
from rig.study.compare_reference import reference_shifts
from tests.bench.heading import Table, columns
from tests.bench.study_world import World, make_study, share

TABLE = Table(
    "tests/bench/STUDY.md",
    "residue",
    (
        "rig/study/climate_fit.py",
        "rig/study/climate_model.py",
        "rig/study/compare_reference.py",
        "rig/study/variance.py",
        "tests/bench/study_residue.py",
        "tests/bench/study_world.py",
    ),
)

SHIFTS_DEG = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
WORLDS = {
    "ordinary": World(reference=True),
    "one series a session": World(reference=True, series=(1, 1), runs=(5, 5)),
    "series and sessions scatter strongly": World(
        reference=True, series_sd=0.6, session_sd=1.5, bag_session_sd=0.4
    ),
}


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studies", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true", help="put the table into STUDY.md")
    given = parser.parse_args()
    TABLE.show(lines_of(given), seed=given.seed, write=given.write)


def lines_of(given: argparse.Namespace) -> Iterator[str]:
    """Make the studies; the lines of the table in Markdown."""
    yield from columns("world", *(f"residue {shift}°" for shift in SHIFTS_DEG))
    for name, world in WORLDS.items():
        line = []
        for shift in SHIFTS_DEG:
            rng = np.random.default_rng(given.seed)
            caught = []
            for _ in range(given.studies):
                rows, bags, _truth = make_study(
                    msgspec.structs.replace(world, residue_deg=shift), rng
                )
                model = fit_climate(rows, left_out=False)
                own = [row for row in rows if row.bag != "reference"]
                layers = layers_by_face(own, bags, model)
                found = reference_shifts(rows, bags, layers, model, "baseline")
                caught.append(any(one.moved for one in found))
            line.append(f"{100 * share(caught):.1f} %")
        yield f"| {name} | {' | '.join(line)} |"


if __name__ == "__main__":
    main()
