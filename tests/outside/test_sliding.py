"""Sliding on an incline against textbook examples and against scipy's integrators."""

from math import atan, cos, degrees, exp, radians, sin, tan

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rig.twin.friction import LAW_NAMES, LawName, LuGre, make_law
from rig.twin.mechanics import Incline
from rig.twin.path import BagPath
from rig.twin.slide import BRISTLE_START, SlideMotion

G = 9.80665
LEVEL = Incline.of(0.0, 0.0)
GAP_MM, LENGTH_MM = 6.5, 158.0


def slide_down(angle_deg: float, mu_kinetic: float, distance_m: float) -> float:
    """Time in s to slide a distance on a fixed incline from rest."""
    law = make_law("coulomb", mu_kinetic, mu_kinetic)
    path = BagPath(gap_mm=1000 * distance_m, length_mm=1e6, catch_travel_mm=1e9)
    edges = SlideMotion(law, LEVEL, path, 0.0).advance(20.0, lambda _: radians(angle_deg))
    assert len(edges) == 1
    return edges[0].time_s


@pytest.mark.parametrize(
    ("angle_deg", "mu", "acceleration"),
    [
        # a = g(sin θ − µk cos θ), as on HyperPhysics (Georgia State University), "Incline".
        # 30°, µ = 0.2: 3.2 m/s² is the answer on mytutor.co.uk (A-level mathematics, no. 51568).
        (30.0, 0.2, 3.2),
        # 31°, µ = 0.34: a homework exercise (bartleby.com, 2019); 2.19 m/s² was worked out here
        # from the same formula with g = 9.81 m/s².
        (31.0, 0.34, 2.19),
        # 3.00 kg on 30°, 2.00 m in 1.50 s: a = 1.78 m/s², µk = 0.368 (Serway, Physics for
        # Scientists and Engineers, chapter 5: from memory, the arithmetic was done again).
        (30.0, 0.368, 1.78),
    ],
)
def test_acceleration_on_a_fixed_incline(angle_deg: float, mu: float, acceleration: float) -> None:
    time_s = slide_down(angle_deg, mu, 0.5)
    assert 2 * 0.5 / time_s**2 == pytest.approx(acceleration, abs=0.006)


def test_two_metres_in_one_and_a_half_seconds() -> None:
    # Serway (as above): 2.00 m in 1.50 s; the speed there is 2.67 m/s.
    assert slide_down(30.0, 0.368, 2.00) == pytest.approx(1.50, abs=0.005)


def test_child_on_a_slide() -> None:
    # A child of 140 N on a slide of 25°: friction 47 N, normal force 127 N, so µk = 0.37, and as
    # it starts by itself tan 25° = 0.47 is above µs. Solution of problem 90 of chapter 6, read on
    # coursehero.com ("ch06-p090"); the book, Halliday, Resnick and Walker, Fundamentals of Physics,
    # is named from memory.
    assert tan(radians(25)) == pytest.approx(0.47, abs=0.005)
    path = BagPath(gap_mm=500.0, length_mm=1e6, catch_travel_mm=1e9)
    for mu_static, starts in ((0.46, True), (0.47, False)):
        slide = SlideMotion(make_law("coulomb", mu_static, 47 / 127), LEVEL, path, 0.0)
        assert bool(slide.advance(5.0, lambda _: radians(25))) is starts


@pytest.mark.parametrize(
    ("rate_deg_s", "half_mm", "one_mm", "two_mm"),
    [
        (0.5, 0.160, 0.202, 0.254),
        (1.0, 0.254, 0.321, 0.404),
        (1.5, 0.333, 0.420, 0.529),
        (3.0, 0.529, 0.667, 0.840),
    ],
)
def test_delay_on_a_turning_plane(
    rate_deg_s: float, half_mm: float, one_mm: float, two_mm: float
) -> None:
    # With µk = µs and onset at 20°, s = g·ω·t³/(6·cos θ0) to first order (worked out by hand; no
    # published treatment is known): the plane turns by ω·t while the bag moves s.
    mu = tan(radians(20.0))
    rate = radians(rate_deg_s)
    for gap_mm, late_deg in ((0.5, half_mm), (1.0, one_mm), (2.0, two_mm)):
        slide = SlideMotion(make_law("coulomb", mu, mu), LEVEL, BagPath(gap_mm, 150.0), 0.0)
        edges = slide.advance(21.5 / rate_deg_s, lambda t: rate * t)
        late = rate_deg_s * edges[0].time_s - 20.0
        assert late == pytest.approx(late_deg, abs=0.004)
        t = (6 * gap_mm / 1000 * cos(radians(20.0)) / (G * rate)) ** (1 / 3)
        assert late_deg == pytest.approx(degrees(rate * t), abs=0.0006)


def equations(name: LawName, mu_s: float, mu_k: float, rate: float):
    """Right-hand sides (t, [s, v, z]) written anew, law by law."""

    def acceleration(t: float, mu: float) -> float:
        return G * (sin(rate * t) - mu * cos(rate * t))

    def coulomb(t, y):
        return [y[1], acceleration(t, mu_k), 0.0]

    def weakening(t, y):
        return [y[1], acceleration(t, mu_k + (mu_s - mu_k) * exp(-y[0] / 1.0e-3)), 0.0]

    def stribeck(t, y):
        return [y[1], acceleration(t, mu_k + (mu_s - mu_k) * exp(-((y[1] / 0.03) ** 2))), 0.0]

    def lugre(t, y):
        _, v, z = y
        level = mu_k + (mu_s - mu_k) * exp(-((v / 0.03) ** 2))
        dz = v - 4000.0 * abs(v) / level * z
        mu = 4000.0 * z + 3.0 * exp(-((v / 0.01) ** 2)) * dz
        return [v, acceleration(t, mu), dz]

    return dict(zip(LAW_NAMES, (coulomb, weakening, stribeck, lugre), strict=True))[name]


@pytest.mark.parametrize("name", LAW_NAMES)
@pytest.mark.parametrize(
    ("mu_s", "mu_k", "rate_deg_s"), [(0.4, 0.36, 0.25), (0.62, 0.61, 2.0), (0.3, 0.3, 1.0)]
)
def test_edge_times_against_scipy(
    name: LawName, mu_s: float, mu_k: float, rate_deg_s: float
) -> None:
    rate = radians(rate_deg_s)
    slide = SlideMotion(make_law(name, mu_s, mu_k), LEVEL, BagPath(GAP_MM, LENGTH_MM), 0.0)
    edges = slide.advance(atan(mu_s) / rate + 5.0, lambda t: rate * t)
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (1, False)]

    share = BRISTLE_START if name == "lugre" else 1.0
    start_s = atan(share * mu_s) / rate
    first = [0.0, 0.0, 0.0]
    if name == "lugre":
        # The quasi-static solution up to here, from ds = dz/(1 − σ0·z/µs).
        first = [-mu_s / 4000.0 * np.log(1 - share), 0.0, share * mu_s / 4000.0]

    def passed(t, y, place):
        return y[0] - place

    events = [lambda t, y, p=p: passed(t, y, p / 1000) for p in (GAP_MM, GAP_MM + LENGTH_MM)]
    solution = solve_ivp(
        equations(name, mu_s, mu_k, rate),
        (start_s, edges[-1].time_s + 0.2),
        first,
        method="Radau" if name == "lugre" else "DOP853",
        rtol=1e-9,
        atol=1e-12,
        events=events,
    )
    assert solution.t_events is not None
    expected = [times[0] for times in solution.t_events]
    assert [e.time_s for e in edges] == pytest.approx(expected, abs=5e-5)
    assert slide.onset_deg == pytest.approx(degrees(atan(mu_s)), abs=1e-6)


def test_a_bristle_is_stiff_enough_not_to_creep_far() -> None:
    # The quasi-static creep before µs is µs/σ0·ln(1/(1 − share)): tenths of a millimetre.
    creep_m, bristle_m = LuGre(0.4, 0.36).at_rest(0.9 * 0.4)
    assert creep_m == pytest.approx(0.4 / 4000 * np.log(10), rel=1e-9)
    assert bristle_m == pytest.approx(0.36 / 4000)
