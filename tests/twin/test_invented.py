"""What is invented by name: bags, boards, recipes that act, rooms and weather."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import sqrt
from statistics import fmean, pstdev
from typing import Any

import pytest

from rig.twin.invented import (
    FACES,
    SHARES,
    Past,
    angle_deg,
    board_factor,
    face_named,
    on_board,
    room,
    scenario_of,
    share_of,
    weather,
)
from rig.twin.scenario import Scenario

SOAK = "soft soak"


def made(**more: Any) -> Scenario:
    names: dict[str, Any] = {"session": "spring", "series": "dry", "slides_before": 3}
    return scenario_of(7, FACES["Heron 1", "slick"], None, **(names | more))


def left(recipes: int = 0, throws: int = 0, bag: str = "Heron 1", **more: Any) -> float:
    """What is left of a grip face's coefficient."""
    new = face_named(7, bag, "grip")
    now = on_board(7, bag, "grip", None, Past([SOAK] * recipes, throws), **more)
    assert new is not None
    assert now is not None
    kinetic = now.mu_kinetic_dry / new.mu_kinetic_dry
    static = now.mu_static_dry / new.mu_static_dry
    assert static == pytest.approx(kinetic)
    assert now.settle_gain == new.settle_gain
    return static


@pytest.mark.parametrize(("face", "low", "high"), [("slick", 0.28, 0.42), ("grip", 0.4, 0.58)])
def test_unknown_bags_have_faces_of_their_kind(face: str, low: float, high: float) -> None:
    faces = [face_named(1, f"Curlew {n}", face) for n in range(300)]
    static = [one.mu_static_dry for one in faces if one is not None]
    falls = [one.mu_static_dry - one.mu_kinetic_dry for one in faces if one is not None]
    gains = [one.humidity_gain for one in faces if one is not None]
    assert (min(static), max(static)) == pytest.approx((low, high), abs=0.005)
    assert (min(falls), max(falls)) == pytest.approx((0.015, 0.08), abs=0.002)
    assert (min(gains), max(gains)) == pytest.approx((0.08, 0.3), abs=0.005)


def test_each_application_does_less_or_with_late_wear_at_first_little() -> None:
    taken = [1.0 - left(n) for n in range(4)]
    assert taken[0] == 0.0
    # 1, 1.6 and 1.96 times the first, by hand.
    assert [one / taken[1] for one in taken[1:]] == pytest.approx([1.0, 1.6, 1.96])
    late = [1.0 - left(n, wear="late") for n in range(4)]
    # n²/(n² + 3): 1/4, 4/7, 9/12.
    assert [one / late[1] for one in late[1:]] == pytest.approx([1.0, 16 / 7, 3.0])


def test_bags_answer_a_recipe_each_in_its_own_way() -> None:
    taken = [(1.0 - left(1, bag=f"Heron {n}")) / SHARES[SOAK]["grip"] for n in range(200)]
    assert fmean(taken) == pytest.approx(1.0, abs=3 * 0.15 / sqrt(200))
    assert pstdev(taken) == pytest.approx(0.15, rel=0.15)


def test_throws_wear_and_ever_less() -> None:
    # 5 %·(1 − e^−1) after 600.
    assert left(throws=600) == pytest.approx(1.0 - 0.05 * 0.632121, abs=1e-6)
    assert left(throws=100_000) == pytest.approx(0.95)


def test_an_effect_that_was_kept_counts() -> None:
    assert left(1, shares={SOAK: 0.0}) == 1.0
    assert left(1, shares={"another": 0.0}) == left(1)


def test_recipes_of_ones_own_act_some_of_them_not_at_all() -> None:
    shares = [share_of(7, f"recipe {n}", "slick") for n in range(300)]
    assert share_of(7, "recipe 1", "slick") == shares[1] != share_of(8, "recipe 1", "slick")
    assert min(shares) < -0.015
    assert max(shares) > 0.085
    assert 0.1 < sum(share == 0.0 for share in shares) / 300 < 0.3


def test_boards_differ() -> None:
    factors = [board_factor(7, f"board {n}") for n in range(300)]
    assert pstdev(factors) == pytest.approx(0.02, rel=0.15)
    assert board_factor(7, None) == 1.0
    new = FACES["Heron 1", "slick"]
    face = on_board(7, "Heron 1", "slick", "board 1", Past())
    assert face is not None
    assert face.mu_static_dry == pytest.approx(factors[1] * new.mu_static_dry)


def test_a_scenario_has_the_names_that_were_asked_for() -> None:
    found = made()
    assert (found.session, found.series, found.slides_before) == ("spring", "dry", 3)
    assert found.face == FACES["Heron 1", "slick"]
    assert not found.is_session_named
    assert made(is_session_named=True, law="lugre").law == "lugre"


def test_the_room_is_brought_nearly_to_the_air_that_was_planned() -> None:
    airs = [room(seed, "barn", 16.0, 32.0) for seed in range(300)]
    off_k = [one.temperature_c - 16.0 for one in airs if one is not None]
    off_pct = [one.relative_humidity_pct - 32.0 for one in airs if one is not None]
    assert (min(off_k), max(off_k)) == pytest.approx((-0.7, 0.7), abs=0.03)
    assert (min(off_pct), max(off_pct)) == pytest.approx((-1.5, 1.5), abs=0.06)
    assert room(7, "shed", 16.0, 32.0) != room(7, "barn", 16.0, 32.0)
    assert room(7, "barn", 16.0, None) is None


def test_weather_changes_from_day_to_day_and_never_jumps() -> None:
    begin = datetime(2026, 5, 4, tzinfo=UTC)
    air = [weather(7, begin + timedelta(hours=hour)) for hour in range(24 * 14)]
    warm = [one.temperature_c for one in air]
    damp = [one.relative_humidity_pct for one in air]
    assert max(abs(b - a) for a, b in pairwise(warm)) < 1.5
    assert max(abs(b - a) for a, b in pairwise(damp)) < 5.0
    assert pstdev(damp[12::24]) > 4.0
    assert fmean(warm[15::24]) > fmean(warm[3::24]) + 3.0
    # A session that begins at one hour has drifted to where the next hour begins.
    assert air[5].temperature_c + air[5].temperature_drift_k_h == pytest.approx(warm[6])
    assert air[5].relative_humidity_pct + air[5].humidity_drift_pct_h == pytest.approx(damp[6])
    assert {one.sensor_humidity_error_pct for one in air} == {air[0].sensor_humidity_error_pct}


def test_invented_faces_are_possible() -> None:
    for face in FACES.values():
        assert 0.2 < face.mu_kinetic_dry < face.mu_static_dry < 0.6
        assert 0.0 < face.humidity_gain < 0.4


def test_the_law_without_scatter() -> None:
    face = FACES["Heron 1", "slick"]
    assert angle_deg(face, 75.0, 8) > angle_deg(face, 50.0, 8)
    assert angle_deg(face, 50.0, 0) > angle_deg(face, 50.0, 8)
