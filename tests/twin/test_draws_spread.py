"""Draws have the middle and the spread that they are said to have; what is given stays as given.

A mean over n draws is off by σ/√n and a standard deviation by σ/√(2n); 400 draws and 20 % are five
times that.
"""

from collections.abc import Callable
from math import cos, radians, sin, sqrt
from typing import Any

import numpy as np
import pytest

from rig.settings.model import BagSettings, Settings
from rig.twin.draws import (
    air_at,
    changed,
    draw_air,
    draw_imu,
    draw_placing,
    draw_scenario,
    moisture_at,
    surface_at,
)
from rig.twin.fabric import (
    Face,
    moisture_after,
    plain_face,
    surface_humidity_pct,
    wetting_moisture,
)
from rig.twin.scenario import AirTruth, BagTruth, Scenario

SEEDS = range(400)
RIGS = [draw_scenario(seed) for seed in SEEDS]

NORMAL: dict[str, tuple[Callable[[Any], float], float, float]] = {
    "imu bias": (lambda one: one.imu.bias_g[0], 0.0, 0.02),
    "imu gain": (lambda one: one.imu.gain[1], 1.0, 0.005),
    "imu shear": (lambda one: one.imu.shear[2], 0.0, 1.5e-4),
    "imu drift": (lambda one: one.imu.drift_g_per_k[0], 0.0, 1e-4),
    "imu clock": (lambda one: one.imu.rate_error, 0.0, 0.01),
    "floor along": (lambda one: one.board.floor_along_deg, 0.0, 0.05),
    "floor across": (lambda one: one.board.floor_across_deg, 0.0, 0.15),
    "hinge": (lambda one: one.board.hinge_cross_deg, 0.0, 0.1),
    "base pivot": (lambda one: one.board.base_pivot_error_mm, 0.0, 0.5),
    "cradle pivot": (lambda one: one.board.cradle_pivot_error_mm, 0.0, 0.3),
    "crown": (lambda one: one.board.crown_mm, 0.0, 0.8),
    "board's yaw": (lambda one: one.board.yaw_deg, 0.0, 0.3),
    "sensor's yaw": (lambda one: one.imu.yaw_deg, 0.0, 0.06),
    "beam response": (lambda one: one.beam.response_ms, 0.5, 0.15),
    "beam spacing": (lambda one: one.beam.spacing_error_mm, 0.0, 0.2),
    "blade": (lambda one: one.blade.thickness_error_mm, 0.0, 0.05),
    "pressure": (lambda one: one.air.pressure_hpa, 1008.0, 8.0),
    "warming": (lambda one: one.air.temperature_drift_k_h, 0.0, 0.4),
    "damping": (lambda one: one.air.humidity_drift_pct_h, 0.0, 1.5),
    "board": (lambda one: one.air.board_offset_k, 0.0, 0.5),
    "thermometer": (lambda one: one.air.sensor_temperature_error_k, 0.0, 0.3),
    "hygrometer": (lambda one: one.air.sensor_humidity_error_pct, 0.0, 1.7),
}
EVEN: dict[str, tuple[Callable[[Any], float], float, float]] = {
    "level's place": (lambda one: one.board.level_at_mm, 440.0, 780.0),
    "shake": (lambda one: one.board.shake_share, 0.05, 0.15),
    "frame": (lambda one: one.board.frame_hz, 60.0, 180.0),
    "resonance": (lambda one: one.board.frame_quality, 3.0, 6.0),
    "imu noise": (lambda one: one.imu.noise_g_rthz, 60e-6, 110e-6),
    "imu delay": (lambda one: one.imu.digital_delay_ms, 9.0, 13.0),
    "vibration": (lambda one: one.imu.vibration_g, 0.005, 0.03),
    "start": (lambda one: one.board.start_angle_deg, 0.8, 2.5),
    "play": (lambda one: one.blade.play_mm, 0.05, 0.3),
    "static": (lambda one: one.face.mu_static_dry, 0.25, 0.6),
    "fall": (lambda one: one.face.mu_static_dry - one.face.mu_kinetic_dry, 0.01, 0.1),
    "damp": (lambda one: one.face.humidity_gain, 0.05, 0.35),
    "room": (lambda one: one.air.temperature_c, 18.0, 28.0),
    "humidity": (lambda one: one.air.relative_humidity_pct, 30.0, 70.0),
    # Any angle up to half a turn, about any axis.
    "mounting": (lambda one: float(np.linalg.norm(one.imu.mounting_deg)), 0.0, 180.0),
}


def drawn(of: Callable[[Any], float]) -> "np.ndarray[Any, Any]":
    assert draw_scenario(SEEDS[-1]) == RIGS[-1]
    return np.array([of(one) for one in RIGS])


@pytest.mark.parametrize("name", NORMAL)
def test_normal_draws(name: str) -> None:
    of, middle, spread = NORMAL[name]
    found = drawn(of)
    assert found.mean() == pytest.approx(middle, abs=spread / 4)
    assert found.std() == pytest.approx(spread, rel=0.2)


@pytest.mark.parametrize("name", EVEN)
def test_even_draws_fill_their_range(name: str) -> None:
    of, low, high = EVEN[name]
    found = drawn(of)
    near = 0.03 * (high - low)
    assert low <= found.min() < low + near
    assert high - near < found.max() <= high


def test_a_beam_answers_within_a_millisecond() -> None:
    found = drawn(lambda one: float(one.beam.response_ms))
    assert found.min() >= 0.1
    assert found.max() <= 1.0


def test_the_older_chip_drifts_more() -> None:
    drifts = [draw_imu(seed, "mpu6050").drift_g_per_k[1] for seed in SEEDS]
    assert np.std(drifts) == pytest.approx(5e-4, rel=0.2)


def test_what_is_given_is_not_drawn() -> None:
    face, bag, air = plain_face(0.5, 0.4), BagTruth(gap_mm=3.0), AirTruth(temperature_c=11.0)
    made = draw_scenario(
        5, face=face, law="stribeck", air=air, bag=bag, session="a", series="b", slides_before=7
    )
    assert (made.face, made.law, made.air, made.bag) == (face, "stribeck", air, bag)
    assert (made.session, made.series, made.slides_before) == ("a", "b", 7)
    plain = draw_scenario(5)
    assert (made.board, made.imu) == (plain.board, plain.imu)
    assert (plain.bag, plain.law) == (BagTruth(), "coulomb")
    # The sensor's own error is the rig's, the room is the session's.
    assert draw_air(5, "a").temperature_c != draw_air(5, "b").temperature_c
    errors = {draw_air(5, session).sensor_temperature_error_k for session in "ab"}
    assert len(errors) == 1


def scenario(**sections: Any) -> Scenario:
    return changed(draw_scenario(1, face=plain_face(0.4, 0.36)), **sections)


def test_a_bag_that_lies_askew_is_longer_along_the_slide() -> None:
    settings = Settings(bag=BagSettings(length_mm=150.0, width_mm=100.0))
    for skew in (-3.0, 0.0, 3.0):
        placing = draw_placing(1, scenario(bag={"skew_deg": skew}), settings, 1)
        turn = radians(abs(skew))
        assert placing.length_mm == pytest.approx(150.0 * cos(turn) + 100.0 * sin(turn))
        assert placing.skew_deg == skew


def test_a_gap_is_as_given_less_the_rebound_and_never_closed_when_drawn() -> None:
    given = scenario(bag={"gap_mm": 5.0, "rebound_mm": 1.5, "slump_mm": 0.7, "slump_done": 0.95})
    placing = draw_placing(1, given, Settings(), 4)
    assert (placing.number, placing.gap_mm, placing.slump_mm) == (4, 3.5, 0.7)
    careless = Settings(bag=BagSettings(gap_mm=0.5))
    gaps = [draw_placing(1, scenario(), careless, n).gap_mm for n in range(1, 100)]
    assert min(gaps) == 0.3
    wild = scenario(face={"scatter_run": 5.0})
    assert min(draw_placing(1, wild, Settings(), n).scatter for n in range(1, 30)) == -0.5


AIR = AirTruth(
    temperature_c=20.0,
    relative_humidity_pct=50.0,
    temperature_drift_k_h=2.0,
    humidity_drift_pct_h=-6.0,
    board_offset_k=4.0,
)


def test_air_drifts_evenly_and_stays_air() -> None:
    assert air_at(AIR, 1.5) == (23.0, 41.0)
    assert air_at(AIR, 10.0)[1] == 2.0
    assert air_at(AIR, -10.0)[1] == 99.0
    assert surface_at(AIR, 1.5) == pytest.approx(surface_humidity_pct(23.0, 41.0, 27.0))
    assert surface_at(AIR, 1.5) < 41.0


def test_moisture_follows_the_air_in_quarters_of_an_hour() -> None:
    face = Face(sorption_hours=2.0, hysteresis=0.0)
    made = changed(scenario(), air={})
    made = type(made)(face=face, air=AIR)
    assert moisture_at(made, 0.0) == pytest.approx(wetting_moisture(surface_at(AIR, 0.0)))
    # ṁ = (m_w(t) - m)/τ by 2000 small steps.
    hours, n = 2.0, 2000
    moisture = wetting_moisture(surface_at(AIR, 0.0))
    for i in range(n):
        goal = wetting_moisture(surface_at(AIR, (i + 0.5) * hours / n))
        moisture += (goal - moisture) * hours / n / 2.0
    assert moisture_at(made, hours) == pytest.approx(moisture, abs=1e-5)
    coarse = moisture_after(
        face, wetting_moisture(surface_at(AIR, 0.0)), surface_at(AIR, 1.0), hours
    )
    assert abs(coarse - moisture) > 1e-4


def test_a_fabric_from_elsewhere_was_conditioned_first() -> None:
    air = AirTruth(relative_humidity_pct=50.0, humidity_before_pct=10.0, conditioned_h=2.0)
    made = scenario()
    made = type(made)(face=Face(sorption_hours=2.0), air=air)
    start, goal = wetting_moisture(10.0), wetting_moisture(50.0)
    expected = goal + (start - goal) / 2.718281828
    assert moisture_at(made, 0.0) == pytest.approx(expected)


def test_mountings_point_every_way() -> None:
    turns = np.array([draw_imu(seed).mounting_deg for seed in SEEDS])
    ways = turns / np.linalg.norm(turns, axis=1)[:, None]
    assert np.abs(ways.mean(axis=0)).max() < 4.0 / sqrt(3 * 400)
    assert (ways**2).mean(axis=0) == pytest.approx(1 / 3, abs=0.06)
