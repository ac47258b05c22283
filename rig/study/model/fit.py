"""From a reduced study to draws of all that is unknown.

The linear part is integrated exactly (`likelihood`), each configuration of the recipes gets a shape
about its mode (`laplace`, `configurations`), and all are drawn from together (`importance`).
"""

from collections.abc import Callable

import numpy as np

from rig.errors import BadInputError
from rig.study.model.censored import Censoring
from rig.study.model.configurations import candidates
from rig.study.model.data import ModelData, Series
from rig.study.model.design import Design, F, design_of
from rig.study.model.draws import Draws
from rig.study.model.importance import PER_POINT, Drawn, drawn
from rig.study.model.others import NOBODY, Bound, with_others
from rig.study.model.posterior import LINEAR, NULL, SATURATING, SCALES, About, Air, Quality
from rig.study.model.priors import PRIORS, value_at
from rig.study.model.threads import single_threaded
from rig.study.model.weights import resampled

N_DRAWS = 24000
CARRIED = 0.9
"""A quantity whose sd is still more than this part of its prior's is carried by the prior."""


@single_threaded
def fit(data: ModelData, seed: int = 1, bound: Bound = NOBODY) -> Draws:
    """Draw from what is known after a study's slides.

    Args:
        data: the reduced study.
        seed: of the draws; the same seed gives the same draws.
        bound: what other owners' studies say.

    Raises:
        BadInputError: no slide counts.
    """
    if not data.rows:
        raise BadInputError("No slide counts yet, so nothing can be said; measure one bag first.")
    below = np.array([one.below_deg for one in data.censored]) - PRIORS["level"].centre
    censoring = Censoring(below)
    design = censoring.fitted(with_others(design_of(data), bound, censoring.n))
    chosen = candidates(design)
    doses = [f"dose {name}" for name in design.recipes]
    damp = ["damp_shift"] if design.damp.any() else []
    names = [*SCALES, "range", "slide_dose", "throw_dose", *damp, *doses]
    found = drawn(chosen, censoring, names, seed)
    quality = Quality(
        pareto_k=found.pareto_k,
        ess=found.ess,
        prior_carried=_prior_carried([n for n in names if n != "rigs"], names, found, design),
        p_kinds={name: _p_kinds(found, i) for i, name in enumerate(design.recipes)},
        n_configurations=len(chosen),
        n_without_air=data.n_without_air,
    )
    pairs = resampled(found.weights.ravel(), N_DRAWS)
    # In a random order, so that draws made by name do not follow the order of configurations.
    rng = np.random.default_rng([seed, N_DRAWS])
    pairs = rng.permutation(pairs)
    points = pairs // PER_POINT
    u = found.outer[points]
    told = [design.scale_priors.get(name, (0.0, 1.0)) for name in names]
    centre, spread = np.array(told).T
    u = np.where(np.isnan(u), centre + spread * rng.standard_normal(u.shape), u)
    values = {name: _rounded(value_at(name.split(" ")[0], u[:, i])) for i, name in enumerate(names)}
    values |= {f"kind {name}": found.kinds[points, i] for i, name in enumerate(design.recipes)}
    linear = found.linear.reshape(-1, len(design.keys))[pairs].T
    return Draws(_about(data, design, quality, seed), values, np.ascontiguousarray(linear))


def _rounded(values: F) -> F:
    """As kept draws are, so that an answer is the same from them and from fresh ones."""
    return values.astype(np.float32).astype(np.float64)


def _about(data: ModelData, design: Design, quality: Quality, seed: int) -> About:
    total = sum(row.n for row in data.rows)

    def mean(of: Callable[[Series], float]) -> float:
        return sum(row.n * of(row) for row in data.rows) / total

    return About(
        columns=design.keys,
        now=tuple((bag, face, state) for (bag, face), state in sorted(data.now.items())),
        applications=data.applications,
        models=data.models,
        recipes=data.recipes,
        usual_board=design.usual.board,
        instrument=design.usual.instrument,
        operator=design.usual.operator,
        usual_air=Air(
            mean(lambda row: row.humidity_pct),
            mean(lambda row: row.temperature_c),
            mean(lambda row: row.damp),
        ),
        has_play=data.has_play,
        seed=seed,
        quality=quality,
    )


def _prior_carried(
    asked: list[str], names: list[str], found: Drawn, design: Design
) -> tuple[str, ...]:
    """Scales, doses and slopes that the slides moved little."""
    weights = found.weights.sum(axis=1)
    carried = []
    for name in asked:
        u = found.outer[:, names.index(name)]
        is_in = ~np.isnan(u)
        share = float(weights[is_in].sum())
        if share < 0.5 or _sd(u[is_in], weights[is_in] / share) > CARRIED:
            carried.append(name)
    for kind in ("slope", "temperature"):
        terms = found.linear[:, :, design.of_kind(kind)[0]].ravel().astype(np.float64)
        if _sd(terms, found.weights.ravel()) > CARRIED * PRIORS[kind].spread:
            carried.append(kind)
    return tuple(carried)


def _sd(values: F, weights: F) -> float:
    mean = float(weights @ values)
    return float(np.sqrt(weights @ (values - mean) ** 2))


def _p_kinds(found: Drawn, recipe: int) -> tuple[float, float, float]:
    weights = found.weights.sum(axis=1)
    nothing, linear, saturates = (
        float(weights[found.kinds[:, recipe] == kind].sum()) for kind in (NULL, LINEAR, SATURATING)
    )
    return nothing, linear, saturates
