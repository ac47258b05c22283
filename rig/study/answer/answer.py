"""The object `answer`: what a study can say by now, in one air. Intervals hold 95 %."""

from collections.abc import Iterable
from typing import Literal, get_args

from msgspec import Struct

Advice = Literal["continue", "unsure", "stop", "passed", "no_target"]
ADVICES: tuple[Advice, ...] = get_args(Advice)
"""Those with something to do come first."""
HALF_WIDTH = 1.96
"""Of a 95 % interval of a normal distribution, in standard deviations."""


class DayAir(Struct, frozen=True, kw_only=True):
    """The air that the angles are for."""

    temperature_c: float | None
    relative_humidity_pct: float
    surface_humidity_pct: float
    """At the board's surface, which is what the fabric feels."""


class FaceTarget(Struct, frozen=True, kw_only=True):
    """The slide angle that is wanted of a face."""

    face: str
    angle_deg: float
    tolerance_deg: float


class AnswerQuality(Struct, frozen=True, kw_only=True):
    """How well the posterior was computed, and what rests on a prior rather than on data."""

    pareto_k: float
    """Tail index of the importance weights; tails are not to be trusted above 0.7."""
    ess: float
    """Effective number of draws."""
    prior_carried: tuple[str, ...]


class TreatmentEffect(Struct, frozen=True, kw_only=True):
    """What a first application does to a bag of this model, in equal air and at equal wear."""

    recipe: str
    model: str
    face: str
    effect_deg: float
    lower_deg: float
    upper_deg: float
    p_lowers: float
    n_bags: int
    n_applications: int
    shown: bool


class Forecast(Struct, frozen=True, kw_only=True):
    """Where a bag face will be after so many more applications."""

    recipe: str
    applications: int
    angle_deg: float
    lower_deg: float
    upper_deg: float
    p_reaches: float
    """Chance to lie within the tolerance of the target; 0 without a target."""
    p_passes: float
    """Chance to lie below the tolerance."""
    p_nearer: float
    """Chance to lie nearer to the target than now; 0 without a target."""


class Throws(Struct, frozen=True, kw_only=True):
    """Throws until the target is reached; None: more than can be said."""

    median: float | None
    lower: float | None
    upper: float | None
    p_ever: float


class BagAnswer(Struct, frozen=True, kw_only=True):
    """One bag face on its board now."""

    bag: str
    face: str
    board: str
    angle_deg: float
    lower_deg: float
    upper_deg: float
    target_deg: float | None
    tolerance_deg: float | None
    to_target_deg: float | None
    """Target less angle."""
    p_within: float | None
    p_below_target: float | None
    """Chance that the angle lies below the target less its tolerance."""
    advice: Advice
    forecast: tuple[Forecast, ...]
    throws_to_target: Throws | None
    """None without recorded play."""

    @property
    def next_recipe(self) -> str | None:
        """The recipe whose next application is the likeliest to reach the target, if any may."""
        first = [each for each in self.forecast if each.applications == 1]
        if not first:
            return None
        return max(first, key=lambda each: (each.p_reaches, -each.p_passes)).recipe


class Pick(Struct, frozen=True, kw_only=True):
    """A bag face for today, best first."""

    bag: str
    face: str
    angle_deg: float
    lower_deg: float
    upper_deg: float
    p_within: float


class BestFour(Struct, frozen=True, kw_only=True):
    """The four bag faces that lie nearest their target together."""

    bags: tuple[str, ...]
    faces: tuple[str, ...]
    rms_deg: float
    lower_deg: float
    upper_deg: float


class SetAnswer(Struct, frozen=True, kw_only=True):
    """Bags that are thrown together, one face up: how far they miss its target."""

    set: str
    face: str
    bags: tuple[str, ...]
    rms_deg: float
    lower_deg: float
    upper_deg: float
    p_all_within: float


class Weather(Struct, frozen=True, kw_only=True):
    """How the slide angle goes with humidity at the surface."""

    model: str
    face: str
    per_10_pct_rh_deg: float
    lower_deg: float
    upper_deg: float
    shown: bool


class Offset(Struct, frozen=True, kw_only=True):
    """What a board, rig, reader or operator adds to the usual one's angles."""

    what: Literal["board", "rig", "reader", "operator"]
    name: str
    against: str
    offset_deg: float
    lower_deg: float
    upper_deg: float

    @property
    def who(self) -> str:
        """The name alone; that of an instrument begins with what it is."""
        return self.name.removeprefix(f"{self.what} ")


class Spread(Struct, frozen=True, kw_only=True):
    """A standard deviation, in degrees (of the response: for an effect of 1.5°)."""

    median: float
    lower: float
    upper: float


class Others(Struct, frozen=True, kw_only=True):
    """Other owners' studies that the answer takes along."""

    n_studies: int
    n_slides: int
    n_rigs: int
    n_readers: int
    shared_bags: tuple[str, ...]
    """Bags that they measured, too, and that hold their rigs and boards to this study's."""
    rests_on_them: tuple[str, ...]
    """What is known at most half by this study's own slides (in terms of precision)."""
    n_operators: int = 0
    """Who worked those rigs, where they were named."""


class ScatterLayers(Struct, frozen=True, kw_only=True):
    """What makes slides differ that should be equal."""

    run_sd_deg: Spread
    series_sd_deg: Spread
    session_sd_deg: Spread
    bag_sd_deg: Spread
    response_sd_deg: Spread


class NextAct(Struct, frozen=True, kw_only=True):
    """What to do next, and how much narrower it makes the widest interval that matters."""

    what: str
    minutes: float
    narrows_deg: float


class Answer(Struct, frozen=True, kw_only=True):
    """All of it."""

    as_of: str
    """Time of the newest slide or treatment, RFC 3339, UTC."""
    experience: tuple[str, ...] = ()
    """Names of older studies whose slides count, too."""
    air: DayAir
    targets: tuple[FaceTarget, ...]
    quality: AnswerQuality
    treatments: tuple[TreatmentEffect, ...]
    bags: tuple[BagAnswer, ...]
    picks: tuple[Pick, ...]
    best_four: BestFour | None
    sets: tuple[SetAnswer, ...]
    """The nearest to its target first."""
    weather: tuple[Weather, ...]
    boards: tuple[Offset, ...]
    """Boards, rigs, readers and operators, each against the usual one."""
    scatter: ScatterLayers
    next: tuple[NextAct, ...]
    unknown: tuple[str, ...]
    sentences: tuple[str, ...]
    """Six at most, the most useful first."""
    others: Others | None = None
    """None where the answer is from the study's own slides alone."""

    def __repr__(self) -> str:
        return f"<Answer: {next(iter(self.sentences), 'nothing yet')}>"


def in_order(bags: Iterable[BagAnswer]) -> list[BagAnswer]:
    """As every place lists them: by what there is to do, the likeliest to fit first."""
    return sorted(bags, key=lambda one: (ADVICES.index(one.advice), -(one.p_within or 0.0)))
