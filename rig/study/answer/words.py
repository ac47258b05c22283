"""The answer in sentences; every place that shows one takes it from here."""

from collections.abc import Iterable, Sequence
from math import ceil, floor

from rig.quantities.figures import fixed, signed
from rig.quantities.shown import System, system
from rig.study.answer.answer import (
    HALF_WIDTH,
    Answer,
    BagAnswer,
    BestFour,
    DayAir,
    Forecast,
    NextAct,
    Pick,
    TreatmentEffect,
    Weather,
)

MOST_SENTENCES = 6
MOST_NAMES = 4
TRUSTED_K = 0.7
NEAR = 0.1
"""A pick with less than this chance to be near enough is not called one to use."""


def span(lower: float, upper: float, digits: int = 1) -> str:
    """An interval's ends."""
    return f"{fixed(lower, digits)} to {fixed(upper, digits)}"


def percent(chance: float, *, brief: bool = False) -> str:
    """A chance as people say it, `brief` in a narrow table; nothing is certain."""
    if chance < 0.005:
        return "<1 %" if brief else "under 1 %"
    if chance > 0.995:
        return ">99 %" if brief else "over 99 %"
    return f"{100.0 * chance:.0f} %"


def target_words(angle_deg: float | None, tolerance_deg: float | None) -> str:
    """A target and how near is near enough; empty where there is none."""
    if angle_deg is None or tolerance_deg is None:
        return ""
    return f"{fixed(angle_deg, 1)}° ± {fixed(tolerance_deg, 1)}°"


def air_words(air: DayAir, units: System = "metric") -> str:
    """The air that the angles are for."""
    words = f"{air.relative_humidity_pct:.0f} %RH"
    if abs(air.surface_humidity_pct - air.relative_humidity_pct) >= 1.0:
        words += f" ({air.surface_humidity_pct:.0f} % at the board)"
    if air.temperature_c is None:
        return words
    return f"{system(units)['c'].text(air.temperature_c)}, {words}"


def pick_sentence(answer: Answer) -> str:
    """What a person would say first."""
    if not answer.targets:
        return (
            "There is no target yet: give one with --angle, or keep one with"
            " `rig study target STUDY FACE ANGLE`."
        )
    if not answer.picks:
        faces = ", ".join(target.face for target in answer.targets)
        return f"No bag has been measured on a face with a target ({faces})."
    best = answer.picks[0]
    target = next(one for one in answer.targets if one.face == best.face)
    use = (
        "Use" if best.p_within >= NEAR else "No bag is likely to be near its target; the nearest is"
    )
    return (
        f"{use} {name_of(best)}: {angle_words(best)}, {percent(best.p_within)} likely to lie within"
        f" {fixed(target.tolerance_deg, 1)}° of {fixed(target.angle_deg, 1)}°."
    )


def others_sentence(answer: Answer) -> str:
    """Whose slides beside one's own the answer rests on, and what rests on them; may be empty."""
    one = answer.others
    if one is None:
        return ""
    studies = "another study" if one.n_studies == 1 else f"{one.n_studies} other studies"
    by = ", ".join(
        f"{n} {what}{'' if n == 1 else 's'}"
        for n, what in (
            (one.n_rigs, "rig"),
            (one.n_readers, "reader"),
            (one.n_operators, "operator"),
        )
        if n
    )
    bags = _listed(one.shared_bags) if one.shared_bags else "no bag"
    words = f"With {one.n_slides} slides of {studies} ({by}; in common: {bags})."
    if one.rests_on_them:
        words += f" Mostly from them: {_listed(one.rests_on_them)}."
    return words


def shift_sentence(answer: Answer) -> str:
    """What a sitting adds that nobody can foresee, and how to see it."""
    sd_deg = answer.scatter.session_sd_deg.median
    return (
        f"Today's conditions can shift all bags by ±{fixed(2.0 * sd_deg, 1)}°: slide the pick three"
        " times on the board you play on and compare."
    )


def name_of(one: Pick | BagAnswer) -> str:
    """Bag and face."""
    return f"{one.bag}, {one.face}"


def angle_words(one: Pick | BagAnswer | Forecast) -> str:
    """An angle with its interval."""
    return f"{fixed(one.angle_deg, 1)}° ({span(one.lower_deg, one.upper_deg)})"


def several_models(weather: Iterable[Weather]) -> bool:
    """Whether sentences name the model: a row of weather stands for each that was measured."""
    return len({one.model for one in weather}) > 1


def effect_sentence(one: TreatmentEffect, *, several_models: bool) -> str:
    """What a recipe does, or what it may do."""
    face = _face(one, several_models)
    bags = f"{one.n_bags} {'bag' if one.n_bags == 1 else 'bags'}"
    if not one.shown:
        return (
            f"What {one.recipe} does to {face} may lie anywhere from"
            f" {signed(one.lower_deg, 1)} to {signed(one.upper_deg, 1)}° ({bags})."
        )
    verb = "lowers" if one.effect_deg < 0.0 else "raises"
    low, high = sorted((abs(one.lower_deg), abs(one.upper_deg)))
    return (
        f"{_capital(one.recipe)} {verb} {face} by {fixed(abs(one.effect_deg), 1)}°"
        f" ({span(low, high)}; {bags})."
    )


def _face(one: TreatmentEffect | Weather, several_models: bool) -> str:
    model = f" of {one.model}" if several_models and one.model else ""
    return f"the {one.face} face{model}"


def weather_sentence(one: Weather, *, several_models: bool) -> str:
    """What humidity does, or what it may do."""
    face = _face(one, several_models)
    if not one.shown:
        return (
            f"Each 10 %RH more may change {face} by anything from"
            f" {signed(one.lower_deg, 1)} to {signed(one.upper_deg, 1)}°."
        )
    verb = "lowers" if one.per_10_pct_rh_deg < 0.0 else "raises"
    low, high = sorted((abs(one.lower_deg), abs(one.upper_deg)))
    size = fixed(abs(one.per_10_pct_rh_deg), 1)
    return f"Each 10 %RH more {verb} {face} by {size}° ({span(low, high)})."


def advice_words(one: BagAnswer, *, brief: bool = False) -> str:
    """What to do with a bag face, short enough for a table, `brief` for a narrow one."""
    if one.advice == "no_target":
        return "no target"
    words: str = one.advice
    recipe = one.next_recipe if one.advice == "continue" else None
    if recipe:
        words = recipe if brief else f"continue with {recipe}"
    throws = one.throws_to_target
    if throws is None or one.advice not in ("continue", "unsure"):
        return words
    if throws.median is None and recipe and brief:
        return words  # the recipe is what to do; there is no room for what does not help
    joined = "; " if throws.median is None or one.advice == "unsure" else ", or "
    return f"{words}{joined}{throws_words(one, brief=brief)}"


def throws_words(one: BagAnswer, *, brief: bool = False) -> str:
    """Throws until the target."""
    throws = one.throws_to_target
    if throws is None or throws.median is None:
        return "never by play" if brief else "play may never get it there"
    lower = floor((throws.lower or 0.0) / 50.0) * 50
    if throws.upper is None:
        if brief:
            return f"{lower}+ throws"
        many = f"{lower} throws or more" if lower else "some throws"
        return f"{many} (never: {percent(1.0 - throws.p_ever)})"
    return f"{lower}–{ceil(throws.upper / 50.0) * 50} throws"


def four_sentence(four: BestFour) -> str:
    """The best four."""
    names = [f"{bag} ({face})" for bag, face in zip(four.bags, four.faces, strict=True)]
    return (
        f"Best four together: {', '.join(names)}; they miss their targets by"
        f" {fixed(four.rms_deg, 1)}° ({span(four.lower_deg, four.upper_deg)}, root mean square)."
    )


def act_sentence(act: NextAct) -> str:
    """What to do next."""
    return (
        f"Next: {act.what} ({act.minutes:.0f} min); that narrows an open question by about"
        f" {fixed(act.narrows_deg, 1)}°."
    )


def sentences(answer: Answer) -> tuple[str, ...]:
    """At most six, the most useful first."""
    several = several_models(answer.weather)
    shown = [one for one in answer.treatments if one.shown]
    found = [pick_sentence(answer)]
    found += [effect_sentence(one, several_models=several) for one in shown[:2]]
    found += _advice_sentence(answer.bags)
    found += [weather_sentence(one, several_models=several) for one in answer.weather if one.shown][
        :1
    ]
    if answer.best_four is not None:
        found.append(four_sentence(answer.best_four))
    if answer.next and answer.next[0].narrows_deg >= 0.05:
        found.append(act_sentence(answer.next[0]))
    return tuple(found[:MOST_SENTENCES])


def _advice_sentence(bags: Sequence[BagAnswer]) -> list[str]:
    """All bags in one sentence."""
    parts = []
    for advice, said in (
        ("continue", "continue with"),
        ("stop", "stop with"),
        ("passed", "past their target:"),
        ("unsure", "too uncertain to say:"),
    ):
        names = [f"{one.bag} ({one.face})" for one in bags if one.advice == advice]
        if names:
            parts.append(f"{said} {_listed(names)}")
    return [_capital("; ".join(parts)) + "."] if parts else []


def _listed(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMES
    listed = ", ".join(names[:MOST_NAMES])
    return f"{listed} and {more} more" if more > 0 else listed


def unknown_sentences(
    treatments: Iterable[TreatmentEffect],
    weather: Sequence[Weather],
    *,
    pareto_k: float,
    blocked: Iterable[str],
    phone_u_deg: float | None = None,
) -> list[str]:
    """What the study does not say, the most important first."""
    found = list(blocked)
    if pareto_k > TRUSTED_K:
        found.append(
            "The computation did not settle (Pareto k"
            f" {pareto_k:.2f}): take the ends of all intervals as rough."
        )
    if phone_u_deg is not None:
        found.append(
            "All angles come from one phone: they may be off together by"
            f" {fixed(HALF_WIDTH * phone_u_deg, 1)}°, which no comparison of bags feels; check it"
            " on a trestle or beside a rig."
        )
    several = several_models(weather)
    found += [effect_sentence(one, several_models=several) for one in treatments if not one.shown]
    found += [weather_sentence(one, several_models=several) for one in weather if not one.shown]
    return found


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
