"""What the benches of the model share: one study made, fitted and judged, and results kept by seed.

Results lie in `.bench/` by their kind and the digest of the code, so that a bench that was cut off
goes on where it was, and none mixes figures of two models.
"""

import json
import time
from collections.abc import Callable, Iterable, Iterator
from hashlib import blake2b
from math import inf, isfinite
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from rig.study.answer.effects import is_shown
from rig.study.model.data import model_data
from rig.study.model.draws import Air, Draws, Scale, interval
from rig.study.model.fit import fit
from rig.study.model.posterior import LINEAR
from tests.bench.heading import ROOT, digest
from tests.bench.worlds import Layout, Truth, World, make_study

INPUTS = (
    *(f"rig/study/model/{path.name}" for path in sorted((ROOT / "rig/study/model").glob("*.py"))),
    "tests/bench/worlds.py",
    "tests/bench/model_studies.py",
)
FILE = "tests/bench/MODEL.md"
Result = dict[str, Any]
K = TypeVar("K")


def judged(world: World, layout: Layout, rng: np.random.Generator) -> Result:
    """Make a study, fit it, and compare one answer of each kind with the truth.

    One bag, face or recipe of each kind is taken by lot, since those of one study hang together.
    """
    slides, facts, truth = make_study(world, layout, rng)
    started = time.process_time()
    draws = fit(model_data(slides, facts))
    seconds = time.process_time() - started
    result: Result = {
        "seconds": seconds,
        "pareto_k": draws.quality.pareto_k,
        "ess": draws.quality.ess,
    }
    for name, (values, true) in _questions(draws, layout, truth, rng).items():
        bounds = interval(values)
        ties = rng.random() * float(np.mean(values == true))
        result[name] = {
            "rank": float(np.mean(values < true)) + ties,
            "held": bounds.lower <= true <= bounds.upper,
            "half": (bounds.upper - bounds.lower) / 2.0,
            "shown": is_shown(values),
            "false": abs(true) < 1e-12,
        }
        if name == "effect" and len(used := {one for one in layout.bags.values() if one}) == 1:
            linear = values[draws.kind(used.pop()) == LINEAR]
            result[name]["shown if linear"] = is_shown(linear) if len(linear) else False
    return result


def _questions(
    draws: Draws, layout: Layout, truth: Truth, rng: np.random.Generator
) -> dict[str, tuple[np.ndarray, float]]:
    air = Air(truth.air, truth.temperature)

    def lot(of: dict[K, Any]) -> K:
        keys = list(of)
        return keys[int(rng.integers(len(keys)))]

    asked: dict[str, tuple[np.ndarray, float]] = {}
    used = {recipe for recipe in layout.bags.values() if recipe}
    what = lot({k: v for k, v in truth.effects.items() if k[0] in used})
    asked["effect"] = draws.effect(*what), truth.effects[what]
    key = lot(truth.angles)
    asked["angle"] = draws.angle(*key, air=air), truth.angles[key]
    key = lot(truth.next_angles)
    recipe = layout.bags[key[0]] or ""
    asked["next"] = draws.after(*key, recipe, 1, air=air), truth.next_angles[key]
    key = lot(truth.new_bags)
    asked["new bag"] = draws.new_bag(*key, air=air), truth.new_bags[key]
    if layout.throws:
        key = lot(truth.throws)
        target, throws = truth.throws[key]
        asked["throws"] = draws.throws_to(*key, target, air=air), throws
    if truth.world.weather == "linear":
        key = lot(truth.slopes)
        asked["slope"] = draws.slope(*key), truth.slopes[key]
    if layout.is_approach_noted:
        key = lot(truth.of_damp)
        bag = next(bag for bag, model in draws.about.models.items() if model == key[0])
        damp, dry = (draws.angle(bag, key[1], air=air._replace(damp=at)) for at in (1.0, 0.0))
        asked["from damp"] = damp - dry, truth.of_damp[key]
        asked["damp shift"] = draws.values["damp_shift"], truth.damp_shift
    run: Scale = "reader_run" if layout.by_hand else "run"
    asked["run"] = draws.scale(run), truth.world.run
    layers: tuple[Scale, ...] = ("series", "session", "bag", "bag_face", "response")
    for layer in layers:
        asked[layer] = draws.scale(layer), getattr(truth.world, layer)
    return asked


def kept(kind: str, seeds: Iterable[int], one: Callable[[int], Result]) -> Iterator[Result]:
    """Results by seed, made only where this code has not made them before."""
    code = blake2b("".join(digest(path) for path in INPUTS).encode(), digest_size=4).hexdigest()
    folder = ROOT / ".bench"
    folder.mkdir(exist_ok=True)
    path = Path(folder / f"{kind}-{code}.jsonl")
    text = path.read_text("utf-8") if path.exists() else ""
    whole = text.rpartition("\n")[0]
    if len(whole) + 1 < len(text):  # cut off in the middle of a line
        path.write_text(f"{whole}\n" if whole else "", "utf-8")
    done = {entry["seed"]: entry for entry in map(json.loads, whole.splitlines())}
    for seed in seeds:
        if seed not in done:
            done[seed] = {"seed": seed, **one(seed)}
            with path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(done[seed]) + "\n")
        yield done[seed]


def share(results: list[Result], name: str, what: str = "held") -> str:
    """A part of the studies in per cent, where the question was asked."""
    values = [bool(one[name][what]) for one in results if name in one]
    return f"{100.0 * float(np.mean(values)):.1f}" if values else "–"


def median_half(results: list[Result], name: str) -> str:
    """Median half width of the intervals."""
    values = [float(one[name]["half"]) for one in results if name in one]
    middle = float(np.median(values)) if values else inf
    return f"{middle:.2f}" if isfinite(middle) else "–"


def worst(results: list[Result]) -> str:
    """How the computation went: studies with k̂ above 0.7, least ESS, mean time."""
    bad = sum(one["pareto_k"] > 0.7 for one in results)
    least = min(one["ess"] for one in results)
    seconds = float(np.mean([one["seconds"] for one in results]))
    return f"{bad} | {least:.0f} | {seconds:.2f}"
