"""The motor's path between its pulses, and what it remembers of it."""

from math import radians, sqrt
from typing import Any

import numpy as np
import pytest

from rig.settings.model import Settings
from rig.twin.mechanics import TrueLinkage
from rig.twin.motor import KEEP_S, TRIM_AT, Motor
from rig.twin.scenario import BoardTruth

LINKAGE = TrueLinkage.of(900.0, 450.0, 20.0)
# In rad: a pulse is 0.01 mm of a screw that stands square to its arm of 450 mm at 40°.
PER_PULSE = 0.01 / 450.0


def motor_at(angle_deg: float, **board: Any) -> Motor:
    made = Motor(Settings(), LINKAGE, BoardTruth(start_angle_deg=angle_deg, **board))
    made.is_enabled = True
    return made


def test_places_are_counted_from_home() -> None:
    motor = motor_at(40.0)
    grown_mm = 450.0 * sqrt(3.0) - LINKAGE.length_mm(0.0)
    assert motor.position == round(100 * grown_mm)
    assert motor.position_at(40.0) == pytest.approx(100 * grown_mm)
    assert motor.angle_rad(motor.position_at(40.0)) == pytest.approx(radians(40.0))
    assert motor.angle_deg == pytest.approx(40.0, abs=0.001)


@pytest.mark.parametrize("direction", [1, -1])
def test_evenly_spaced_pulses_are_an_even_turn(direction: int) -> None:
    motor = motor_at(40.0)
    motor.direction = direction
    for i in range(400):
        assert motor.step(10.0 + i / 500.0)
    now_s = 10.0 + 399 / 500.0
    motion = motor.motion(np.array([10.4, 10.5, now_s]), now_s)
    assert motion.rate_rad_s[:2] == pytest.approx(direction * 500.0 * PER_PULSE, rel=1e-4)
    assert motion.pulse_rate_hz[:2] == pytest.approx(500.0)
    assert motion.acceleration_rad_s2[:2] == pytest.approx(0.0, abs=1e-4)
    assert np.diff(motion.pulses)[0] == pytest.approx(direction * 50.0)
    assert motion.pulses[-1] == pytest.approx(motor.position)


def test_pulses_that_come_ever_faster_are_an_acceleration() -> None:
    motor = motor_at(40.0, pull_in_hz=1e6)
    # c·t²/2 pulses in a time t.
    c = 800.0
    times = [10.0 + sqrt(2.0 * i / c) for i in range(1, 1000)]
    for time in times:
        assert motor.step(time)
    motion = motor.motion(np.linspace(11.0, 11.5, 400), times[-1])
    assert motion.acceleration_rad_s2.mean() == pytest.approx(c * PER_PULSE, rel=0.02)
    assert motion.rate_rad_s == pytest.approx(
        c * (np.linspace(1.0, 1.5, 400)) * PER_PULSE, rel=0.01
    )


def test_a_first_pulse_after_a_pause_moves_it_within_30_ms() -> None:
    motor = motor_at(40.0)
    start = motor.position
    motor.step(10.0)
    motor.step(11.0)
    motion = motor.motion(np.array([10.5, 10.969, 10.985, 11.0]), 11.05)
    assert motion.pulses == pytest.approx([start + 1, start + 1, start + 1.5, start + 2])


def test_the_next_pulse_is_guessed_and_no_other() -> None:
    motor = motor_at(40.0)
    for i in range(5):
        motor.step(10.0 + 0.01 * i)
    # Half-way to the pulse that should come 10 ms after the last.
    assert motor.motion(np.array([10.045]), 10.045).pulses[0] == pytest.approx(motor.position + 0.5)
    assert motor.motion(np.array([10.054]), 10.054).pulses[0] == pytest.approx(motor.position + 1.0)
    # 1.5 times the gap later it has stopped after all.
    assert motor.motion(np.array([10.056]), 10.056).pulses[0] == pytest.approx(motor.position)


@pytest.mark.parametrize(("gap_s", "follows"), [(1 / 2500, True), (1 / 2700, False)])
def test_pull_out_of_a_motor_that_turns(gap_s: float, follows: bool) -> None:
    motor = motor_at(20.0, pull_out_hz=2600.0, pull_in_hz=900.0)
    motor.step(10.0)
    motor.step(10.01)
    assert motor.step(10.01 + gap_s) is follows
    assert motor.lost == (not follows)


@pytest.mark.parametrize(("gap_s", "follows"), [(1 / 850, True), (1 / 950, False)])
def test_pull_in_of_a_motor_that_stood(gap_s: float, follows: bool) -> None:
    motor = motor_at(20.0, pull_out_hz=2600.0, pull_in_hz=900.0)
    assert motor.step(10.0)
    assert motor.step(10.0 + gap_s) is follows


def test_what_is_in_the_way_takes_the_pulse_back() -> None:
    motor = motor_at(20.0)
    place = motor.position
    motor.step(10.0)
    motor.push_back()
    assert (motor.position, motor.lost) == (place, 1)
    assert motor.motion(np.array([10.5]), 10.5).pulses[0] == place


def test_it_forgets_what_is_older_than_anybody_asks_for() -> None:
    motor = motor_at(5.0)
    for i in range(TRIM_AT + 100):
        motor.step(10.0 + 0.002 * i)
    now_s = motor.last_s
    asked = np.array([now_s - 0.9 * KEEP_S, now_s - 0.1])
    before = motor.motion(asked, now_s).pulses
    assert len(motor._times) < 1.1 * KEEP_S / 0.002  # noqa: SLF001 - its memory
    assert motor.motion(asked, now_s).pulses == pytest.approx(before)
    assert before[1] - before[0] == pytest.approx((0.9 * KEEP_S - 0.1) / 0.002)
