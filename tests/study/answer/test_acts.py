"""How much a further series would narrow: against the update of a normal variable."""

import pytest

from rig.study.answer.acts import SeriesCost, next_acts
from rig.study.answer.bags import bag_answers
from tests.study.answer.made import made, question

NOISE = 0.3**2 + 0.3**2 + 0.4**2 / 4
"""Session, series, and four slides."""


def test_a_series_narrows_an_angle_as_a_normal_observation_does() -> None:
    """Precisions add: Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.5."""
    draws = made({"Quay 1": (24.0, 0.9), "Quay 2": (24.0, 0.4)}, slope=(0.4, 0.01))
    asked = question(grip=(22.0, 0.1))
    bags = bag_answers(draws, asked, dict.fromkeys(draws.bag_faces, "ash"), {})
    acts = next_acts(draws, asked, bags, [("Quay", "grip")], SeriesCost(4, 12.0))
    after = (1 / 0.9**2 + 1 / NOISE) ** -0.5
    assert acts[0].what.startswith("measure Quay 1, grip")
    assert acts[0].narrows_deg == pytest.approx(1.96 * (0.9 - after), abs=0.03)
    assert acts[0].minutes == 12.0
    assert len(acts) == 3
    assert [one.narrows_deg for one in acts] == sorted(
        (one.narrows_deg for one in acts), reverse=True
    )


def test_an_unknown_slope_asks_for_other_air() -> None:
    draws = made({"Quay 1": (24.0, 0.05)}, slope=(0.0, 0.6))
    asked = question(grip=(24.0, 0.5))
    bags = bag_answers(draws, asked, dict.fromkeys(draws.bag_faces, "ash"), {})
    assert bags[0].advice == "stop"
    best, *_ = next_acts(draws, asked, bags, [("Quay", "grip")], SeriesCost(4, 12.0))
    assert best.what == "measure Quay 1, grip in air 20 %RH drier"
    # 20 %RH away the slope counts twice.
    after = (1 / 0.6**2 + 4 / (NOISE + 0.05**2)) ** -0.5
    assert best.narrows_deg == pytest.approx(1.96 * (0.6 - after), abs=0.03)


def test_nothing_left_to_learn_narrows_nothing() -> None:
    draws = made({"Quay 1": (24.0, 0.1)}, slope=(0.5, 0.01))
    asked = question(grip=(24.0, 0.5))
    bags = bag_answers(draws, asked, dict.fromkeys(draws.bag_faces, "ash"), {})
    assert all(
        one.narrows_deg == 0.0 for one in next_acts(draws, asked, bags, [], SeriesCost(4, 9.0))
    )
