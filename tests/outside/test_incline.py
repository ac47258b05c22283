"""The inclined plane against the standards' definition and textbook motion."""

import math

import numpy as np
import pytest

from rig.analysis.friction import analyse_run
from rig.analysis.onset.fit import Distances, SeenEdge
from rig.analysis.onset.laws import table
from rig.analysis.onset.posterior import OnsetPosterior, posterior
from tests.analysis.slides import one_beam, run_file, slide


# The inclined-plane methods take the tangent of the slide angle as the static coefficient
# (ASTM D4918, ASTM G219, TAPPI T 815). Class limits of the shod ramp test (EN 16165, annex B, and
# DIN 51130): 6, 10, 19, 27 and 35 degrees.
@pytest.mark.parametrize(
    ("angle_deg", "mu"),
    [(10.0, 0.1763), (19.0, 0.3443), (27.0, 0.5095), (35.0, 0.7002)],
)
def test_the_coefficient_is_the_tangent(angle_deg: float, mu: float) -> None:
    tangent = math.tan(math.radians(angle_deg))
    true = slide(tangent, 0.85 * tangent, 1.0, [8.0, 160.0])
    row = analyse_run(run_file(1.0, one_beam(true.edges_s))).result
    assert row.onset_angle_deg is not None
    assert row.u_mu_static is not None
    assert row.mu_static == pytest.approx(math.tan(math.radians(row.onset_angle_deg)), abs=1e-9)
    assert row.mu_static == pytest.approx(mu, abs=2.0 * row.u_mu_static)
    assert row.u_mu_static < 0.004


def on_a_still_plane(angle_deg: float, mu_kinetic: float, seconds: list[float]) -> OnsetPosterior:
    """What is found from edges at s = a t²/2, on a plane that hardly turns (0.02 °/s)."""
    angle = math.radians(angle_deg)
    a_mm_s2 = 9806.65 * (math.sin(angle) - mu_kinetic * math.cos(angle))
    first, last = (a_mm_s2 * t * t / 2.0 for t in seconds)
    edges = [SeenEdge(seconds[0], 0, True), SeenEdge(seconds[1], 0, False)]
    distances = Distances((first, 0.01), (0.0, 0.0), (last - first, 0.01), (50.0, 0.2))
    coulomb = np.where(table().family == 0, 1.0, 0.0)
    return posterior(edges, distances, angle_deg, 0.02, 0.0, coulomb)


# Slides on a still plane, a = g(sin θ − µk cos θ): 10 kg, 30°, µ 0.2 gives 3.2 m/s² (mytutor.co.uk,
# A-level mathematics, no. 51568); 31°, µk 0.34 gives 2.19 m/s² (homework exercise on bartleby.com,
# 2019, worked out here).
@pytest.mark.parametrize(
    ("angle_deg", "mu_kinetic", "a_m_s2"), [(30.0, 0.2, 3.2), (31.0, 0.34, 2.19)]
)
def test_motion_on_a_still_plane(angle_deg: float, mu_kinetic: float, a_m_s2: float) -> None:
    found = on_a_still_plane(angle_deg, mu_kinetic, [0.1, 0.3])
    assert found.mu_kinetic == pytest.approx(mu_kinetic, abs=2e-3)
    assert found.onset_s == pytest.approx(0.0, abs=2e-3)
    moved = found.motion_mm(np.array([0.25]))
    assert moved[0] == pytest.approx(0.25**2 / 2.0 * 1000.0 * a_m_s2, rel=0.02)


def test_the_break_angle_is_late_by_the_cube_root_law() -> None:
    # Own derivation: with µk = µs and θ₀ = 20°, 1 mm of travel at 1.5 °/s takes 0.420°.
    true = slide(math.tan(math.radians(20.0)), math.tan(math.radians(20.0)), 1.5, [1.0, 160.0])
    assert 1.5 * (true.edges_s[0] - true.onset_s) == pytest.approx(0.420, abs=0.003)
