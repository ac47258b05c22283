"""The slide against closed forms, and against an integrator that shares nothing with it."""

from collections.abc import Callable
from math import atan, cos, exp, log, pi, radians, sin, sqrt, tan
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rig.twin.friction import make_law
from rig.twin.mechanics import Incline
from rig.twin.path import BagPath
from rig.twin.slide import SlideMotion

G = 9.80665
RATE = radians(1.0)
STATIC, KINETIC = 0.4, 0.36
STEEP = radians(25.0)


def slide_of(law: str = "coulomb", incline: Incline | None = None, **path: Any) -> SlideMotion:
    places: dict[str, Any] = {"gap_mm": 8.0, "length_mm": 155.0} | path
    made = make_law(law, STATIC, KINETIC)  # type: ignore[arg-type]
    return SlideMotion(made, incline or Incline.of(0.0, 0.0), BagPath(**places), 0.0)


def test_at_a_steady_angle_the_edges_come_by_the_law_of_falling_bodies() -> None:
    slide = slide_of(beam_offsets_mm=(0.0, 50.0), slump_mm=2.0)
    edges = slide.advance(3.0, lambda _: STEEP)
    pull = G * (sin(STEEP) - KINETIC * cos(STEEP))
    # The slump has brought the leading edge 2 mm nearer, not the trailing one.
    travel_mm = (6.0, 56.0, 163.0, 213.0)
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (2, True), (1, False), (2, False)]
    assert [e.time_s for e in edges] == pytest.approx([sqrt(2e-3 * s / pull) for s in travel_mm])
    assert (slide.is_caught, slide.is_over, slide.time_s) == (True, True, 3.0)
    assert (slide.travel_m, slide.speed_m_s) == pytest.approx((0.29, 0.0))


def test_on_a_cross_slope_it_goes_the_longer_way_down() -> None:
    incline = Incline.of(0.0, 8.0)
    sine, cosine = incline.sin_cos(STEEP)
    edges = slide_of(incline=incline).advance(3.0, lambda _: STEEP)
    askew = sin(STEEP) * incline.up_z / sine
    assert askew < 0.97
    pull = G * (sine - KINETIC * cosine)
    expected = [sqrt(2e-3 * s / askew / pull) for s in (8.0, 163.0)]
    assert [e.time_s for e in edges] == pytest.approx(expected)


def fall(x: float) -> float:
    """From µs to µk, as all laws but Coulomb's have it."""
    return KINETIC + (STATIC - KINETIC) * exp(-x)


LAWS: dict[str, Callable[[float, float, float], tuple[float, float]]] = {
    "coulomb": lambda s, v, z: (KINETIC, 0.0),
    "slip_weakening": lambda s, v, z: (fall(s / 1e-3), 0.0),
    "stribeck": lambda s, v, z: (fall((v / 0.03) ** 2), 0.0),
    "lugre": lambda s, v, z: bristle(v, z),
}
"""Coefficient and rate of the bristle at a slip, a speed and a deflection."""


def bristle(v: float, z: float) -> tuple[float, float]:
    rate = v - 4000.0 * abs(v) / fall((v / 0.03) ** 2) * z
    return 4000.0 * z + 3.0 * exp(-((v / 0.01) ** 2)) * rate, rate


@pytest.mark.parametrize("law", LAWS)
def test_edges_in_a_raise_are_those_of_another_integrator(law: str) -> None:
    # A bristle is let go at 0.9 of µs, where it is bent and the bag has crept already.
    level = STATIC * (0.9 if law == "lugre" else 1.0)
    start_s = atan(level) / RATE
    creep, bent = (-STATIC / 4000.0 * log(0.1), level / 4000.0) if law == "lugre" else (0.0, 0.0)

    def move(t: float, state: Any) -> list[float]:
        s, v, z = state
        mu, rate = LAWS[law](s, v, z)
        return [v, G * (sin(RATE * t) - mu * cos(RATE * t)), rate]

    def passes(place_m: float) -> Callable[[float, Any], float]:
        return lambda t, state: state[0] - place_m

    end_s = start_s + 4.0
    found = solve_ivp(
        move,
        (start_s, end_s),
        [creep, 0.0, bent],
        method="LSODA",
        events=[passes(8e-3), passes(163e-3)],
        rtol=1e-8,
        atol=1e-11,
        max_step=0.05,
    )
    assert found.t_events is not None
    expected = [float(times[0]) for times in found.t_events]
    edges = slide_of(law).advance(end_s, lambda t: RATE * t)
    assert [e.time_s for e in edges] == pytest.approx(expected, abs=5e-6)


def test_a_sticky_spot_stops_the_bag_where_its_energy_is_used_up() -> None:
    angle = atan(0.44)
    slide = slide_of(stall_at_mm=60.0, stall_width_mm=40.0, stall_gain=1.5)
    slide.advance(3.0, lambda _: angle)

    def energy(u: float) -> float:
        """After a share u of the spot; friction is µk·(1 + 1.5·sin²πu) there."""
        work = sin(angle) - KINETIC * cos(angle)
        more = 1.5 * KINETIC * cos(angle) * 0.04 * (u / 2 - sin(2 * pi * u) / (4 * pi))
        return work * (0.06 + 0.04 * u) - more

    share = brentq(energy, 0.0, 0.9)
    assert slide.travel_m == pytest.approx(0.06 + 0.04 * share, abs=2e-5)
    assert (slide.is_sliding, slide.speed_m_s, slide.is_caught) == (False, 0.0, False)
    # It waits there for the spot's own static friction.
    assert slide.wake_tangent() == pytest.approx(
        STATIC * (1 + 1.5 * sin(pi * share) ** 2), rel=5e-3
    )


def test_a_bag_beyond_its_spot_or_before_it_meets_plain_friction() -> None:
    plain = slide_of().advance(3.0, lambda _: STEEP)
    for at_mm in (-50.0, 170.0):
        spot = slide_of(stall_at_mm=at_mm, stall_width_mm=40.0, stall_gain=5.0)
        assert spot.advance(1.0, lambda _: STEEP)[:2] == plain


def test_the_fill_creeps_with_the_cube_of_the_tangent() -> None:
    slide = slide_of(gap_mm=1.0, slump_mm=3.0, beam_offsets_mm=(0.0, 1.0, 50.0))
    edges = slide.advance(21.0, lambda t: RATE * t)
    # All of it is there at 0.85 of µs.
    expected = [atan(0.85 * STATIC * (need / 3.0) ** (1 / 3)) / RATE for need in (1.0, 2.0)]
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (2, True)]
    assert [e.time_s for e in edges] == pytest.approx(expected)
    assert not slide.is_sliding
    assert slide.wake_tangent() == pytest.approx(STATIC)
    later = slide.advance(24.0, lambda t: RATE * t)
    assert [(e.beam, e.broken) for e in later] == [(3, True), (1, False), (2, False), (3, False)]


def test_a_bristle_notes_its_onset_at_the_static_coefficient() -> None:
    slide = slide_of("lugre")
    slide.advance(24.0, lambda t: RATE * t)
    assert slide.onset_time_s == pytest.approx(atan(STATIC) / RATE, abs=1e-9)
    assert slide.onset_deg is not None
    assert tan(radians(slide.onset_deg)) == pytest.approx(STATIC)


def test_a_bag_that_lies_still_for_good_gives_no_edge() -> None:
    slide = slide_of()
    slide.stay()
    assert slide.is_over
    assert slide.advance(60.0, lambda t: RATE * t) == []
    assert slide.time_s == 60.0


def test_speed_and_travel_in_the_middle_of_a_slide() -> None:
    slide = slide_of()
    slide.advance(0.2, lambda _: STEEP)
    pull = G * (sin(STEEP) - KINETIC * cos(STEEP))
    assert (slide.speed_m_s, slide.travel_m) == pytest.approx((0.2 * pull, 0.02 * pull))
    assert (slide.is_sliding, slide.is_over) == (True, False)
    assert np.isclose(slide.time_s, 0.2)


def test_a_bag_that_has_slid_slumps_no_further() -> None:
    """It rests in its sticky spot, 82 mm down, 3 mm before the second beam; 3 mm was its slump."""
    spot: dict[str, Any] = {"stall_at_mm": 60.0, "stall_width_mm": 40.0, "stall_gain": 1.5}
    slide = slide_of(slump_mm=3.0, beam_offsets_mm=(0.0, 80.0), **spot)
    edges = slide.advance(5.0, lambda _: atan(0.44))
    assert [(edge.beam, edge.broken) for edge in edges] == [(1, True)]
    assert slide.travel_m == pytest.approx(0.0822, abs=1e-4)


def test_an_edge_in_the_last_moment_before_a_stop_comes_at_its_time() -> None:
    """The trailing edge clears 0.1 µm before the place where the bag comes to rest."""
    angle = atan(0.44)
    spot: dict[str, Any] = {"stall_at_mm": 60.0, "stall_width_mm": 40.0, "stall_gain": 1.5}
    free = slide_of(**spot)
    free.advance(3.0, lambda _: angle)

    def motion(_: float, y: Any) -> list[float]:
        share = min(max((1000.0 * y[0] - 60.0) / 40.0, 0.0), 1.0)
        mu = KINETIC * (1 + 1.5 * sin(pi * share) ** 2)
        return [y[1], G * (sin(angle) - mu * cos(angle))]

    def speed(t_s: float, y: Any) -> float:
        return float(y[1]) if t_s > 0.0 else 1.0

    speed.terminal, speed.direction = True, -1.0  # type: ignore[attr-defined]
    found = solve_ivp(motion, (0.0, 3.0), [0.0, 0.0], events=speed, rtol=1e-10, atol=1e-12)
    assert found.t_events is not None
    assert found.y_events is not None
    ((stop_s,), (stop,)) = found.t_events[0], found.y_events[0]
    before_s = sqrt(2.0 * 0.1e-6 / -motion(stop_s, stop)[1])
    clears_mm = 1000.0 * free.travel_m - 1e-4
    edges = slide_of(gap_mm=clears_mm - 20.0, length_mm=20.0, **spot).advance(3.0, lambda _: angle)
    assert [edge.broken for edge in edges] == [True, False]
    assert edges[1].time_s == pytest.approx(stop_s - before_s, abs=5e-5)
