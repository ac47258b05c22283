"""The next act: which further series narrows the answer most.

Judged without measuring: a series' mean is an observation of the bag face's angle with the scatter
of a session, a series and its slides on top, so a quantity's variance V falls by
Cov(quantity, angle)² / (Var(angle) + scatter²) (linear Bayes estimate; exact for normal draws).
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from rig.study.answer.answer import HALF_WIDTH, BagAnswer, NextAct
from rig.study.answer.effects import is_shown
from rig.study.answer.question import F, Question
from rig.study.model.draws import Draws

OTHER_AIR_PCT = 20.0
"""A series in other air is one that many %RH damper or drier."""
MOST = 3


class SeriesCost(NamedTuple):
    """What a further series takes."""

    slides: int
    minutes: float


class _Act(NamedTuple):
    what: str
    seen: F
    """Draws of the angle that it would measure."""


def next_acts(
    draws: Draws,
    question: Question,
    bags: Sequence[BagAnswer],
    faces: Iterable[tuple[str, str]],
    series: SeriesCost,
) -> list[NextAct]:
    """The series that narrow most, best first.

    Args:
        draws: of the model.
        question: what is asked.
        bags: the bags' answers.
        faces: (model, face) that were measured.
        series: how many slides one takes, and how long.
    """
    wanted = _centred([*_angles(draws, question, bags), *_effects(draws, faces)])
    noise = _noise(draws, series.slides)
    found = []
    for act in _acts(draws, question, bags):
        narrows = _narrowing(wanted, act.seen - act.seen.mean(), noise)
        found.append(
            NextAct(
                what=act.what,
                minutes=series.minutes,
                narrows_deg=float(narrows.max(initial=0.0)),
            )
        )
    return sorted(found, key=lambda one: -one.narrows_deg)[:MOST]


def _angles(draws: Draws, question: Question, bags: Sequence[BagAnswer]) -> Iterable[F]:
    """Of the bag faces that are not decided yet."""
    for one in bags:
        if one.advice in ("unsure", "continue", "no_target"):
            yield draws.angle(one.bag, one.face, one.board, question.model_air)


def _effects(draws: Draws, faces: Iterable[tuple[str, str]]) -> Iterable[F]:
    """Effects and slopes whose sign is not shown yet."""
    applied = {(draws.about.models.get(a.bag, ""), a.recipe) for a in draws.about.applications}
    for model, face in faces:
        for its_model, recipe in sorted(applied):
            if its_model == model and not is_shown(effect := draws.effect(recipe, model, face)):
                yield effect
        if not is_shown(slope := draws.slope(model, face)):
            yield slope


def _acts(draws: Draws, question: Question, bags: Sequence[BagAnswer]) -> Iterable[_Act]:
    air = question.model_air
    for one in bags:
        name = f"{one.bag}, {one.face}"
        yield _Act(f"measure {name} again", draws.angle(one.bag, one.face, one.board, air))
        usual = draws.about.usual_air.humidity_pct
        way, sign = ("damper", 1.0) if usual < 50.0 else ("drier", -1.0)
        other = air._replace(humidity_pct=usual + sign * OTHER_AIR_PCT)
        yield _Act(
            f"measure {name} in air {OTHER_AIR_PCT:.0f} %RH {way}",
            draws.angle(one.bag, one.face, one.board, other),
        )


def _noise(draws: Draws, slides: int) -> float:
    """Variance of a series' mean about the bag face's angle, in square degrees."""
    run = draws.run_scatter
    layers = draws.scale("session") ** 2 + draws.scale("series") ** 2 + run**2 / slides
    return float(np.mean(layers))


def _centred(quantities: Sequence[F]) -> F:
    """Quantities × draws, about their means."""
    return np.array([one - one.mean() for one in quantities])


def _narrowing(wanted: F, seen: F, noise: float) -> F:
    """By how much half the interval of each wanted quantity shrinks, in degrees.

    Args:
        wanted: quantities × draws, about their means.
        seen: draws of the angle that is measured, about their mean.
        noise: variance of the measurement about it.
    """
    if not len(wanted):
        return np.empty(0)
    n = len(seen)
    variance = np.einsum("ij,ij->i", wanted, wanted) / n
    shared = wanted @ seen / n
    left = variance - shared**2 / (seen @ seen / n + noise)
    return np.asarray(HALF_WIDTH * (np.sqrt(variance) - np.sqrt(np.maximum(left, 0.0))))
