from collections import Counter
from datetime import UTC, datetime

import pytest

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


def test_requests_of_a_rate_study() -> None:
    started = datetime(2026, 1, 1, 9, tzinfo=UTC)
    requests = plan_series(Settings(), 2, source="twin", started=started, rates_deg_s=RATES)
    assert [request.repeat for request in requests] == [1, 2, 3, 4, 5, 6]
    assert Counter(request.rate_deg_s for request in requests) == dict.fromkeys(RATES, 2)


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
