"""A trial with the scatter that a study has shown, in words and figures."""

from rig.study.answer.answer import ScatterLayers
from rig.study.answer.ask import NoSlideError, ask
from rig.study.answer.effects import scatter_of
from rig.study.folder.study import Study
from rig.study.plan.trial import Scatter


def scatter_seen(study: Study) -> Scatter | None:
    """The scatter by the model of the study's slides; None where none counts yet.

    Raises:
        BadInputError: a damaged line of the journal blocks all answers.
    """
    try:
        return scatter_in(scatter_of(ask(study).draws))
    except NoSlideError:
        return None


def scatter_in(layers: ScatterLayers) -> Scatter:
    """The medians of an answer's layers of scatter."""
    return Scatter(
        run_deg=layers.run_sd_deg.median,
        series_deg=layers.series_sd_deg.median,
        session_deg=layers.session_sd_deg.median,
        response_deg=layers.response_sd_deg.median,
    )


def shown_words(detectable_deg: float) -> str:
    """What a trial is good for, as part of a sentence."""
    return f"an effect of {detectable_deg:.1f}° is shown in four of five such trials"
