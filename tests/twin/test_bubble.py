"""The simulated level and its sine bar: what they show, by trigonometry."""

from functools import cache
from math import asin, cos, degrees, radians, sin, sqrt
from typing import Any, get_args

import numpy as np
import pytest

from rig.calibration.plan import SpanPoint, Way
from rig.calibration.reference import SineBar
from rig.clock import VirtualClock
from rig.settings.model import Settings
from rig.twin.bubble import HELD_DEG, TwinLevelPerson
from rig.twin.draws import changed, draw_scenario
from rig.twin.sensor import rotation
from rig.twin.world import World
from tests.teeth import without

EXACT: dict[str, Any] = {"own_error_deg": 0.0, "u_null_deg": 0.0, "stated_error_deg": 0.0}
STRAIGHT, TURNED = (SpanPoint(angle_deg=20.0, turned=turned) for turned in (False, True))
# asin 0.342020 is 20°.
BAR = SineBar(68.40403, 200.0, limit_height_mm=0.0, limit_length_mm=0.0)


@cache
def world(across_deg: float = 0.0) -> World:
    """A board at 20° by its steps on a floor that rises by 0.5° more."""
    board = {
        "floor_along_deg": 0.5,
        "floor_across_deg": 0.6 * across_deg,
        "hinge_cross_deg": 0.4 * across_deg,
        "base_pivot_error_mm": 0.0,
        "cradle_pivot_error_mm": 0.0,
        "start_angle_deg": 20.0,
    }
    return World(VirtualClock(), Settings(), changed(without(draw_scenario(1)), board=board), 1)


def person(seed: int = 1, **more: Any) -> TwinLevelPerson:
    return TwinLevelPerson(world(), seed, **(EXACT | more))


def test_slopes_are_steps_floor_and_hinge_together() -> None:
    assert person().slopes_deg() == pytest.approx((20.5, 0.0), abs=1e-3)
    askew = TwinLevelPerson(world(0.7), 1)
    assert askew.slopes_deg()[1] == pytest.approx(0.7)


def test_turning_the_level_turns_its_own_error() -> None:
    made = person(own_error_deg=0.08)
    # 20.58° and 20.42° to a twentieth of a degree.
    assert made.level_deg("along", False) == pytest.approx(20.60)
    assert made.level_deg("along", True) == pytest.approx(20.40)
    assert made.level_deg("across", False) == pytest.approx(0.10)
    assert made.shown_deg(STRAIGHT, 20.0) == pytest.approx(20.60)
    assert made.shown_deg(TURNED, 20.0) == pytest.approx(20.40)
    assert made.bubble_deg(BAR, STRAIGHT, 20.0) == pytest.approx(-0.58, abs=1e-3)
    assert made.bubble_deg(BAR, TURNED, 20.0) == pytest.approx(-0.42, abs=1e-3)


@pytest.mark.parametrize(("left_deg", "seen_deg"), [(0.003, 0.0), (-0.003, 0.0), (0.005, 0.005)])
def test_a_bubble_that_is_near_enough_to_the_middle_is_left(
    left_deg: float, seen_deg: float
) -> None:
    own = 20.0 - person().slopes_deg()[0] - left_deg
    made = person(own_error_deg=own)
    assert made.bubble_deg(BAR, STRAIGHT, 20.0) == pytest.approx(seen_deg, abs=1e-6)


def spread_of(values: list[float]) -> float:
    return float(np.std(values))


def test_blocks_and_bar_are_wrong_within_their_limits_and_stay_so() -> None:
    slope = person().slopes_deg()[0]
    for limits, per_mm in (
        # dα = dH/(L·cos α) and dα = dL·tan α/L.
        ({"limit_height_mm": 0.05}, 0.05 / (200.0 * cos(radians(20.0)))),
        ({"limit_length_mm": 0.1}, 0.1 * sin(radians(20.0)) / cos(radians(20.0)) / 200.0),
    ):
        bar = BAR._replace(**limits)
        people = [person(seed) for seed in range(400)]
        off = [one.bubble_deg(bar, STRAIGHT, 20.0) - (20.0 - slope) for one in people]
        assert spread_of(off) == pytest.approx(degrees(per_mm) / sqrt(3.0), rel=0.15)
        assert max(map(abs, off)) <= degrees(per_mm) * 1.001
        assert [one.bubble_deg(bar, STRAIGHT, 20.0) for one in people] == pytest.approx(
            [one + 20.0 - slope for one in off]
        )


def test_each_point_has_its_own_scatter_of_centring() -> None:
    made = person(u_null_deg=0.02)
    points = [SpanPoint(angle_deg=5.0 + 0.05 * n) for n in range(400)]
    off = [made.bubble_deg(BAR, point, 20.0) for point in points]
    assert spread_of(off) == pytest.approx(0.02, rel=0.15)
    assert made.bubble_deg(BAR, points[7], 20.0) == off[7]


def test_levels_differ_by_their_own_error_and_by_how_it_grows() -> None:
    slope = person().slopes_deg()[0]
    fine = {"resolution_deg": 1e-9, "u_null_deg": 0.0}
    people = [TwinLevelPerson(world(), seed, stated_error_deg=0.2, **fine) for seed in range(400)]
    own = [one.level_deg("along", False) - slope for one in people]
    assert spread_of(own) == pytest.approx(0.08, rel=0.15)
    grown = [one.shown_deg(STRAIGHT, 20.0) - slope - o for one, o in zip(people, own, strict=True)]
    # The limit stated is that of a level at 45°.
    assert spread_of(grown) == pytest.approx(0.2 / sqrt(3.0) * sin(radians(41.0)), rel=0.15)


@pytest.mark.parametrize("way", get_args(Way))
def test_each_way_of_holding_brings_up_onto_its_axis(way: Way) -> None:
    axis = np.zeros(3)
    axis["xyz".index(way[1])] = 1.0 if way[0] == "+" else -1.0
    assert rotation(HELD_DEG[way]) @ [0.0, 0.0, 1.0] == pytest.approx(axis, abs=1e-12)
    made = person()
    held = []
    for _ in range(200):
        made.position(way)
        found = world().held_deg
        assert found is not None
        held.append(np.subtract(found, HELD_DEG[way]))
    assert np.std(held, axis=0) == pytest.approx(3.0, rel=0.25)
    made.screw_on()
    assert world().held_deg is None


def test_the_hand_warms_the_sensor_by_15_kelvin() -> None:
    made = person()
    before = world().imu_temperature_c(0.0)
    made.warmed(20.0)
    assert world().imu_temperature_c(0.0) - before == pytest.approx(15.0)
    world().warmed_k = 0.0
    assert made.across_deg(STRAIGHT) is None
    assert made.go_on("", "") == "on"
    assert degrees(asin(BAR.height_mm / BAR.length_mm)) == pytest.approx(20.0)
