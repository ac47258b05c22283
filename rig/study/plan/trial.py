"""What a trial can show before anything is treated, and the best trial for the time there is.

The effect of a first treatment is the treated bags' change less the controls'. With t treated and k
control bags, m sittings at each stage and s series of n slides in each, its variance is

    V = (2 / (m s)) (series² + run² / n) (1 / t + 1 / k) + response² / t,

or, without controls, (2 / m) session² in the place of the term in 1 / k: what a sitting adds then
stays in the difference. The model's prior narrows it a little: 1 / (1/V + 1/prior²). So the
interval is that which the model gives where it knows the scatters (tests compare the two). An
effect is shown as the answer shows it: its sign is SHOWN likely, the chance that the recipe does
nothing counting for neither.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from math import erf, exp, sqrt
from typing import NamedTuple

import msgspec
import numpy as np
from msgspec import Struct

from rig.errors import BadInputError
from rig.study.folder.catalogue import Preferences
from rig.study.folder.study import Study
from rig.study.model.priors import PRIORS, value_at
from rig.study.plan.make import make_plan
from rig.study.plan.rows import PlanRow
from rig.study.plan.status import plan_hours

SURE = 1.959964
"""97.5 % quantile of the normal distribution."""
LIKELY = 0.841621
"""80 % quantile."""
SHOWN = 0.975
"""As likely must a sign be to be claimed; the answer's own limit, which a test compares."""


class Scatter(Struct, frozen=True, kw_only=True):
    """Standard deviations, in degrees."""

    run_deg: float
    series_deg: float
    session_deg: float
    response_deg: float


class Trial(Struct, frozen=True, kw_only=True):
    """What is measured at each of two stages."""

    treated: int
    controls: int
    sessions: int
    series: int
    """Of each bag face in a sitting."""
    slides: int
    """Of each series."""


class Foreseen(Struct, frozen=True, kw_only=True):
    """What a trial is good for."""

    half_width_deg: float
    """Half the 95 % interval of the effect on one face."""
    detectable_deg: float
    """Smallest effect that is shown in four of five such trials."""


class Best(NamedTuple):
    """A plan for the time there is."""

    rows: list[PlanRow]
    preferences: Preferences
    hours: float
    foreseen: Foreseen | None
    """None where nothing is treated."""


def prior_scatter(*, by_hand: bool = False) -> Scatter:
    """What the model expects before a study has shown its own.

    Several bags soon tell how slides, series and responses scatter, so those count by their median.
    A sitting before and one after say nothing of the scatter of sittings: it counts by its mean
    square, over the central 95 % of the prior.
    """
    central = np.linspace(-SURE, SURE, 201)
    weights = np.exp(-0.5 * central**2)
    session_deg = np.average(value_at("session", central) ** 2, weights=weights) ** 0.5
    return Scatter(
        run_deg=PRIORS["reader_run" if by_hand else "run"].centre,
        series_deg=PRIORS["series"].centre,
        session_deg=float(session_deg),
        response_deg=PRIORS["response"].centre,
    )


def foresee(trial: Trial, scatter: Scatter) -> Foreseen:
    """What this trial can show.

    Raises:
        BadInputError: no bag is treated.
    """
    sd_deg, half_width_deg, shown_from_deg = _precision(trial, scatter)
    return Foreseen(half_width_deg=half_width_deg, detectable_deg=shown_from_deg + LIKELY * sd_deg)


def chance_to_show(effect_deg: float, trial: Trial, scatter: Scatter) -> float:
    """Chance that a trial shows an effect of this size.

    Raises:
        BadInputError: no bag is treated.
    """
    sd_deg, _, shown_from_deg = _precision(trial, scatter)
    return 0.5 * (1.0 + erf((effect_deg - shown_from_deg) / sd_deg / sqrt(2.0)))


def _precision(trial: Trial, scatter: Scatter) -> tuple[float, float, float]:
    """Standard deviation of the estimate, half the interval, and the estimate it is shown from."""
    if trial.treated < 1:
        raise BadInputError("A trial needs a treated bag; give one a recipe.")
    spread = variance(trial, scatter)
    prior = PRIORS["effect"].spread ** 2 + PRIORS["effect_face"].spread ** 2
    left = 1.0 / (1.0 / spread + 1.0 / prior)
    low, high = 0.0, 100.0 * sqrt(spread + prior)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _p_sign(middle, spread, prior) < SHOWN else (low, middle)
    return sqrt(spread), SURE * sqrt(left), high


def _p_sign(estimate_deg: float, spread: float, prior: float) -> float:
    """How likely the effect has this estimate's sign; it is nothing in a third of all recipes."""
    wide = spread + prior
    nothing_to_some = 0.5 * sqrt(wide / spread)
    nothing_to_some *= exp(-0.5 * estimate_deg**2 * (1.0 / spread - 1.0 / wide))
    # Given that it does something: normal about the estimate drawn towards zero.
    z = estimate_deg * sqrt(prior / (spread * wide))
    sign = 0.5 * (1.0 + erf(z / sqrt(2.0)))
    return sign / (1.0 + nothing_to_some)


def variance(trial: Trial, scatter: Scatter) -> float:
    """Variance of the estimated effect, in square degrees; see the module's text."""
    one = 2.0 / (trial.sessions * trial.series)
    one *= scatter.series_deg**2 + scatter.run_deg**2 / trial.slides
    found = one / trial.treated + scatter.response_deg**2 / trial.treated
    if trial.controls:
        return found + one / trial.controls
    return found + 2.0 / trial.sessions * scatter.session_deg**2


def trial_of(study: Study) -> Trial:
    """The trial that the study's catalogue and preferences plan.

    Treated bags are those of one recipe, the least of several; bags that name none count as one.
    """
    catalogue, preferences = study.catalogue, study.catalogue.preferences
    recipes = [catalogue.bags[name].treatment for name in catalogue.with_role("treated")]
    climates = len(catalogue.airs)
    return Trial(
        treated=min((recipes.count(one) for one in set(recipes)), default=0),
        controls=len(catalogue.with_role("control")),
        sessions=climates * preferences.sessions_per_climate,
        series=preferences.series_per_session,
        slides=preferences.runs_per_series,
    )


def best_plan(
    study: Study,
    hours: float,
    run_min: float,
    scatter: Scatter,
    *,
    number: int = 1,
    without_reference: bool = False,
    controls: int | None = None,
) -> Best:
    """The plan within the hours on the rig that leaves the least uncertainty.

    Args:
        study: with bags, boards, climates.
        hours: on the rig, all stages together.
        run_min: what a run takes, in minutes.
        scatter: of this study, or what is expected.
        number: of the plan in this study.
        without_reference: the reference bag does not watch the board.
        controls: untreated bags that are enough; as the study says if None.

    Raises:
        BadInputError: not even the shortest plan fits, or something that a plan needs is missing.
    """
    shortest: Best | None = None
    best: Best | None = None
    for changed in _choices(study, without_reference=without_reference, controls=controls):
        found = _made(changed, run_min, scatter, number)
        if shortest is None or found.hours < shortest.hours:
            shortest = found
        if found.hours <= hours and (best is None or _rank(found) < _rank(best)):
            best = found
    if best is None:
        least = 0.0 if shortest is None else shortest.hours
        raise BadInputError(
            f"The shortest plan takes about {least:.1f} h on the rig, and {hours:g} h are there;"
            " leave out bags, boards or climates, or use --without-reference."
        )
    return _checked(study, best, hours, run_min, scatter, number)


def _checked(
    study: Study, best: Best, hours: float, run_min: float, scatter: Scatter, number: int
) -> Best:
    """With checks of the material where there is time for them: they narrow nothing."""
    wanted = study.catalogue.preferences.check_runs
    preferences = msgspec.structs.replace(best.preferences, check_runs=wanted)
    catalogue = msgspec.structs.replace(study.catalogue, preferences=preferences)
    found = _made(msgspec.structs.replace(study, catalogue=catalogue), run_min, scatter, number)
    return found if found.hours <= hours else best


def _rank(found: Best) -> tuple[float, float]:
    width = 0.0 if found.foreseen is None else round(found.foreseen.half_width_deg, 3)
    return (width if found.foreseen else -float(len(found.rows)), found.hours)


def _choices(study: Study, *, without_reference: bool, controls: int | None) -> Iterator[Study]:
    """The study with each mixture of slides, series and sittings."""
    preferences = study.catalogue.preferences
    reference = 0 if without_reference else min(preferences.reference_runs, 2)
    fewest = preferences.min_controls if controls is None else controls
    for slides, series, sessions in product((2, 3, 4, 5, 6), (1, 2), (1, 2)):
        changed = msgspec.structs.replace(
            preferences,
            runs_per_series=slides,
            series_per_session=series,
            sessions_per_climate=sessions,
            reference_runs=reference,
            min_controls=fewest,
            check_runs=0,
        )
        catalogue = msgspec.structs.replace(study.catalogue, preferences=changed)
        yield msgspec.structs.replace(study, catalogue=catalogue)


def _made(study: Study, run_min: float, scatter: Scatter, number: int) -> Best:
    rows: Sequence[PlanRow] = make_plan(study, number)
    trial = trial_of(study)
    treats = trial.treated > 0 and study.catalogue.preferences.stages_after_baseline > 0
    return Best(
        list(rows),
        study.catalogue.preferences,
        plan_hours(study, rows, run_min),
        foresee(trial, scatter) if treats else None,
    )
