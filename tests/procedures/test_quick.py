"""Where a quick approach ends, and how quick and whole runs take turns: limits from both sides."""

import pytest

from rig.procedures.quick import QuickApproach, quick_approach_deg


@pytest.mark.parametrize(
    ("slid_at_deg", "approach_deg"),
    [
        ([20.0] * 2, None),
        # 3° and three times a scatter of 0.3° at least are measured.
        ([20.0] * 3, 16.1),
        ([19.72, 20.0, 20.28], 16.1),
        # A scatter of 0.4° counts as it is.
        ([19.6, 20.0, 20.4], 15.8),
        # To less than 2° there is nothing to be saved.
        ([5.91] * 3, 2.01),
        ([5.89] * 3, None),
    ],
)
def test_a_quick_approach_leaves_the_last_part_to_be_measured(
    slid_at_deg: list[float], approach_deg: float | None
) -> None:
    assert quick_approach_deg(slid_at_deg) == approach_deg


def told(n_whole: int, n_quick: int, off_deg: float = 0.0) -> QuickApproach:
    """Runs of both kinds that scatter by 0.1°."""
    rule = QuickApproach()
    for i in range(n_whole):
        rule.take(20.0 + 0.1 * (-1.0) ** i, was_quick=False)
    for i in range(n_quick):
        rule.take(20.0 + off_deg + 0.1 * (-1.0) ** i, was_quick=True)
    return rule


@pytest.mark.parametrize(
    ("n_whole", "n_quick", "is_known"), [(10, 10, True), (9, 10, False), (10, 9, False)]
)
def test_nothing_is_said_before_there_are_ten_of_each(
    n_whole: int, n_quick: int, is_known: bool
) -> None:
    assert (told(n_whole, n_quick).verdict is not None) is is_known


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_quick_runs_count_when_they_surely_lie_within_half_a_degree(sign: float) -> None:
    """t(18, 0.95) = 1.734 (tables) times √(2 · 0.0111/10) = 0.0471° is 0.082° of doubt."""
    agree, differ = told(10, 10, sign * 0.41), told(10, 10, sign * 0.43)
    assert "approaches agree" in (agree.verdict or "")
    assert agree.next_deg() is not None
    assert "not shown to agree" in (differ.verdict or "")
    assert f"quick - whole {sign * 0.43:+.2f}°" in (differ.verdict or "")
    assert differ.next_deg() is None


def test_a_verdict_stands() -> None:
    rule = told(10, 10)
    said = rule.verdict
    rule.take(40.0, was_quick=True)
    assert rule.verdict == said


@pytest.mark.parametrize(
    ("n_whole", "n_quick", "is_quick"),
    [(2, 0, False), (3, 0, True), (3, 1, False), (4, 1, True), (4, 2, False), (9, 6, True)],
)
def test_they_take_turns_until_then(n_whole: int, n_quick: int, is_quick: bool) -> None:
    assert (told(n_whole, n_quick).next_deg() is not None) is is_quick
