"""Each bag face's way to its target: where it is, what comes next, when to stop."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from rig.study.answer.answer import (
    Advice,
    BagAnswer,
    BestFour,
    Forecast,
    Pick,
    SetAnswer,
    Throws,
)
from rig.study.answer.question import Aim, F, Question
from rig.study.model.draws import Draws, interval

STEPS_AHEAD = 3
PASSED = 0.8
"""Chance from which a bag counts as past its target."""
STOP = 0.5
"""Chance from which it counts as there."""
FAR = 0.05
"""Below this chance no single step may raise it, and what leads towards the target will do."""
NEARER = 0.8
"""How likely it must lead there."""
FOUR = 4


def bag_answers(
    draws: Draws,
    question: Question,
    boards: dict[tuple[str, str], str],
    recipes: Mapping[str, Sequence[str]],
) -> list[BagAnswer]:
    """All measured bag faces, in the order of `boards`.

    Args:
        draws: of the model.
        question: what is asked.
        boards: (bag, face) → the board that it was measured on most, of the faces that count.
        recipes: bag → the recipes that may come next; none of a bag that is not there.
    """
    return [
        _bag_answer(draws, question, bag, face, question.board or board, recipes.get(bag, ()))
        for (bag, face), board in boards.items()
    ]


def _bag_answer(
    draws: Draws, question: Question, bag: str, face: str, board: str, recipes: Sequence[str]
) -> BagAnswer:
    target = question.targets.get(face)
    now = draws.angle(bag, face, board, question.model_air)
    forecasts = [
        forecast
        for one in recipes
        for forecast in _forecasts(draws, question, bag, face, board, one, target)
    ]
    angle = interval(now)
    within, below = (None, None) if target is None else _chances(now, target)
    return BagAnswer(
        bag=bag,
        face=face,
        board=board,
        angle_deg=angle.median,
        lower_deg=angle.lower,
        upper_deg=angle.upper,
        target_deg=None if target is None else target.angle_deg,
        tolerance_deg=None if target is None else target.tolerance_deg,
        to_target_deg=None if target is None else target.angle_deg - angle.median,
        p_within=within,
        p_below_target=below,
        advice=advice_of(within, below, forecasts, question.may_pass),
        forecast=tuple(forecasts),
        throws_to_target=_throws(draws, question, bag, face, board, target),
    )


def advice_of(
    p_within: float | None,
    p_below: float | None,
    forecasts: Sequence[Forecast],
    may_pass: float,
) -> Advice:
    """What to do with a bag face.

    Args:
        p_within: chance that it lies within its tolerance now; None without a target.
        p_below: chance that it lies below.
        forecasts: of its recipes; those of one further application count.
        may_pass: chance of passing the target that one may have.
    """
    if p_within is None or p_below is None:
        return "no_target"
    if p_below >= PASSED:
        return "passed"
    for one in forecasts:
        is_better = one.p_reaches > p_within or (p_within < FAR and one.p_nearer >= NEARER)
        if one.applications == 1 and is_better and one.p_passes <= may_pass:
            return "continue"
    return "stop" if p_within >= STOP else "unsure"


def _forecasts(
    draws: Draws,
    question: Question,
    bag: str,
    face: str,
    board: str,
    recipe: str,
    target: Aim | None,
) -> Iterator[Forecast]:
    now, *ahead = draws.path(bag, face, recipe, STEPS_AHEAD, board, question.model_air)
    for applications, angle_deg in enumerate(ahead, start=1):
        at = interval(angle_deg)
        reaches, passes, nearer = 0.0, 0.0, 0.0
        if target is not None:
            reaches, passes = _chances(angle_deg, target)
            miss = np.abs(angle_deg - target.draws_deg)
            nearer = float(np.mean(miss < np.abs(now - target.draws_deg)))
        yield Forecast(
            recipe=recipe,
            applications=applications,
            angle_deg=at.median,
            lower_deg=at.lower,
            upper_deg=at.upper,
            p_reaches=reaches,
            p_passes=passes,
            p_nearer=nearer,
        )


def _chances(angle_deg: F, target: Aim) -> tuple[float, float]:
    """To lie within the tolerance, and below it."""
    miss = angle_deg - target.draws_deg
    within = np.abs(miss) <= target.tolerance_deg
    return float(np.mean(within)), float(np.mean(miss < -target.tolerance_deg))


def _throws(
    draws: Draws, question: Question, bag: str, face: str, board: str, target: Aim | None
) -> Throws | None:
    if target is None or not draws.about.has_play:
        return None
    throws = draws.throws_to(bag, face, target.angle_deg, board, question.model_air)
    median, lower, upper = (
        round(value) if np.isfinite(value) else None for value in interval(throws)
    )
    return Throws(median=median, lower=lower, upper=upper, p_ever=float(np.mean(throws < np.inf)))


def picks_of(bags: Sequence[BagAnswer]) -> list[Pick]:
    """Bag faces with a target, the likeliest to lie within it first."""
    with_target = [one for one in bags if one.p_within is not None]
    with_target.sort(key=lambda one: (-(one.p_within or 0.0), abs(one.to_target_deg or 0.0)))
    return [
        Pick(
            bag=one.bag,
            face=one.face,
            angle_deg=one.angle_deg,
            lower_deg=one.lower_deg,
            upper_deg=one.upper_deg,
            p_within=one.p_within or 0.0,
        )
        for one in with_target
    ]


def best_four(draws: Draws, question: Question, bags: Sequence[BagAnswer]) -> BestFour | None:
    """Four bags, each with its better face, that together miss their targets least.

    The mean over the draws of the sum of squares is the sum over the bags, so the four smallest
    are the best four. None with fewer bags.
    """
    squares: dict[str, tuple[float, str, F]] = {}
    for one in bags:
        target = question.targets.get(one.face)
        if target is None:
            continue
        angle_deg = draws.angle(one.bag, one.face, one.board, question.model_air)
        square = (angle_deg - target.draws_deg) ** 2
        mean = float(square.mean())
        if one.bag not in squares or mean < squares[one.bag][0]:
            squares[one.bag] = (mean, one.face, square)
    if len(squares) < FOUR:
        return None
    chosen = sorted(squares, key=lambda bag: squares[bag][0])[:FOUR]
    rms = interval(np.sqrt(sum(squares[bag][2] for bag in chosen) / FOUR))
    return BestFour(
        bags=tuple(chosen),
        faces=tuple(squares[bag][1] for bag in chosen),
        rms_deg=rms.median,
        lower_deg=rms.lower,
        upper_deg=rms.upper,
    )


def sets_of(
    draws: Draws, question: Question, bags: Sequence[BagAnswer], sets: dict[str, str]
) -> list[SetAnswer]:
    """Sets of at least two measured bags, by face.

    Args:
        draws: of the model.
        question: what is asked.
        bags: the bags' answers.
        sets: bag → set.
    """
    members: dict[tuple[str, str], list[BagAnswer]] = {}
    for one in bags:
        if one.bag in sets and one.face in question.targets:
            members.setdefault((sets[one.bag], one.face), []).append(one)
    found = []
    for (name, face), ours in members.items():
        if len(ours) < 2:
            continue
        target = question.targets[face]
        air = question.model_air
        miss = np.array([draws.angle(b.bag, face, b.board, air) - target.draws_deg for b in ours])
        rms = interval(np.sqrt(np.mean(miss**2, axis=0)))
        found.append(
            SetAnswer(
                set=name,
                face=face,
                bags=tuple(one.bag for one in ours),
                rms_deg=rms.median,
                lower_deg=rms.lower,
                upper_deg=rms.upper,
                p_all_within=float(np.mean(np.all(np.abs(miss) <= target.tolerance_deg, axis=0))),
            )
        )
    return sorted(found, key=lambda one: one.rms_deg)
