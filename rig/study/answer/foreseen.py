"""A trial with the scatter that a study has shown, in words and figures."""

from collections import Counter
from collections.abc import Sequence

from rig.study.answer.answer import ScatterLayers
from rig.study.answer.ask import NoSlideError, ask
from rig.study.answer.effects import scatter_of
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.study import Study
from rig.study.plan.trial import Scatter, Trial, foresee, prior_scatter
from rig.study.slides.slide import Slide


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


def cost_sentences(
    bags: Sequence[str], slides: Sequence[Slide], scatter: Scatter | None
) -> list[str]:
    """What a treatment takes away, and what can still be shown of it with the slides there are."""
    found = ["This cannot be undone on the bags."]
    before = Counter((s.bag, s.face) for s in slides if s.valid and s.stage == BASELINE)
    mine = [n for (bag, _), n in before.items() if bag in bags]
    if not mine:
        return found
    by_hand = not any(slide.run_file for slide in slides)
    seen = scatter or prior_scatter(by_hand=by_hand)
    controls = len({bag for bag, _ in before if bag not in bags})

    def shows(n_slides: int) -> float:
        trial = Trial(
            treated=len(set(bags)), controls=controls, sessions=1, series=1, slides=n_slides
        )
        return foresee(trial, seen).detectable_deg

    now, more = shows(min(mine)), shows(min(mine) + 2)
    text = f"As it stands, {shown_words(now)}"
    if now - more >= 0.05:
        text += f"; two more slides of each bag before it would make that {more:.1f}°"
    return [*found, f"{text}."]
