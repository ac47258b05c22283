from math import log
from typing import Any

import msgspec
import pytest

from rig.twin.draws import changed, draw_scenario, moisture_at
from rig.twin.fabric import (
    Face,
    coefficients,
    drying_moisture,
    humidity_factor,
    moisture_after,
    plain_face,
    surface_humidity_pct,
    wetting_moisture,
)

REST: dict[str, Any] = {"moisture": 0.06, "dwell_s": 10.0, "slides_before": 100, "scatter": 0.0}


def test_a_plain_face_is_the_same_in_all_air() -> None:
    face = plain_face(0.4, 0.35)
    for moisture, dwell_s, slides in ((0.0, 0.0, 0), (0.15, 1000.0, 50)):
        got = coefficients(
            face, moisture=moisture, dwell_s=dwell_s, slides_before=slides, scatter=0
        )
        assert got == pytest.approx((0.4, 0.35))


def test_ageing_is_logarithmic_and_leaves_the_kinetic_coefficient() -> None:
    face = Face(ageing_per_e_fold=0.01, ageing_time_s=2.0, humidity_gain=0.0, settle_gain=0.0)
    short, long = (coefficients(face, **REST | {"dwell_s": s}) for s in (0.0, 100.0))
    assert long[0] - short[0] == pytest.approx(0.01 * log(51.0))
    assert long[1] == short[1]


def test_a_fresh_surface_starts_high_and_settles() -> None:
    mu = [coefficients(Face(), **REST | {"slides_before": n})[0] for n in (0, 1, 3, 30)]
    assert mu == sorted(mu, reverse=True)
    assert mu[0] / mu[-1] == pytest.approx(1.06, abs=1e-3)


def test_friction_falls_with_pressure_by_the_load_exponent() -> None:
    face = Face(load_exponent=0.9)
    light, heavy = (coefficients(face, **REST, pressure_pa=p)[0] for p in (185.0, 370.0))
    # F = k·N^n, so µ = F/N goes as N^(n − 1).
    assert heavy / light == pytest.approx(2.0**-0.1)


def test_sorption_has_two_branches_that_meet_at_the_ends() -> None:
    wet, dry = (
        [f(h) for h in (0.0, 30.0, 60.0, 100.0)]
        for f in (wetting_moisture, lambda h: drying_moisture(h, 0.02))
    )
    assert wet[0] == dry[0] == 0.0
    assert wet[3] == pytest.approx(dry[3])
    assert all(d > w for d, w in zip(dry[1:3], wet[1:3], strict=True))
    assert wet == sorted(wet)


def test_the_fabric_remembers_where_it_came_from() -> None:
    face = Face()
    from_dry = moisture_after(face, wetting_moisture(10.0), 50.0, 100.0)
    from_damp = moisture_after(face, wetting_moisture(90.0), 50.0, 100.0)
    assert from_dry == pytest.approx(wetting_moisture(50.0))
    assert from_damp == pytest.approx(drying_moisture(50.0, face.hysteresis))
    assert humidity_factor(face, from_damp) > humidity_factor(face, from_dry) + 0.02


def test_the_fabric_lags() -> None:
    face = Face(sorption_hours=2.0)
    start, goal = wetting_moisture(20.0), wetting_moisture(70.0)
    after = moisture_after(face, start, 70.0, 2.0)
    assert (after - start) / (goal - start) == pytest.approx(1 - 1 / 2.718281828, abs=1e-6)
    in_steps = start
    for _ in range(20):
        in_steps = moisture_after(face, in_steps, 70.0, 0.1)
    assert in_steps == pytest.approx(after)


def test_friction_against_humidity_is_no_straight_line() -> None:
    mu = [coefficients(Face(), **REST | {"moisture": wetting_moisture(h)})[0] for h in (10, 50, 90)]
    assert mu == sorted(mu)
    assert abs(mu[1] - 0.5 * (mu[0] + mu[2])) > 0.01


def test_warm_board_is_dry() -> None:
    # Air of 30 °C and 50 % over a board at 50 °C is at about 17 % there.
    assert surface_humidity_pct(30.0, 50.0, 50.0) == pytest.approx(17.2, abs=0.2)
    assert surface_humidity_pct(20.0, 50.0, 20.0) == pytest.approx(50.0)
    assert surface_humidity_pct(30.0, 90.0, 10.0) == 100.0


def test_moisture_follows_the_room_over_a_day() -> None:
    scenario = draw_scenario(3)
    steady = {"humidity_drift_pct_h": 0.0, "temperature_drift_k_h": 0.0, "board_offset_k": 0.0}
    damp = changed(scenario, air=steady | {"humidity_before_pct": 90.0, "conditioned_h": 0.5})
    dry = changed(scenario, air=steady)
    assert moisture_at(damp, 0.0) > moisture_at(damp, 5.0) > moisture_at(dry, 5.0)
    assert moisture_at(dry, 5.0) == pytest.approx(moisture_at(dry, 0.0))


def test_a_face_survives_json() -> None:
    face = Face(mu_static_dry=0.33)
    assert msgspec.json.decode(msgspec.json.encode(face), type=Face) == face
