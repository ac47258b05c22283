"""Match day's check by hand: one board shifts all bags alike."""

import pytest

from rig.study.answer.check import kept_between, use_at_deg


def test_the_list_says_which_bag_a_reading_of_the_pick_calls_for() -> None:
    """The pick is expected at 18.4°, another bag at 19.2°, both are wanted at 18.0 ± 0.5°.

    On a board that takes 1.2° off, the pick reads 17.2° and the other lies on its target.
    """
    assert use_at_deg(18.4, 19.2, 18.0) == pytest.approx(17.2)
    assert use_at_deg(18.4, 18.4, 18.0) == pytest.approx(18.0), "the pick itself: its target"
    assert kept_between(18.0, 0.5) == pytest.approx((17.5, 18.5))
