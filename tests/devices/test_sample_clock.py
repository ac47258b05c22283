import random

import pytest

from rig.devices.sample_clock import SampleClock

PERIOD_S = 0.005


def started(tolerance: float = 0.01, start_s: float = 0.0) -> SampleClock:
    """A clock that has seen sample 0 come up at its start plus one period, to 0.1 ms."""
    samples = SampleClock(PERIOD_S, tolerance, start_s)
    samples.observe(start_s + PERIOD_S - 0.0001, start_s + PERIOD_S - 0.00005, 0)
    samples.observe(start_s + PERIOD_S, start_s + PERIOD_S + 0.00005, 1)
    return samples


def follow(
    samples: SampleClock, period_s: float, seconds: float, late_s: float = 0.0, seed: int = 7
) -> None:
    """Ask about every 20 ms; answers come up to `late_s` late, and so do the questions."""
    draw = random.Random(seed).uniform
    t_s = 0.0
    while t_s < seconds:
        t_s += draw(0.01, 0.03)
        before_s, after_s = t_s - draw(0.0, late_s) - 1e-6, t_s + draw(0.0, late_s) + 1e-6
        # Sample k comes up at (k + 1) periods.
        samples.observe(before_s, after_s, int(t_s / period_s))
    samples.time_of_s(0)  # works out the period, too


def test_before_anything_was_asked_the_first_sample_is_due_one_period_after_the_start() -> None:
    samples = SampleClock(PERIOD_S, 0.01, 10.0)
    assert samples.wants_edge(10.0)
    assert samples.until_edge_s(10.001, 0) == 0.0
    assert samples.time_of_s(0) == pytest.approx(10.005)
    assert samples.time_of_s(3) == pytest.approx(10.020)


def test_an_edge_is_looked_for_once_in_each_quarter_of_a_second() -> None:
    samples = started()
    begun_s = PERIOD_S - 0.00005
    assert not samples.wants_edge(begun_s + 0.249)
    assert samples.wants_edge(begun_s + 0.251)


@pytest.mark.parametrize(("apart_s", "again"), [(0.0004, False), (0.0006, True)])
def test_an_edge_that_was_not_bounded_to_half_a_millisecond_is_sought_again(
    apart_s: float, again: bool
) -> None:
    samples = SampleClock(PERIOD_S, 0.01, 0.0)
    samples.observe(0.00495, 0.00496, 0)
    samples.observe(0.00496, 0.00495 + apart_s, 1)
    assert samples.wants_edge(0.006) is again


@pytest.mark.parametrize(
    ("asked_s", "wait_s"),
    [(0.006, 0.0035), (0.0094, 0.0001), (0.0096, 0.0), (0.012, 0.0), (-1.0, PERIOD_S)],
)
def test_the_asking_begins_half_a_millisecond_before_the_next_sample(
    asked_s: float, wait_s: float
) -> None:
    """The next one, after one that came up at 5 ms, is due at 10 ms."""
    assert started().until_edge_s(asked_s, 1) == pytest.approx(wait_s, abs=0.00005)


@pytest.mark.parametrize("late_s", [0.0, 0.002, 0.010])
def test_lateness_widens_the_bounds_and_shifts_nothing(late_s: float) -> None:
    samples = SampleClock(PERIOD_S, 0.01, 0.0)
    follow(samples, PERIOD_S * 1.003, 6.0, late_s)
    assert samples.period_s == pytest.approx(PERIOD_S * 1.003, rel=1e-4 + late_s * 0.05)
    assert samples.time_of_s(999) == pytest.approx(1000 * PERIOD_S * 1.003, abs=0.0004)


@pytest.mark.parametrize("error", [0.009, -0.009])
def test_a_period_within_the_tolerance_is_followed(error: float) -> None:
    samples = SampleClock(PERIOD_S, 0.01, 0.0)
    follow(samples, PERIOD_S * (1 + error), 6.0)
    assert samples.period_s == pytest.approx(PERIOD_S * (1 + error), rel=1e-4)


@pytest.mark.parametrize("error", [0.02, -0.02])
def test_a_period_beyond_the_tolerance_is_followed_half_way(error: float) -> None:
    """What is measured and what is stated contradict each other: the middle is taken."""
    samples = SampleClock(PERIOD_S, 0.01, 0.0)
    follow(samples, PERIOD_S * (1 + error), 6.0)
    half_way = 1 + (error + (0.01 if error > 0 else -0.01)) / 2
    assert samples.period_s == pytest.approx(PERIOD_S * half_way, rel=2e-4)


@pytest.mark.parametrize(("blocks", "holds"), [(24, True), (25, False)])
@pytest.mark.parametrize("first_early_s", [0.002, -0.002])
def test_what_is_older_than_24_blocks_is_forgotten(
    blocks: int, holds: bool, first_early_s: float
) -> None:
    """The first answer contradicts all later ones: it is 2 ms too early, or too late."""
    samples = SampleClock(PERIOD_S, 0.0, 0.0)
    for block in range(blocks):
        t_s = (1 + 60 * block) * PERIOD_S
        early_s = first_early_s if block == 0 else 0.0
        samples.observe(t_s - 1e-6 - early_s, t_s - 1e-6 - early_s, 60 * block)
        samples.observe(t_s - early_s, t_s - early_s, 1 + 60 * block)
    samples.time_of_s(0)
    assert (abs(samples.period_s - PERIOD_S) > 1e-5) is holds


@pytest.mark.parametrize(
    ("time_s", "made"),
    [(-1.0, 0), (0.0049, 0), (0.0051, 1), (0.0099, 1), (0.0101, 2), (0.5001, 100)],
)
def test_how_many_samples_were_made_by_a_time(time_s: float, made: int) -> None:
    assert started().made_by(time_s) == made


def test_a_reading_from_before_the_counting_began_is_taken_in() -> None:
    # After an overrun the counting begins again, a moment after the level was read.
    samples = SampleClock(0.005, 0.1, start_s=10.0)
    samples.observe(9.998, 9.999, 0)
    assert 9.998 <= samples.time_of_s(0) <= 10.005
