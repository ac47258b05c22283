import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.devices.sample_clock import SampleClock

READ_S = 0.00015


def follow(true_time_s, stated_s, tolerance, rng, *, every_s, late_s, seconds=5.0, settled_s=1.0):
    """Read as a driver does; the worst error of the newest sample's time after settling, in s.

    Each reading takes 0.15 ms, and now and then the thread is late before or after the chip has
    answered, by up to `late_s`.
    """
    samples = SampleClock(stated_s, tolerance, 0.0)
    worst = made = 0

    def late():
        return rng.uniform(0, late_s) if rng.random() < 0.3 else 0.0

    def read(before_s):
        nonlocal made
        latch_s = before_s + late() + READ_S * rng.random()
        while true_time_s(made) <= latch_s:
            made += 1
        return before_s, latch_s + READ_S + late(), made

    now_s = 0.0
    while now_s < seconds:
        now_s = (int(now_s / every_s) + 1) * every_s + late()
        readings = [read(now_s)]
        if samples.wants_edge(now_s):
            while readings[-1][2] == readings[0][2]:
                readings.append(read(readings[-1][1]))
        now_s = readings[-1][1]
        for before_s, after_s, then in readings[-2:]:
            samples.observe(before_s, after_s, then)
        if now_s > settled_s:
            worst = max(worst, abs(samples.time_of_s(made - 1) - true_time_s(made - 1)))
    return worst


@settings(max_examples=15, deadline=None)
@given(
    error=st.floats(-0.002, 0.002),
    phase=st.floats(0.0, 1.0),
    period_ms=st.floats(10.0, 45.0),
    seed=st.integers(0, 1000),
)
def test_error_stays_below_a_millisecond_with_late_readings(error, phase, period_ms, seed):
    stated_s = 1 / 208.34
    true_s = stated_s * (1 + error)
    worst = follow(
        lambda k: (k + phase) * true_s,
        stated_s,
        0.004,
        random.Random(seed),
        every_s=period_ms / 1000,
        late_s=0.005,
    )
    assert worst < 1.0e-3


def test_a_slow_oscillator_that_drifts_is_followed():
    """30 ppm per second for a minute: far more than warming does."""
    stated_s = 1 / 208.34

    def true_time_s(k):
        t = k * stated_s
        return t + 0.5 * 30e-6 * t * t / (1 + 1e-9)

    rng = random.Random(1)
    worst = follow(true_time_s, stated_s, 0.004, rng, every_s=0.02, late_s=0.001, seconds=60.0)
    assert worst < 0.5e-3


@pytest.mark.parametrize("error", [-0.015, 0.015])
def test_a_poorly_stated_rate_is_found(error):
    true_s = 0.005 * (1 + error)
    rng = random.Random(2)
    worst = follow(lambda k: (k + 0.4) * true_s, 0.005, 0.02, rng, every_s=0.02, late_s=0.001)
    assert worst < 0.7e-3


def test_counts_how_many_samples_there_must_be():
    samples = SampleClock(0.005, 0.001, 10.0)
    assert samples.made_by(10.0) == 0
    assert samples.made_by(10.052) == 10
    samples.observe(10.0119, 10.0121, 2)
    assert samples.made_by(10.0124) == 2
    samples.observe(10.0148, 10.0149, 2)
    samples.observe(10.0149, 10.0150, 3)
    assert samples.time_of_s(2) == pytest.approx(10.0149, abs=1e-4)


def test_asks_for_an_edge_once_in_a_quarter_of_a_second():
    samples = SampleClock(0.005, 0.001, 10.0)
    assert samples.wants_edge(10.01)
    samples.observe(10.0119, 10.0160, 2)
    assert samples.wants_edge(10.05)  # the thread was late: a vague edge
    samples.observe(10.0549, 10.0551, 10)
    samples.observe(10.0551, 10.0552, 11)
    assert not samples.wants_edge(10.2)
    assert samples.wants_edge(10.27)
