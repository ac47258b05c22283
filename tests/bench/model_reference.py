"""The same model by another sampler: NumPyro's NUTS on single slides, written anew.

    python -m pip install -r tests/bench/reference.txt
    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_reference --write

Only the table of priors is shared. Here each slide is a row (the program reduces series to sums),
the linear terms are integrated as one covariance over the slides (there, term by term), and the
configurations of the recipes are summed under one density of scales and doses, which a Hamiltonian
chain walks (there, importance sampling about modes). Means and standard deviations of ten
quantities, twelve where bags come from damp, are compared, each side with an effective sample of
some thousands.
"""

import argparse
import json
import time
from collections.abc import Iterator
from importlib import import_module
from itertools import product
from math import exp
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.study.model.data import Facts, model_data
from rig.study.model.draws import Air
from rig.study.model.fit import fit
from rig.study.model.priors import PRIORS, REFERENCE_HUMIDITY_PCT, REFERENCE_TEMPERATURE_C
from rig.study.slides.slide import Slide
from tests.bench.heading import ROOT, Table, columns, digest
from tests.bench.model_studies import FILE, INPUTS
from tests.bench.worlds import Layout, World, make_study

TABLE = Table(FILE, "reference", (*INPUTS, "tests/bench/model_reference.py"))
F = NDArray[np.float64]
NULL, LINEAR, SATURATES = range(3)
SEEDS = 6
"""Fits that are pooled, each with draws of its own."""
CHAINS, WARM_UP, STEPS = 4, 400, 1600
AIR = Air(55.0, 22.0)
PLAIN = World(residue_sd=0.2, level_sd=3.0, slope=0.4)
STUDIES: dict[str, tuple[Layout, World]] = {
    "an evening: three soaked, one control": (
        Layout({"A": "soak", "B": "soak", "C": "soak", "D": None}, faces=("slick",)),
        World(**{**PLAIN.__dict__, "kinds": {"soak": "saturates"}, "effects": {"soak": -1.5},
                 "doses": {"soak": 0.5}}),
    ),
    "three stages, two faces, throws": (
        Layout(
            {"A": "soak", "B": "soak", "C": None},
            stages=3, slides=2, throws=300, is_approach_noted=True,
        ),
        World(**{**PLAIN.__dict__, "kinds": {"soak": "saturates"}, "effects": {"soak": -1.0},
                 "doses": {"soak": 0.3}}),
    ),
    "two recipes, by hand": (
        Layout(
            {"A": "soak", "B": "soak", "C": "wash", "D": None},
            faces=("slick",), slides=2, by_hand=True,
        ),
        World(**{**PLAIN.__dict__, "run": 0.4, "kinds": {"soak": "linear", "wash": "nothing"},
                 "effects": {"soak": -1.2, "wash": 0.0}, "doses": {"soak": 0.4, "wash": 0.4}}),
    ),
}  # fmt: skip


class Slides(NamedTuple):
    """A study as slides, with what each had been through."""

    y: F
    fixed: F
    """Slides × columns that no recipe's kind and no dose changes."""
    damp: F
    """Slides × the same: what 10 %RH of damp shift adds to the columns of slopes."""
    fixed_scale: list[str]
    """Of each column: the line of the table of priors."""
    series: F
    """Slides × series, 1 where it belongs."""
    applied: F
    """Slides × applications, 1 where it came before."""
    recipe_of: list[int]
    fresh: F
    """Slides × recipes: what is left of the last application's residue, if it was this recipe."""
    slides: F
    throws: F
    faces: F
    """Slides × model's faces."""
    recipes: list[str]
    names: list[tuple[str, ...]]
    """Of the fixed columns."""
    face_names: list[str]
    run: str


def slides_of(slides: list[Slide], facts: Facts) -> Slides:
    """Each slide as a row."""
    recipes = sorted(facts.recipes)
    applications = [(bag, one.line, one.name) for bag, done in facts.done.items() for one in done]
    number = {(bag, line): i for i, (bag, line, _) in enumerate(applications)}
    face_names = sorted({s.face or "" for s in slides})
    series_names = sorted({s.series or "" for s in slides})
    rows: list[dict[tuple[str, ...], float]] = []
    applied = np.zeros((len(slides), len(applications)))
    fresh = np.zeros((len(slides), len(recipes)))
    worn, thrown = np.zeros(len(slides)), np.zeros(len(slides))
    came = np.array([{"from_damp": 0.5, "from_dry": -0.5}.get(s.approach, 0.0) for s in slides])
    soiled: dict[str, int] = {}
    mark: dict[tuple[str, str], tuple[int, float]] = {}
    for i, slide in enumerate(slides):
        bag, face, session = slide.bag or "", slide.face or "", slide.session or ""
        damper = ((slide.surface_humidity_pct or 0.0) - REFERENCE_HUMIDITY_PCT) / 10.0
        warmer = ((slide.temperature_c or 0.0) - REFERENCE_TEMPERATURE_C) / 10.0
        rows.append(
            {
                ("level", face): 1.0,
                ("bag", bag): 1.0,
                ("bag_face", bag, face): 1.0,
                ("session", session): 1.0,
                ("slope",): damper,
                ("slope_face", face): damper,
                ("temperature",): warmer,
                ("settle",): 1.0 / (slide.slide_number or 1) - 1.0 / 3.0,
                ("board_residue", session): 1.0 - exp(-soiled.get(session, 0) / 10.0),
            }
        )
        if came[i]:
            rows[i]["from_damp", face] = came[i]
        elif came.any():
            rows[i]["approach", session] = 1.0
        soiled[session] = soiled.get(session, 0) + bool(slide.treatments)
        worn[i] = slide.slides_before
        thrown[i] = sum(p.throws for p in facts.plays if p.bag == bag and p.at <= slide.at)
        use = worn[i] + thrown[i]
        done = [number[bag, one.line] for one in slide.treatments]
        if mark.get((bag, face), (0, 0.0))[0] != len(done):
            mark[bag, face] = len(done), use
        if done:
            applied[i, done] = 1.0
            last = recipes.index(applications[done[-1]][2])
            fresh[i, last] = exp(-(use - mark[bag, face][1]) / 20.0)
    names = sorted({name for row in rows for name in row})
    return Slides(
        y=np.array([s.onset_angle_deg or 0.0 for s in slides]) - PRIORS["level"].centre,
        fixed=np.array([[row.get(name, 0.0) for name in names] for row in rows]),
        damp=np.array(
            [
                [at * (name == ("slope",) or name == ("slope_face", s.face)) for name in names]
                for at, s in zip(came, slides, strict=True)
            ]
        ),
        fixed_scale=[name[0] for name in names],
        series=np.array([[float(s.series == one) for one in series_names] for s in slides]),
        applied=applied,
        recipe_of=[recipes.index(recipe) for _, _, recipe in applications],
        fresh=fresh,
        slides=worn,
        throws=thrown,
        faces=np.array([[float(s.face == one) for one in face_names] for s in slides]),
        recipes=recipes,
        names=names,
        face_names=face_names,
        run="reader_run" if slides[0].source == "hand" else "run",
    )


SCALES = ("series", "session", "bag", "bag_face", "response")


def outer_names(of: Slides) -> list[str]:
    """Scales and doses."""
    return [
        of.run,
        *SCALES,
        "range",
        "slide_dose",
        "throw_dose",
        *(["damp_shift"] if of.damp.any() else []),
        *(f"dose {r}" for r in of.recipes),
    ]


def columns_at(
    np_: Any, of: Slides, kinds: tuple[int, ...], v: dict[str, Any]
) -> tuple[Any, Any, Any]:
    """Offset, columns and their prior standard deviations for given kinds, scales and doses.

    The columns: the fixed ones, then effect and effect on each face of each recipe, each
    application's own deviation, each recipe's residue, and each face's part of the range.
    """
    dose = v["slide_dose"] * of.slides + v["throw_dose"] * of.throws
    for a, r in enumerate(of.recipe_of):
        if kinds[r] == SATURATES:
            dose = dose + v[f"dose {of.recipes[r]}"] * of.applied[:, a]
    left = np_.exp(-dose)
    taken = -v["range"] * (1.0 - left)
    found, sds = [], []
    for r in range(len(of.recipes)):
        mine = [a for a, which in enumerate(of.recipe_of) if which == r]
        times = of.applied[:, mine].sum(axis=1) * (kinds[r] == LINEAR)
        found.append(times)
        sds.append(PRIORS["effect"].spread)
        for f in range(len(of.face_names)):
            found.append(times * of.faces[:, f])
            sds.append(PRIORS["effect_face"].spread)
    for a, r in enumerate(of.recipe_of):
        each = {
            NULL: 0.0 * left,
            LINEAR: 1.0 + 0.0 * left,
            SATURATES: -v["range"] * left * v[f"dose {of.recipes[r]}"] / 1.5,
        }[kinds[r]]
        found.append(of.applied[:, a] * each)
        sds.append(v["response"])
    for r in range(len(of.recipes)):
        found.append(of.fresh[:, r] * (kinds[r] != NULL))
        sds.append(PRIORS["residue"].spread)
    for f in range(len(of.face_names)):
        found.append(taken * of.faces[:, f])
        sds.append(PRIORS["range_face"].spread)
    fixed_sds = [v[s] if s in v else PRIORS[s].spread for s in of.fixed_scale]
    fixed = of.fixed + v.get("damp_shift", 0.0) * of.damp
    every = np_.concatenate([fixed, np_.stack(found, axis=1)], axis=1)
    return taken, every, np_.stack([*map(np_.asarray, [*fixed_sds, *sds])])


def values_at(np_: Any, of: Slides, u: Any) -> dict[str, Any]:
    """Scales and doses at standard normals."""
    found = {}
    for i, name in enumerate(outer_names(of)):
        prior = PRIORS[name.split(" ")[0]]
        z = np_.sinh(0.5 * u[..., i]) / 0.5 if prior.form == "scale" else u[..., i]
        found[name] = prior.centre * np_.exp(prior.spread * z)
    return found


def chains(of: Slides, seed: int) -> F:
    """Draws of the outer vector, chains × steps × names."""
    jax: Any = import_module("jax")
    jnp: Any = import_module("jax.numpy")
    numpyro: Any = import_module("numpyro")
    numpyro.enable_x64()
    every = list(product((NULL, LINEAR, SATURATES), repeat=len(of.recipes)))

    def log_likelihood(v: dict[str, Any], kinds: tuple[int, ...]) -> Any:
        offset, x, sds = columns_at(jnp, of, kinds, v)
        scaled = x * sds
        covariance = scaled @ scaled.T + v["series"] ** 2 * (of.series @ of.series.T)
        covariance = covariance + v[of.run] ** 2 * jnp.eye(len(of.y))
        factor = jnp.linalg.cholesky(covariance)
        rest = jax.scipy.linalg.solve_triangular(factor, of.y - offset, lower=True)
        return -0.5 * rest @ rest - jnp.log(jnp.diagonal(factor)).sum()

    def model() -> None:
        normal = numpyro.distributions.Normal(0.0, 1.0).expand([len(outer_names(of))])
        v = values_at(jnp, of, numpyro.sample("u", normal.to_event(1)))
        each = jnp.stack([log_likelihood(v, kinds) for kinds in every])
        numpyro.factor("slides", jax.scipy.special.logsumexp(each))

    kernel = numpyro.infer.NUTS(model, target_accept_prob=0.8)
    mcmc = numpyro.infer.MCMC(
        kernel, num_warmup=WARM_UP, num_samples=STEPS, num_chains=CHAINS,
        chain_method="sequential", progress_bar=False,
    )  # fmt: skip
    mcmc.run(jax.random.PRNGKey(seed))
    return np.asarray(mcmc.get_samples(group_by_chain=True)["u"])


def asked(
    of: Slides, u: F, rng: np.random.Generator, bags: dict[str, str | None]
) -> dict[str, float]:
    """The quantities at one point of the outer vector, all else drawn given the slides."""
    v = {name: float(value) for name, value in values_at(np, of, u).items()}
    every = list(product((NULL, LINEAR, SATURATES), repeat=len(of.recipes)))
    found = []
    for kinds in every:
        offset, x, sds = columns_at(np, of, kinds, v)
        noise = v[of.run] ** 2 * np.eye(len(of.y)) + v["series"] ** 2 * of.series @ of.series.T
        covariance = (x * sds**2) @ x.T + noise
        factor = np.linalg.cholesky(covariance)
        rest = np.linalg.solve(factor, of.y - offset)
        found.append((-0.5 * rest @ rest - np.log(np.diag(factor)).sum(), offset, x, sds))
    weights = np.exp([one[0] for one in found] - max(one[0] for one in found))
    which = int(rng.choice(len(every), p=weights / weights.sum()))
    kinds, (_, offset, x, sds) = every[which], found[which]
    # A draw of the terms given the slides: correct a draw from the prior by what it misses
    # (Matheron's rule; Journel and Huijbregts, Mining Geostatistics, 1978).
    terms = sds * rng.standard_normal(len(sds))
    noisy = v["series"] * rng.standard_normal(of.series.shape[1]) @ of.series.T
    noisy = noisy + v[of.run] * rng.standard_normal(len(of.y)) + x @ terms
    noise = v[of.run] ** 2 * np.eye(len(of.y)) + v["series"] ** 2 * of.series @ of.series.T
    gain = np.linalg.solve((x * sds**2) @ x.T + noise, of.y - offset - noisy)
    terms = terms + sds**2 * (x.T @ gain)
    at = dict(zip(of.names, terms, strict=False))
    rest = iter(terms[len(of.names) :])
    faces = len(of.face_names)
    effect = [[next(rest) for _ in range(1 + faces)] for _ in of.recipes]
    deviation = [next(rest) for _ in of.recipe_of]
    residue = [next(rest) for _ in of.recipes]
    part = [next(rest) for _ in range(faces)]
    f = 0
    face = of.face_names[f]
    own_range = v["range"] * (1.0 + part[f])
    air = (AIR.humidity_pct - REFERENCE_HUMIDITY_PCT) / 10.0
    slope = at["slope",] + at["slope_face", face]
    level = PRIORS["level"].centre + at["level", face] + slope * air

    def of_recipe(r: int) -> float:
        if kinds[r] == NULL:
            return 0.0
        lasting = effect[r][0] + effect[r][1 + f]
        if kinds[r] == SATURATES:
            lasting = -own_range * (1.0 - exp(-v[f"dose {of.recipes[r]}"]))
        return float(lasting + residue[r])

    def angle(bag: str, *, more: bool = False) -> float:
        last = max(
            i for i in range(len(of.y)) if of.fixed[i, of.names.index(("bag_face", bag, face))]
        )
        # One more slide than before the last one; throws as they were.
        dose = v["slide_dose"] * (of.slides[last] + 1.0) + v["throw_dose"] * of.throws[last]
        linear, uneven, fresh = 0.0, 0.0, 0.0
        mine = [a for a in range(len(of.recipe_of)) if of.applied[last, a]]
        steps = [(of.recipe_of[a], deviation[a]) for a in mine]
        if more:
            steps.append((of.recipes.index(bags[bag] or ""), v["response"] * rng.normal()))
        for r, own in steps:
            each = v[f"dose {of.recipes[r]}"]
            if kinds[r] == LINEAR:
                linear += effect[r][0] + effect[r][1 + f] + own
            if kinds[r] == SATURATES:
                dose += each
                uneven += each * own / 1.5
        if steps and kinds[steps[-1][0]] != NULL:
            since = 1.0 if more else of.fresh[last, steps[-1][0]] * exp(-1.0 / 20.0)
            fresh = since * residue[steps[-1][0]]
        lost = own_range * (1.0 - exp(-dose)) + v["range"] * exp(-dose) * uneven
        return float(level + at["bag", bag] + at["bag_face", bag, face] + linear - lost + fresh)

    control = next(bag for bag, recipe in bags.items() if recipe is None)
    damp = {}
    if "damp_shift" in v:
        damp["damp shift"] = v["damp_shift"]
        damp["from damp less from dry"] = float(slope * v["damp_shift"] + at["from_damp", face])
    return damp | {
        "effect": of_recipe(0),
        "angle of A": angle("A"),
        "angle of the control": angle(control),
        "A after one more": angle("A", more=True),
        "A less the control": angle("A") - angle(control),
        "slope per 10 %RH": float(slope),
        "scatter of slides": v[of.run],
        "scatter of sessions": v["session"],
        "scatter of bags": v["bag"],
        "D": v["range"],
    }


def of_program(
    slides: list[Slide], facts: Facts, bags: dict[str, str | None]
) -> tuple[dict[str, F], float]:
    """The same from the program's fits, pooled, and their effective number."""
    pooled: dict[str, list[F]] = {}
    ess = 0.0
    control = next(bag for bag, recipe in bags.items() if recipe is None)
    data = model_data(slides, facts)
    face = min(s.face or "" for s in slides)
    recipe = min(facts.recipes)
    for seed in range(1, SEEDS + 1):
        draws = fit(data, seed)
        ess += draws.quality.ess
        a, c = draws.angle("A", face, air=AIR), draws.angle(control, face, air=AIR)
        damp = {}
        if "damp_shift" in draws.values:
            dry, wet = (draws.angle("A", face, air=AIR._replace(damp=at)) for at in (0.0, 1.0))
            damp = {"damp shift": draws.values["damp_shift"], "from damp less from dry": wet - dry}
        for name, values in {
            **damp,
            "effect": draws.effect(recipe, "heron", face),
            "angle of A": a,
            "angle of the control": c,
            "A after one more": draws.after("A", face, bags["A"] or "", 1, air=AIR),
            "A less the control": a - c,
            "slope per 10 %RH": draws.slope("heron", face),
            "scatter of slides": draws.run_scatter,
            "scatter of sessions": draws.scale("session"),
            "scatter of bags": draws.scale("bag"),
            "D": draws.values["range"],
        }.items():
            pooled.setdefault(name, []).append(values)
    return {name: np.concatenate(values) for name, values in pooled.items()}, ess


def compared(name: str, seed: int) -> dict[str, Any]:
    """Both sides of one study; kept, since a chain takes minutes."""
    layout, world = STUDIES[name]
    slides, facts, _ = make_study(world, layout, np.random.default_rng([19, seed]))
    ours, our_ess = of_program(slides, facts, layout.bags)
    of = slides_of(slides, facts)
    started = time.process_time()
    u = chains(of, seed)
    rng = np.random.default_rng([19, seed, 1])
    theirs: dict[str, list[list[float]]] = {}
    for chain in u:
        each = [asked(of, point, rng, layout.bags) for point in chain]
        for key in each[0]:
            theirs.setdefault(key, []).append([one[key] for one in each])
    diagnostics: Any = import_module("numpyro.diagnostics")
    return {
        "seconds": time.process_time() - started,
        "our_ess": our_ess,
        "rows": {
            key: {
                "ours": [float(ours[key].mean()), float(ours[key].std())],
                "theirs": [float(np.mean(values)), float(np.std(values))],
                "ess": float(diagnostics.effective_sample_size(np.array(values))),
                "rhat": float(diagnostics.gelman_rubin(np.array(values))),
            }
            for key, values in theirs.items()
        },
    }


def lines(names: list[str]) -> Iterator[str]:
    """The table."""
    yield from columns(
        "study", "quantity", "program: mean ± sd", "NumPyro: mean ± sd", "means apart, in sd",
        "ratio of the sds", "effective numbers",
    )  # fmt: skip
    folder = ROOT / ".bench"
    folder.mkdir(exist_ok=True)
    for seed, name in enumerate(STUDIES):
        if name not in names:
            continue
        kept = Path(folder / f"reference-{seed}.json")
        key = {path: digest(path) for path in TABLE.inputs}
        found = json.loads(kept.read_text("utf-8")) if kept.exists() else {}
        if found.get("key") != key:
            found = {"key": key, **compared(name, seed)}
            kept.write_text(json.dumps(found), "utf-8")
        for what, row in found["rows"].items():
            (mean, sd), (other, other_sd) = row["ours"], row["theirs"]
            yield (
                f"| {name} | {what} | {mean:.3f} ± {sd:.3f} | {other:.3f} ± {other_sd:.3f} |"
                f" {(mean - other) / other_sd:+.3f} | {sd / other_sd:.3f} |"
                f" {found['our_ess']:.0f}, {row['ess']:.0f} |"
            )


def main() -> None:
    """Make the comparisons that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--study", choices=list(STUDIES), help="this one alone")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    names = [given.study] if given.study else list(STUDIES)
    TABLE.show(lines(names), seed="19, 0 … 2", write=given.write)


if __name__ == "__main__":
    main()
