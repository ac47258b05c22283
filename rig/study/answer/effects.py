"""What treatments and weather do, and what makes equal slides differ."""

from collections.abc import Iterable
from typing import Literal

import numpy as np

from rig.study.answer.answer import Offset, Others, ScatterLayers, Spread, TreatmentEffect, Weather
from rig.study.answer.question import F
from rig.study.model.draws import Draws, Scale, interval
from rig.study.model.others import Told

MOST_OF_OTHERS = 0.5
"""More than this part of the information about a quantity: it rests mostly on others."""
SHOWN = 0.975
"""A claim is shown when its sign is that sure; draws without effect count for neither sign."""


def is_shown(effect: F) -> bool:
    """Whether an effect's sign may be claimed."""
    return max(float(np.mean(effect < 0.0)), float(np.mean(effect > 0.0))) >= SHOWN


def treatments_of(draws: Draws, faces: Iterable[tuple[str, str]]) -> list[TreatmentEffect]:
    """Recipes that were applied to bags of a model, the surest and strongest first.

    Args:
        draws: of the model.
        faces: (model, face) that were measured.
    """
    found = []
    for model, face in faces:
        done = [a for a in draws.about.applications if draws.about.models.get(a.bag, "") == model]
        for recipe in sorted({a.recipe for a in done}):
            bags = [a.bag for a in done if a.recipe == recipe]
            effect = draws.effect(recipe, model, face)
            at = interval(effect)
            found.append(
                TreatmentEffect(
                    recipe=recipe,
                    model=model,
                    face=face,
                    effect_deg=at.median,
                    lower_deg=at.lower,
                    upper_deg=at.upper,
                    p_lowers=float(np.mean(effect < 0.0)),
                    n_bags=len(set(bags)),
                    n_applications=len(bags),
                    shown=is_shown(effect),
                )
            )
    return sorted(found, key=lambda one: (not one.shown, -abs(one.effect_deg)))


def weather_of(draws: Draws, faces: Iterable[tuple[str, str]]) -> list[Weather]:
    """The slope against humidity of each model's face that was measured."""
    found = []
    for model, face in faces:
        slope = draws.slope(model, face)
        at = interval(slope)
        found.append(
            Weather(
                model=model,
                face=face,
                per_10_pct_rh_deg=at.median,
                lower_deg=at.lower,
                upper_deg=at.upper,
                shown=is_shown(slope),
            )
        )
    return found


def offsets_of(draws: Draws, boards: Iterable[str]) -> list[Offset]:
    """Boards, rigs, readers and operators other than the usual ones.

    Args:
        draws: of the model.
        boards: that were measured on.
    """
    about = draws.about
    found = [
        _offset("board", board, about.usual_board, draws.board_offset(board))
        for board in boards
        if board != about.usual_board
    ]
    _, _, home = about.instrument.partition(" ")
    for key in about.columns:
        if key[0] in ("rig", "rigs", "reader") and key[1] != about.instrument:
            what: Literal["rig", "reader"] = "reader" if key[0] == "reader" else "rig"
            found.append(_offset(what, key[1], home, draws.instrument_offset(key[1])))
        elif key[0] == "operator" and key[1] != about.operator:
            against = about.operator or "an operator not named"
            found.append(_offset("operator", key[1], against, draws.operator_offset(key[1])))
    return found


def _offset(
    what: Literal["board", "rig", "reader", "operator"], name: str, against: str, values: F
) -> Offset:
    at = interval(values)
    return Offset(
        what=what,
        name=name,
        against=against,
        offset_deg=at.median,
        lower_deg=at.lower,
        upper_deg=at.upper,
    )


def others_of(told: Told, alone: Draws, draws: Draws) -> Others:
    """What rests on other owners' studies.

    Args:
        told: what they say.
        alone: draws from the study's own slides.
        draws: with theirs.
    """

    def rests(own: F, both: F) -> bool:
        return float(np.var(both)) < (1.0 - MOST_OF_OTHERS) * float(np.var(own))

    found: list[str] = []
    for model, face in sorted(key[1:] for key in draws.about.columns if key[0] == "level"):
        if rests(alone.slope(model, face), draws.slope(model, face)):
            found.append(f"what humidity does to {model} {face}".replace("  ", " "))
    layers: tuple[tuple[Scale, str], ...] = (
        ("run", "slides"), ("series", "series"), ("session", "sessions"), ("bag", "bags"),
    )  # fmt: skip
    for layer, name in layers:
        if rests(np.log(alone.scale(layer)), np.log(draws.scale(layer))):
            found.append(f"the scatter of {name}")
    for bag, face in draws.bag_faces:
        if rests(alone.angle(bag, face), draws.angle(bag, face)):
            found.append(f"the angle of {bag}, {face}")
    return Others(
        n_studies=told.n_studies,
        n_slides=told.n_slides,
        n_rigs=told.n_rigs,
        n_readers=told.n_readers,
        n_operators=told.n_operators,
        shared_bags=told.shared_bags,
        rests_on_them=tuple(found),
    )


def scatter_of(draws: Draws) -> ScatterLayers:
    """The layers of scatter."""

    def spread(sd_deg: F) -> Spread:
        at = interval(sd_deg)
        return Spread(median=at.median, lower=at.lower, upper=at.upper)

    return ScatterLayers(
        run_sd_deg=spread(draws.run_scatter),
        series_sd_deg=spread(draws.scale("series")),
        session_sd_deg=spread(draws.scale("session")),
        bag_sd_deg=spread(draws.scale("bag")),
        response_sd_deg=spread(draws.scale("response")),
    )
