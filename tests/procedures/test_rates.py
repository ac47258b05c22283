from collections import Counter
from datetime import UTC, datetime
from typing import Any

import pytest
from msgspec.structs import replace

from rig.control.request import RunRequest
from rig.errors import BadInputError
from rig.procedures.rates import balanced_order, parse_rates
from rig.procedures.requests import plan_series
from rig.settings.model import Settings

RATES = (0.25, 1.0, 3.0)


def test_blocks_hold_each_rate_once_and_squares_each_place_once() -> None:
    order = balanced_order(RATES, 6, "series a")
    blocks = [order[k : k + 3] for k in range(0, 18, 3)]
    assert all(sorted(block) == list(RATES) for block in blocks)
    for square in (blocks[:3], blocks[3:]):
        for place in range(3):
            assert sorted(block[place] for block in square) == list(RATES)
    # So a steady trend moves the means of all rates alike.
    means = [sum(i for i, rate in enumerate(order) if rate == one) / 6 for one in RATES]
    assert means == [8.5, 8.5, 8.5]


def test_the_order_comes_from_the_name_of_the_series() -> None:
    assert balanced_order(RATES, 5, "a") == balanced_order(RATES, 5, "a")
    drawn = {tuple(balanced_order(RATES, 1, str(name))) for name in range(60)}
    assert len(drawn) == 6
    assert Counter(balanced_order(RATES, 4, "b")) == dict.fromkeys(RATES, 4)


def requests_of(repeat: int, **more: Any) -> list[RunRequest]:
    started = datetime(2026, 1, 1, 9, tzinfo=UTC)
    found = plan_series(
        more.pop("settings", Settings()), repeat, source="twin", started=started, **more
    )
    assert [request.repeat for request in found] == list(range(1, len(found) + 1))
    assert [request.slide_number for request in found] == list(range(1, len(found) + 1))
    return found


def test_rates_after_the_first_check_the_material() -> None:
    requests = requests_of(2, rates_deg_s=RATES)
    assert Counter((request.rate_deg_s, request.purpose) for request in requests) == {
        (0.25, None): 2,
        (1.0, "check"): 2,
        (3.0, "check"): 2,
    }


def test_a_check_is_made_far_from_the_measuring_rate() -> None:
    def rates(usual: float, **more: Any) -> set[float]:
        motion = replace(Settings().motion, rate_deg_s=usual)
        found = requests_of(3, settings=replace(Settings(), motion=motion), purpose="check", **more)
        assert {request.purpose for request in found} == {"check"}
        return {request.rate_deg_s for request in found}

    assert rates(0.3) == rates(0.64) == {1.0}
    assert rates(1.0) == rates(0.65) == rates(2.0) == {0.3}
    assert rates(0.3, rate_deg_s=0.5) == {0.5}


def test_a_bridging_series_is_raised_both_ways_in_turns() -> None:
    requests = requests_of(4, purpose="bridge")
    ways = [(request.raise_start, request.rate_deg_s) for request in requests]
    assert Counter(ways) == {("whole", 1.0): 4, ("quick", 0.3): 4}
    assert all(set(ways[k : k + 2]) == {("whole", 1.0), ("quick", 0.3)} for k in range(0, 8, 2))
    assert {request.purpose for request in requests} == {"bridge"}
    assert {r.rate_deg_s for r in requests_of(1, purpose="bridge", rate_deg_s=0.1)} == {0.1, 1.0}


@pytest.mark.parametrize("purpose", ["bridge", "check"])
def test_a_rate_of_such_a_series_that_the_pulses_cannot_make_is_refused(purpose: str) -> None:
    fine = replace(
        Settings(),
        screw=replace(Settings().screw, microsteps=16),
        motion=replace(Settings().motion, rate_deg_s=0.3),
    )
    with pytest.raises(BadInputError, match=f"The rate of a {purpose} series is 1 °/s"):
        requests_of(1, settings=fine, purpose=purpose)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1", "two rates or more"),
        ("1,fast", "'fast' is none"),
        ("1,0.09", "'0.09' is none"),
        ("1,3.1", "'3.1' is none"),
        ("1,nan", "'nan' is none"),
        ("1,,2", "'' is none"),
        ("0.5,1,0.5", "names a rate twice"),
    ],
)
def test_rates_that_will_not_do(text: str, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        parse_rates(text)


def test_rates_that_will() -> None:
    assert parse_rates("0.25, 1,3") == RATES
    assert parse_rates("0.1,3") == (0.1, 3.0)
