"""Advice, picks and the best four, against draws whose angles are known."""

from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from rig.study.answer.answer import BagAnswer, Forecast
from rig.study.answer.bags import advice_of, bag_answers, best_four, picks_of
from rig.study.answer.question import Aim, Question
from rig.study.model.draws import Draws
from tests.study.answer.made import MILD, made, question


def forecast(applications: int, reaches: float, passes: float, nearer: float = 0.5) -> Forecast:
    return Forecast(
        recipe="soak",
        applications=applications,
        angle_deg=20.0,
        lower_deg=19.0,
        upper_deg=21.0,
        p_reaches=reaches,
        p_passes=passes,
        p_nearer=nearer,
    )


BETTER, RISKY, LATER = forecast(1, 0.6, 0.05), forecast(1, 0.9, 0.11), forecast(2, 0.9, 0.05)


@pytest.mark.parametrize(
    ("within", "below", "forecasts", "advice"),
    [
        (None, None, [BETTER], "no_target"),
        (0.1, 0.80, [BETTER], "passed"),
        (0.1, 0.79, [BETTER], "continue"),
        (0.55, 0.1, [BETTER], "continue"),
        (0.60, 0.1, [BETTER], "stop"),
        (0.50, 0.1, [RISKY], "stop"),
        (0.49, 0.1, [RISKY], "unsure"),
        (0.49, 0.1, [LATER], "unsure"),
        (0.50, 0.1, [], "stop"),
        (0.49, 0.1, [], "unsure"),
        (0.049, 0.0, [forecast(1, 0.0, 0.0, 0.8)], "continue"),
        (0.049, 0.0, [forecast(1, 0.0, 0.0, 0.79)], "unsure"),
        (0.051, 0.0, [forecast(1, 0.0, 0.0, 0.99)], "unsure"),
        (0.049, 0.0, [forecast(1, 0.0, 0.2, 0.99)], "unsure"),
    ],
)
def test_advice_in_its_order(
    within: float | None, below: float | None, forecasts: list[Forecast], advice: str
) -> None:
    assert advice_of(within, below, forecasts, may_pass=0.10) == advice


def answers(draws: Draws, asked: Question) -> list[BagAnswer]:
    boards = dict.fromkeys(draws.bag_faces, "ash")
    recipes = {bag: ("soak",) for bag, _ in draws.bag_faces}
    return bag_answers(draws, asked, boards, recipes)


def test_angle_chances_and_distance_are_those_of_the_draws() -> None:
    (one,) = answers(made({"Quay 1": (24.0, 0.5)}), question(grip=(24.3, 0.4)))
    assert one.angle_deg == pytest.approx(24.0, abs=0.02)
    assert (one.lower_deg, one.upper_deg) == pytest.approx((23.02, 24.98), abs=0.06)
    assert one.to_target_deg == pytest.approx(0.3, abs=0.02)
    normal = stats.norm(24.0, 0.5)
    assert one.p_within == pytest.approx(normal.cdf(24.7) - normal.cdf(23.9), abs=0.02)
    assert one.p_below_target == pytest.approx(normal.cdf(23.9), abs=0.02)


def test_forecasts_add_one_effect_for_each_application() -> None:
    (one,) = answers(made({"Quay 1": (24.0, 0.1)}), question(grip=(21.0, 0.5)))
    assert [(f.recipe, f.applications) for f in one.forecast] == [("soak", k) for k in (1, 2, 3)]
    assert [f.angle_deg for f in one.forecast] == pytest.approx([22.5, 21.0, 19.5], abs=0.05)
    spread = [(f.upper_deg - f.lower_deg) / 2 / 1.96 for f in one.forecast]
    assert spread == pytest.approx([np.hypot(0.1, k * 0.3) for k in (1, 2, 3)], rel=0.06)
    two = stats.norm(21.0, np.hypot(0.1, 0.6))
    assert one.forecast[1].p_reaches == pytest.approx(two.cdf(21.5) - two.cdf(20.5), abs=0.02)
    assert one.forecast[2].p_passes == pytest.approx(
        stats.norm(19.5, np.hypot(0.1, 0.9)).cdf(20.5), abs=0.02
    )
    assert one.advice == "continue"
    assert one.forecast[0].p_nearer == 1.0


def test_a_bag_without_a_recipe_to_come_has_no_forecast() -> None:
    draws = made({"Quay 1": (24.0, 0.1)})
    boards = {("Quay 1", "grip"): "ash"}
    (one,) = bag_answers(draws, question(grip=(21.0, 0.5)), boards, {})
    assert one.forecast == ()
    assert one.advice == "unsure"


def test_without_a_target_nothing_is_advised() -> None:
    (one,) = answers(made({"Quay 1": (24.0, 0.1)}), question(slick=(21.0, 0.5)))
    assert one.advice == "no_target"
    assert (one.p_within, one.target_deg, one.throws_to_target) == (None, None, None)
    assert picks_of([one]) == []


def test_throws_are_told_only_where_play_is_noted() -> None:
    bags, asked = {"Quay 1": (24.0, 0.1)}, question(grip=(22.0, 0.5))
    (silent,) = answers(made(bags), asked)
    assert silent.throws_to_target is None
    (told,) = answers(made(bags, has_play=True), asked)
    assert told.throws_to_target is not None
    # Of a range of 4°, 2° are worn off when half of it is: ln 2 of a dose of 0.001 a throw.
    assert told.throws_to_target.median == pytest.approx(1000 * np.log(2), rel=0.05)
    assert told.throws_to_target.p_ever == 1.0
    (never,) = answers(made(bags, has_play=True), question(grip=(19.0, 0.5)))
    assert never.throws_to_target is not None
    assert never.throws_to_target.median is None
    assert never.throws_to_target.p_ever == 0.0


def test_the_likeliest_bag_is_picked_first() -> None:
    draws = made({"Quay 1": (24.0, 0.3), "Quay 2": (22.1, 0.3), "Quay 3": (22.0, 0.9)})
    picks = picks_of(answers(draws, question(grip=(22.0, 0.5))))
    assert [one.bag for one in picks] == ["Quay 2", "Quay 3", "Quay 1"]
    assert picks[0].p_within > 0.85


def test_the_best_four_miss_least_of_all_fours() -> None:
    means = {f"Quay {i}": (20.0 + 0.37 * i, 0.2 + 0.05 * (i % 3)) for i in range(8)}
    draws, asked = made(means), question(grip=(21.5, 0.5))
    bags = answers(draws, asked)
    four = best_four(draws, asked, bags)
    assert four is not None
    squares = {one.bag: (draws.angle(one.bag, "grip") - 21.5) ** 2 for one in bags}
    least = min(combinations(squares, 4), key=lambda few: sum(squares[b].mean() for b in few))
    assert set(four.bags) == set(least)
    rms = np.sqrt(sum(squares[bag] for bag in least) / 4)
    assert four.rms_deg == pytest.approx(float(np.median(rms)), abs=0.01)
    assert four.lower_deg < four.rms_deg < four.upper_deg
    assert best_four(draws, asked, bags[:3]) is None


def test_a_bag_to_be_matched_is_compared_draw_by_draw() -> None:
    draws = made({"Quay 1": (24.0, 0.8)})
    same = Aim(angle_deg=24.0, tolerance_deg=0.1, each_deg=draws.angle("Quay 1", "grip"))
    (one,) = answers(draws, Question(air=MILD, targets={"grip": same}))
    assert one.p_within == 1.0
