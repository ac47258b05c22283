"""A trial's chances with the scatter that a study has shown."""

from math import erf, sqrt

import numpy as np

from rig.errors import BadInputError
from rig.study.answer.ask import ask
from rig.study.folder.study import Study
from rig.study.plan.trial import LIKELY, Scatter, Trial, foresee, variance


def scatter_seen(study: Study) -> Scatter | None:
    """The scatter by the model of the study's slides; None where none counts yet."""
    try:
        draws = ask(study).draws
    except BadInputError:
        return None
    by_hand = draws.about.instrument.startswith("reader ")
    return Scatter(
        run_deg=float(np.median(draws.scale("reader_run" if by_hand else "run"))),
        series_deg=float(np.median(draws.scale("series"))),
        session_deg=float(np.median(draws.scale("session"))),
        response_deg=float(np.median(draws.scale("response"))),
    )


def chance_to_show(effect_deg: float, trial: Trial, scatter: Scatter) -> float:
    """Chance that a trial shows an effect of this size."""
    found = foresee(trial, scatter)
    # `detectable_deg` is where the chance is 80 %: that many standard deviations above the limit.
    sd_deg = sqrt(variance(trial, scatter))
    limit_deg = found.detectable_deg - LIKELY * sd_deg
    return 0.5 * (1.0 + erf((effect_deg - limit_deg) / sd_deg / sqrt(2.0)))
