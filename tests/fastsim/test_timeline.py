"""The moves of a simulated run: where the board is, when its pulses come."""

from math import degrees, radians

import numpy as np
import pytest

from rig.motion.profile import rest_to_rest
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from rig.twin.mechanics import TrueLinkage
from tests.fastsim.timeline import Move, Timeline

SETTINGS = Settings()
NOMINAL = Kinematics(SETTINGS.linkage, SETTINGS.screw)
TRUE = TrueLinkage.of(900.5, 449.7, 20.0)
# 10° at 1 °/s, 4 °/s² and 40 °/s³: v/a + a/j = 0.35 s more than 10 s.
PROFILE = rest_to_rest(10.0, 1.0, 4.0, 40.0)
UP = Move(2.0, 5.0, 1, PROFILE)
DOWN = Move(20.0, 15.0, -1, PROFILE)


def timeline(true: TrueLinkage = TRUE) -> Timeline:
    made = Timeline(NOMINAL, true, 0.0, 5.0)
    made.moves += [UP, DOWN]
    return made


def test_a_move_goes_its_way_in_its_time() -> None:
    assert UP.end_s == pytest.approx(2.0 + 10.35)
    assert Move(2.0, 5.0, 1, PROFILE, cut_s=6.0).end_s == 6.0
    for move, from_deg, to_deg in ((UP, 5.0, 15.0), (DOWN, 15.0, 5.0)):
        times = move.start_s + np.array([-1.0, 0.0, 5.175, 10.35, 99.0])
        middle = 0.5 * (from_deg + to_deg)
        expected = [from_deg, from_deg, middle, to_deg, to_deg]
        assert move.angle_deg(times) == pytest.approx(expected)
        # Steady in the middle; 50 ms after the start a = j·t = 2 °/s², v = j·t²/2 = 0.05 °/s.
        speed, acceleration = move.rates(move.start_s + np.array([5.175, 0.05]))
        assert move.direction * speed == pytest.approx([1.0, 0.05])
        assert move.direction * acceleration == pytest.approx([0.0, 2.0])


@pytest.mark.parametrize("move", [UP, DOWN], ids=["up", "down"])
def test_the_quick_function_of_one_time_is_the_same(move: Move) -> None:
    times = move.start_s + np.linspace(-0.5, 10.34, 300)
    one_by_one = [move.scalar()(time) for time in times.tolist()]
    assert one_by_one == pytest.approx(move.angle_deg(times), abs=1e-9)


@pytest.mark.parametrize("true", [TRUE, TrueLinkage.of(900.0, 450.0, 20.0)])
@pytest.mark.parametrize("move", [UP, DOWN], ids=["up", "down"])
def test_the_true_angle_is_that_of_the_true_triangle(true: TrueLinkage, move: Move) -> None:
    found = timeline(true).true_angle(move)
    home_mm = true.length_mm(0.0)
    for time in (move.start_s, move.start_s + 3.3, move.start_s + 10.35):
        command = float(move.angle_deg(np.array([time]))[0])
        grown_mm = NOMINAL.length_mm(command) - NOMINAL.length_mm(0.0)
        expected = true.angle_rad(home_mm + grown_mm)
        assert found(time) == pytest.approx(expected, abs=1e-9)
        assert timeline(true).true_rad(command) == pytest.approx(expected, abs=1e-12)


def test_motion_before_in_between_and_after_the_moves() -> None:
    made = timeline()
    times = np.array([1.0, 7.175, 15.0, 25.175, 40.0])
    motion = made.motion(times)
    command = [5.0, 10.0, 15.0, 10.0, 5.0]
    expected = [made.true_rad(angle) for angle in command]
    assert motion.angle_rad == pytest.approx(expected, abs=2e-7)
    assert abs(degrees(expected[1]) - 10.0) > 1e-3
    assert motion.rate_rad_s == pytest.approx([0.0, radians(1.0), 0.0, -radians(1.0), 0.0])
    assert motion.acceleration_rad_s2 == pytest.approx(np.zeros(5), abs=1e-9)
    assert motion.pulses == pytest.approx([NOMINAL.count_at(angle) for angle in command])
    middle_hz = NOMINAL.pulse_rate_hz(10.0, 1.0)
    assert motion.pulse_rate_hz == pytest.approx([0.0, middle_hz, 0.0, middle_hz, 0.0])
    started = made.motion(np.array([2.05]))
    assert started.acceleration_rad_s2 == pytest.approx([radians(2.0)])


def test_a_pulse_comes_half_a_count_before_its_place() -> None:
    made = timeline()
    grid = np.arange(0.0, 40.0, 0.05)
    found = made.pulses(grid)
    times = [time for time, _ in found]
    assert times == sorted(times)
    assert len(found) == pytest.approx(2 * 10.35 / 0.05, abs=6)
    for move, (time, count) in ((UP, found[100]), (DOWN, found[-100])):
        angle = float(move.angle_deg(np.array([time]))[0])
        assert move.direction * (count - NOMINAL.count_at(angle)) == pytest.approx(0.5, abs=0.01)
    # The last pulse before the look, of those that come every 1.6 ms or so.
    look = float(grid[np.searchsorted(grid, found[100][0])])
    assert 0.0 <= look - found[100][0] < 0.003
    first, last = found[0][1], found[len(found) // 2 - 2][1]
    assert round(float(NOMINAL.count_at(5.0))) < first
    assert last == pytest.approx(float(NOMINAL.count_at(15.0)), abs=1.5)
