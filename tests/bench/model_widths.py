"""How wide intervals are: against one who knows all scatter, in other air, by seed.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_widths --studies 100 --write

The studies are those of `model_wrong`, as the model believes them. *Oracle*: the same model with
each scale fixed at its true value. *Away*: how much narrower an angle's interval is in air 10, 20
and 30 %RH off than where the study measured, at worst. *Seeds*: each study fitted by 20 seeds; how
far a printed bound of effect, angle, forecast or slope lies from its mean over them, in parts of
half its interval.
"""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from rig.study.model.data import ModelData, model_data
from rig.study.model.draws import Air, Draws, interval
from rig.study.model.fit import fit
from rig.study.model.priors import PRIORS
from tests.bench.heading import Table, columns
from tests.bench.model_studies import FILE, INPUTS, Result, kept
from tests.bench.model_wrong import LAYOUT
from tests.bench.worlds import FACE, World, draw_world, make_study

TABLE = Table(
    FILE, "widths", (*INPUTS, "tests/bench/model_wrong.py", "tests/bench/model_widths.py")
)
SCALES = ("run", "series", "session", "bag", "bag_face", "response")
KNOWN = 1e-4
"""Spread of the logarithm of a scale that is known."""
OFF_PCT = (10.0, 20.0, 30.0)
SEEDS = 20


@contextmanager
def known(world: World) -> Iterator[None]:
    """The model as one has it who knows the scales of this world."""
    before = {name: PRIORS[name] for name in SCALES}
    try:
        for name, prior in before.items():
            PRIORS[name] = prior._replace(centre=getattr(world, name), spread=KNOWN)
        yield
    finally:
        PRIORS.update(before)


def asked(draws: Draws, air: Air) -> dict[str, np.ndarray]:
    """What is compared, for every bag and face."""
    found = {f"effect {face}": draws.effect("soak", "heron", face) for face in FACE}
    for bag, face in draws.bag_faces:
        found[f"angle {bag} {face}"] = draws.angle(bag, face, air=air)
        if LAYOUT.bags[bag]:
            found[f"next {bag} {face}"] = draws.after(bag, face, "soak", 1, air=air)
    return found


def halves(of: dict[str, np.ndarray]) -> dict[str, float]:
    """Half widths."""
    bounds = {name: interval(values) for name, values in of.items()}
    return {name: (at.upper - at.lower) / 2.0 for name, at in bounds.items()}


def study_of(seed: int) -> tuple[World, ModelData, Air]:
    """The study of a seed, and its mean air."""
    rng = np.random.default_rng([16, seed])
    world = draw_world(rng, ("soak",))
    slides, facts, truth = make_study(world, LAYOUT, rng)
    return world, model_data(slides, facts), Air(truth.air, truth.temperature)


def against_oracle(seed: int) -> Result:
    """Half widths with and without knowing the scales."""
    world, data, air = study_of(seed)
    mine = halves(asked(fit(data), air))
    with known(world):
        theirs = halves(asked(fit(data), air))
    return {"mine": mine, "theirs": theirs}


def away(seed: int) -> Result:
    """By how much intervals narrow as the air moves off, at worst of all bag faces."""
    _, data, _ = study_of(seed)
    draws = fit(data)
    at = [one.humidity_pct for one in data.series]
    result: Result = {}
    for off in OFF_PCT:
        worst = 0.0
        for sign, edge in ((-1.0, min(at)), (1.0, max(at))):
            steps = [Air(edge), Air(edge + sign * (off - 10.0)), Air(edge + sign * off)]
            for bag, face in draws.bag_faces:
                near, before, far = (
                    halves({"": draws.angle(bag, face, air=air)})[""] for air in steps
                )
                worst = max(worst, 1.0 - far / near, 1.0 - far / before)
        result[f"{off:g}"] = worst
    return result


def by_seed(seed: int) -> Result:
    """How far the bounds lie from their means over the seeds."""
    _, data, air = study_of(seed)
    bounds: dict[str, list[Any]] = {}
    for of_draws in range(1, SEEDS + 1):
        draws = fit(data, of_draws)
        found = asked(draws, air) | {f"slope {face}": draws.slope("heron", face) for face in FACE}
        for name, values in found.items():
            bounds.setdefault(name, []).append(interval(values))
    sds, most = [], []
    for of_name in bounds.values():
        at = np.array(of_name)
        half = float(np.mean(at[:, 2] - at[:, 1])) / 2.0
        if half < 0.05:  # printed as ± 0.0
            continue
        off = np.abs(at - at.mean(axis=0)) / half
        sds += np.sqrt((off**2).mean(axis=0)).tolist()
        most += off.max(axis=0).tolist()
    return {"sd": sds, "most": most}


def lines(studies: int, of_seeds: int) -> Iterator[str]:
    """The table."""
    yield from columns("question", "studies", "found")
    results = list(kept("oracle", range(studies), against_oracle))
    for what in ("effect", "angle", "next"):
        pairs = [
            (r["mine"][name], r["theirs"][name])
            for r in results
            for name in r["mine"]
            if name.startswith(what)
        ]
        mine, theirs = np.array(pairs).T
        is_open = theirs > 0.05
        ratio = np.median(mine[is_open] / theirs[is_open])
        half, oracle = np.median(mine), np.median(theirs)
        yield (
            f"| {what}: median half width against the oracle's | {studies} |"
            f" {half:.2f} : {oracle:.2f}° = {half / oracle:.2f};"
            f" median of the ratios {ratio:.2f} |"
        )
    results = list(kept("away", range(studies), away))
    for off in OFF_PCT:
        worst = np.array([r[f"{off:g}"] for r in results])
        yield (
            f"| narrower {off:g} %RH beyond the measured air, worst of 12 faces on two sides |"
            f" {studies} | median {100 * np.median(worst):.1f}, most {100 * worst.max():.1f} % |"
        )
    results = list(kept("seeds", range(of_seeds), by_seed))
    sd = np.array([value for r in results for value in r["sd"]])
    most = np.array([value for r in results for value in r["most"]])
    yield (
        f"| bounds by seed, parts of the half width | {of_seeds} | sd: median"
        f" {100 * np.median(sd):.1f}, most {100 * sd.max():.1f} %; farthest of {SEEDS}: median"
        f" {100 * np.median(most):.1f}, most {100 * most.max():.1f} %, below 5 % for"
        f" {100 * np.mean(most < 0.05):.1f} % of {len(most)} bounds |"
    )


def main() -> None:
    """Make the studies that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=100)
    parser.add_argument("--of-seeds", type=int, default=20)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    seed = f"16, 0 … {given.studies - 1}"
    TABLE.show(lines(given.studies, given.of_seeds), seed=seed, write=given.write)


if __name__ == "__main__":
    main()
