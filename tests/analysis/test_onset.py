"""The onset solver against slides that scipy's DOP853 integrated."""

import math

import numpy as np
import pytest

from rig.analysis.friction import analyse_run
from rig.analysis.onset import NoOnset, Onset, Travel, onset_of_one, solve_onset
from rig.analysis.plane import Plane
from tests.analysis.slides import one_beam, run_file, slide, two_beams

GAP, LENGTH, SPACING = 8.0, 152.0, 50.0
GRID = [
    (mu, fall, rate)
    for mu in (0.2, 0.7)
    for fall in (0.0, 0.005, 0.01, 0.05, 0.15)
    for rate in (0.25, 1.0, 2.0)
]


def _plane(rate: float, from_s: float, to_s: float) -> Plane:
    grid = from_s + 2e-3 * np.arange(math.ceil((to_s - from_s) / 2e-3) + 2, dtype=float)
    return Plane(from_s, 2e-3, rate * grid)


@pytest.mark.parametrize(("mu", "fall", "rate"), GRID)
def test_two_exact_edges_give_start_and_friction(mu: float, fall: float, rate: float) -> None:
    true = slide(mu, mu - fall, rate, [GAP, GAP + LENGTH])
    broken, clear = true.edges_s
    plane = _plane(rate, true.onset_s - 4.0, clear + 0.1)
    found = solve_onset(
        plane,
        Travel(broken, GAP),
        Travel(clear, GAP + LENGTH),
        true.onset_s - 3.0,
        broken,
    )
    assert isinstance(found, Onset)
    # Close to µs = µk the start hardly shows in the edges, and rounding counts.
    tolerance_deg = 0.003 if fall > 0.007 else 0.02
    assert rate * found.onset_s == pytest.approx(true.onset_deg, abs=tolerance_deg)
    assert found.mu_kinetic == pytest.approx(mu - fall, abs=3e-4)


@pytest.mark.parametrize(("mu", "fall", "rate"), GRID)
def test_four_exact_edges_need_no_gap(mu: float, fall: float, rate: float) -> None:
    gap, length = 5.3, 160.2
    places = [gap, gap + SPACING, gap + length, gap + length + SPACING]
    true = slide(mu, mu - fall, rate, places)
    edges = true.edges_s
    plane = _plane(rate, true.onset_s - 4.0, edges[3] + 0.1)
    found = solve_onset(
        plane,
        Travel(edges[1], SPACING, edges[0]),
        Travel(edges[3], SPACING, edges[2]),
        true.onset_s - 3.0,
        edges[0],
    )
    assert isinstance(found, Onset)
    assert rate * found.onset_s == pytest.approx(true.onset_deg, abs=0.004)
    assert found.mu_kinetic == pytest.approx(mu - fall, abs=3e-4)


@pytest.mark.parametrize("fall", [0.005, 0.01, 0.05])
def test_of_two_starts_only_the_admissible_one_is_taken(fall: float) -> None:
    rate, mu = 1.0, 0.37
    true = slide(mu, mu - fall, rate, [GAP, GAP + LENGTH])
    broken, clear = true.edges_s
    plane = _plane(rate, true.onset_s - 6.0, clear + 0.1)
    t_s = np.linspace(true.onset_s - 4.0, broken - 1e-3, 4000)
    s_break, s_clear = plane.travels_mm((broken, clear), t_s)
    friction = (s_clear[0] - GAP - LENGTH) / s_clear[1]
    miss = s_break[0] - friction * s_break[1] - GAP
    roots = t_s[:-1][np.diff(np.sign(miss)) != 0]
    assert len(roots) == 2
    assert friction[t_s == roots[0]] > math.tan(math.radians(rate * roots[0]))
    found = solve_onset(
        plane, Travel(broken, GAP), Travel(clear, GAP + LENGTH), true.onset_s - 4.0, broken
    )
    assert isinstance(found, Onset)
    assert found.onset_s == pytest.approx(roots[1], abs=2e-3)


def test_a_bag_that_is_too_far_gives_the_limit() -> None:
    true = slide(0.4, 0.4, 1.0, [4.0, GAP + LENGTH])
    broken, clear = true.edges_s
    plane = _plane(1.0, true.onset_s - 4.0, clear + 0.1)
    found = solve_onset(
        plane, Travel(broken, 12.0), Travel(clear, GAP + LENGTH), true.onset_s - 3.0, broken
    )
    assert isinstance(found, Onset)
    assert found.kind == "limit"
    assert found.onset_s == pytest.approx(true.onset_s, abs=1e-3)
    assert found.misfit_mm == pytest.approx(8.0, abs=0.05)


def test_impossible_edges_have_no_onset() -> None:
    plane = _plane(1.0, 15.0, 30.0)
    late = solve_onset(plane, Travel(22.0, 8.0), Travel(26.0, 160.0), 18.0, 22.0)
    early = solve_onset(plane, Travel(22.0, 8.0), Travel(22.08, 160.0), 19.0, 22.0)
    assert late == NoOnset("late")
    assert early == NoOnset("early")


def test_one_edge_with_the_true_ratio_gives_the_start() -> None:
    true = slide(0.5, 0.4, 1.0, [GAP])
    plane = _plane(1.0, true.onset_s - 3.0, true.edges_s[0] + 0.1)
    found = onset_of_one(
        plane, Travel(true.edges_s[0], GAP), 0.8, true.onset_s - 2.0, true.edges_s[0]
    )
    assert found == pytest.approx(true.onset_s, abs=1e-4)


@pytest.mark.parametrize("beams", [1, 2])
@pytest.mark.parametrize(
    ("mu", "fall", "rate"), [(0.3, 0.03, 0.5), (0.5, 0.1, 1.0), (0.65, 0.06, 2.0)]
)
def test_a_whole_run_file_gives_the_truth(mu: float, fall: float, rate: float, beams: int) -> None:
    places = [GAP, GAP + LENGTH]
    if beams == 2:
        places = [GAP, GAP + SPACING, GAP + LENGTH, GAP + LENGTH + SPACING]
    true = slide(mu, mu - fall, rate, places)
    edges = one_beam(true.edges_s) if beams == 1 else two_beams(true.edges_s)
    row = analyse_run(run_file(rate, edges, beams=beams, noise_counts=6.0)).result
    assert row.valid
    assert row.flags == []
    assert row.onset_method == ("two_edge" if beams == 1 else "four_edge")
    assert row.onset_angle_deg == pytest.approx(true.onset_deg, abs=0.02)
    assert row.mu_static == pytest.approx(mu, abs=5e-4)
    assert row.mu_kinetic == pytest.approx(mu - fall, abs=1e-3)
    assert row.angle_at_break_deg == pytest.approx(rate * true.edges_s[0], abs=0.02)
    assert row.angle_at_break_deg is not None
    assert row.onset_angle_deg is not None
    assert row.angle_at_break_deg > row.onset_angle_deg + 0.05
    assert row.gap_mm == pytest.approx(GAP, abs=0.5)


def test_a_run_cut_off_after_the_break_uses_one_edge() -> None:
    true = slide(0.45, 0.4, 1.0, [GAP, GAP + LENGTH])
    run = run_file(1.0, one_beam(true.edges_s)[:1], end_s=true.edges_s[0] + 0.1)
    run.end = None
    run.events = [event for event in run.events if event.detail.get("state") != "lowering"]
    analysis = analyse_run(run)
    row = analysis.result
    assert row.onset_method == "one_edge"
    assert row.mu_kinetic is None
    assert row.outcome == "interrupted"
    assert analysis.budget is not None
    u = analysis.budget.u_onset_angle_deg(without=("friction law",))
    assert row.onset_angle_deg is not None
    assert abs(row.onset_angle_deg - true.onset_deg) < 2.0 * u
