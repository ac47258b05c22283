"""The posterior of the onset against slides that other code integrated."""

import math
from functools import cache
from typing import Literal

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rig.analysis.friction import analyse_run
from rig.analysis.onset.fit import Distances, SeenEdge
from rig.analysis.onset.laws import DROP_END, STRIBECK_MM_S, WEAKENING_MM, WEIGHTS, table
from rig.analysis.onset.posterior import OnsetPosterior, posterior
from tests.analysis.even_ramp import Moved, fitted, moved_mm
from tests.analysis.slides import one_beam, run_file, slide, two_beams
from tests.bench.onset_world import World, analysed, rms, seeds, world
from tests.bench.slide_laws import LAWS, Law

EXACT = Distances((8.0, 0.01), (1.5, 0.0), (152.0, 0.01), (50.0, 0.01))
PLACED = Distances((8.0, 1.0), (1.5, 0.9), (152.0, 4.0), (50.0, 0.2))
PLACES = (6.5, 56.5, 160.0, 210.0)


def coulomb_only() -> np.ndarray:
    return np.where(table().family == 0, 1.0, 0.0)


def passed(mu_static: float, mu_kinetic: float, rate: float, beams: int = 2) -> list[SeenEdge]:
    """Edges of a slide under Coulomb friction, in time since the board was level."""
    times = slide(mu_static, mu_kinetic, rate, PLACES).edges_s
    return edges_of(times, beams)


def edges_of(times: list[float], beams: int = 2) -> list[SeenEdge]:
    places = [(0, True), (1, True), (0, False), (1, False)]
    edges = [SeenEdge(time, *place) for time, place in zip(times, places, strict=True)]
    return sorted(edge for edge in edges if edge.beam < beams)


def found(edges: list[SeenEdge], distances: Distances, rate: float, *args: float) -> OnsetPosterior:
    return posterior(edges, distances, rate * edges[0].time_s, rate, 0.3)


@pytest.mark.parametrize("drop", [0.0, 0.07, 1.3, 4.1])
@pytest.mark.parametrize("law", [0, 1, 10, 19, 20, 35, 51])
def test_times_of_each_law_against_another_integrator(law: int, drop: float) -> None:
    laws, most = table(), math.expm1(drop)
    scale = float(laws.scale[law])
    grown = {
        0: lambda s, v: 1.0,
        1: lambda s, v: 1.0 - math.exp(-s / scale),
        2: lambda s, v: 1.0 - math.exp(-((v / scale) ** 2)),
    }[int(laws.family[law])]
    paths = [0.4, 6.5, 56.5, 160.0, 400.0]
    events = [lambda t, y, x=x: y[0] - x for x in paths]
    events[-1].terminal = True  # type: ignore[attr-defined]
    solution = solve_ivp(
        lambda t, y: [y[1], t + most * grown(y[0], y[1])],
        (0.0, 20.0),
        [0.0, 0.0],
        method="LSODA",
        rtol=1e-9,
        atol=1e-12,
        events=events,
    )
    assert solution.t_events is not None
    time, by_drop, by_path = laws.times(np.array([law]), np.array([drop]), np.array([paths]))
    # A unit of time is 0.15 to 0.4 s.
    assert time[0] == pytest.approx([float(one[0]) for one in solution.t_events], abs=1e-3)
    later, *_ = laws.times(np.array([law]), np.array([drop + 0.01]), np.array([paths]))
    further, *_ = laws.times(np.array([law]), np.array([drop]), 1.002 * np.array([paths]))
    assert by_drop[0] == pytest.approx((later - time)[0] / 0.01, rel=0.05, abs=2e-3)
    assert by_path[0] == pytest.approx((further - time)[0] / 0.002 / paths, rel=0.05)


@pytest.mark.parametrize("unit_s", [0.12, 0.26, 0.4])
def test_the_mixture_is_even_in_the_logarithm_of_distance_and_speed(unit_s: float) -> None:
    laws = table()
    weight = laws.prior(unit_s)
    assert [weight[laws.family == family].sum() for family in range(3)] == pytest.approx(WEIGHTS)
    for family, (low, high), unit in ((1, WEAKENING_MM, 1.0), (2, STRIBECK_MM_S, unit_s)):
        scale, part = laws.scale[laws.family == family] / unit, weight[laws.family == family]
        assert float(np.sum(part * np.log(scale))) / part.sum() == pytest.approx(
            (math.log(low) + math.log(high)) / 2.0, abs=0.05
        )
        assert part[(scale < low / 1.2) | (scale > high * 1.2)].sum() == 0.0
    # The table reaches as far as a raise can need: all of the friction gone at 0.05 °/s.
    unit = (9806.65 * math.radians(0.05)) ** (-1.0 / 3.0)
    assert math.log1p(9806.65 * 0.8 * 0.7 * unit**2) < DROP_END


@pytest.mark.parametrize("rate", [0.25, 1.0, 2.0])
@pytest.mark.parametrize("fall", [0.02, 0.05, 0.15])
@pytest.mark.parametrize("mu", [0.2, 0.7])
def test_with_coulombs_law_alone_exact_edges_give_the_closed_solution(
    mu: float, fall: float, rate: float
) -> None:
    edges = passed(mu, mu - fall, rate, beams=1)
    conditions = [Moved(edges[0].time_s, 6.5), Moved(edges[1].time_s, 160.0)]
    start_s, mu_kinetic = fitted(conditions, rate, (edges[0].time_s - 0.1, mu - fall))
    made = posterior(edges, EXACT, rate * edges[0].time_s, rate, 0.0, coulomb_only())
    assert rate * made.onset_s == pytest.approx(rate * start_s, abs=0.005)
    assert made.mu_kinetic == pytest.approx(mu_kinetic, abs=2e-3)
    assert made.law_s < 1e-9
    assert made.misfit < 0.01
    motion = made.motion_mm(np.array([start_s + 0.3]))
    assert motion[0] == pytest.approx(moved_mm(start_s + 0.3, start_s, mu_kinetic, rate), rel=0.03)


@pytest.mark.parametrize(("beams", "rms_deg", "u_deg"), [(1, 0.06, 0.058), (2, 0.05, 0.047)])
def test_slides_of_the_whole_family(beams: Literal[1, 2], rms_deg: float, u_deg: float) -> None:
    every = [analysed(forty(law), beams) for law in LAWS[:3]]
    errors = np.concatenate([one.error for one in every])
    u = np.concatenate([one.u for one in every])
    assert rms(errors) < rms_deg
    assert np.median(u) < u_deg
    assert np.mean(np.abs(errors) < 2.0 * u) > 0.92
    assert rms(errors) > 0.6 * rms(u)
    kinetic = np.concatenate([one.mu_kinetic_error for one in every])
    stated = np.concatenate([one.u_mu_kinetic for one in every])
    assert np.mean(np.abs(kinetic) < 2.0 * stated) > 0.85
    assert np.mean([np.mean(one.flag != "") for one in every]) < 0.05
    # Coulomb lies at the edge of the mixture, early; and no law is far off.
    assert [abs(one.error.mean()) < 0.06 for one in every] == [True] * 3
    assert every[0].error.mean() < 0.0 < every[2].error.mean()


@cache
def forty(law: Law) -> World:
    """Slides at 0.3 °/s."""
    return world(law, 0.3, 40, seeds(3, law, 0.3))


@pytest.mark.parametrize("law", LAWS[:3])
def test_more_steps_and_hopeless_laws_change_nothing(
    law: Law, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = [analysed(forty(law), beams) for beams in (1, 2)]
    monkeypatch.setattr("rig.analysis.onset.fit.MOST_STEPS", 60)
    monkeypatch.setattr("rig.analysis.onset.fit.SETTLED", 1e-5)
    monkeypatch.setattr("rig.analysis.onset.fit.HOPELESS", math.inf)
    for found, further in zip(made, [analysed(forty(law), beams) for beams in (1, 2)], strict=True):
        assert (found.flag == further.flag).all()
        for name in ("error", "u"):
            away = np.abs(getattr(found, name) - getattr(further, name))
            assert (np.median(away) < 1e-5, np.max(away) < 2e-3) == (True, True)


def test_uncertainty_comes_apart_by_source() -> None:
    edges = passed(0.45, 0.4, 0.3)
    plain = found(edges, PLACED, 0.3)
    assert {one.name for one in plain.sources} == {
        *("gap", "slump", "length and skew", "beam spacing"),
        *("shape of the edges", "beam response", "kinetic friction"),
    }
    whole = math.sqrt(plain.law_s**2 + sum(one.time_s**2 for one in plain.sources))
    assert plain.u_time_s == pytest.approx(whole)
    late = posterior(edges, PLACED, 0.3 * edges[0].time_s, 0.3, 30.0)
    by_name = {one.name: one.time_s for one in late.sources}
    # The beams' delay moves all edges, so it goes into the onset as it is.
    assert by_name["beam response"] == pytest.approx(-0.03, rel=0.01)
    single = passed(0.45, 0.4, 0.3, beams=1)
    for key, name in (("gap", "gap"), ("slump", "slump"), ("length", "length and skew")):
        worse = PLACED._replace(**{key: (getattr(PLACED, key)[0], 6.0)})
        one, other = (
            {source.name: source.time_s for source in found(single, some, 0.3).sources}
            for some in (worse, PLACED)
        )
        assert abs(one[name]) > 1.3 * abs(other[name])
        # Had the gap been said to be larger, the bag would have started earlier.
        assert (one[name] < 0.0) is (key == "gap")


def test_one_edge_leans_on_what_is_known_of_kinetic_friction() -> None:
    edges = passed(0.45, 0.38, 1.0, beams=1)
    both = found(edges, PLACED, 1.0)
    by_break = found(edges[:1], PLACED, 1.0)
    by_clear = found(edges[1:], PLACED, 1.0)
    true = math.degrees(math.atan(0.45))
    for one, factor in ((both, 1.5), (by_break, 2.0), (by_clear, 2.0)):
        assert abs(one.onset_s - true) < factor * one.u_time_s
    names = {one.name: one.time_s for one in by_clear.sources}
    assert abs(names["kinetic friction"]) > 0.1
    assert by_clear.u_time_s > 1.5 * both.u_time_s


@pytest.mark.parametrize("beams", [1, 2])
@pytest.mark.parametrize(
    ("mu", "fall", "rate"), [(0.3, 0.03, 0.5), (0.5, 0.1, 1.0), (0.65, 0.06, 2.0)]
)
def test_a_whole_run_file_gives_the_truth(mu: float, fall: float, rate: float, beams: int) -> None:
    places = [8.0, 160.0] if beams == 1 else [8.0, 58.0, 160.0, 210.0]
    true = slide(mu, mu - fall, rate, places)
    edges = one_beam(true.edges_s) if beams == 1 else two_beams(true.edges_s)
    row = analyse_run(run_file(rate, edges, beams=beams, noise_counts=6.0)).result
    assert row.valid
    assert row.flags == []
    assert row.onset_method == ("two_edge" if beams == 1 else "four_edge")
    assert row.onset_angle_deg is not None
    assert row.u_onset_angle_deg is not None
    assert abs(row.onset_angle_deg - true.onset_deg) < 1.5 * row.u_onset_angle_deg
    assert row.u_onset_angle_deg < 0.15 * rate ** (2.0 / 3.0)
    assert row.mu_static == pytest.approx(math.tan(math.radians(row.onset_angle_deg)))
    assert row.mu_kinetic == pytest.approx(mu - fall, abs=5e-3 if beams == 1 else 1.5e-3)
    assert row.angle_at_break_deg == pytest.approx(rate * true.edges_s[0], abs=0.02)
    assert row.gap_mm == pytest.approx(8.0, abs=0.5)
    span_s = true.edges_s[-1] - true.edges_s[0]
    assert row.mu_kinetic_speed_m_s == pytest.approx(
        (places[-1] - places[0]) / 1000.0 / span_s, rel=0.02
    )


@pytest.mark.parametrize(("length_mm", "method"), [(160.0, "two_edge_limit"), (148.0, "two_edge")])
def test_a_bag_that_would_rather_have_no_drop_of_friction(length_mm: float, method: str) -> None:
    # It does not fall at all, and the bag is longer (or shorter) than was stated.
    true = slide(0.4, 0.4, 1.0, [8.0, 8.0 + length_mm])
    row = analyse_run(run_file(1.0, one_beam(true.edges_s))).result
    assert (row.onset_method, row.flags) == (method, [])


def test_a_run_cut_off_after_the_break_uses_one_edge() -> None:
    true = slide(0.45, 0.4, 1.0, [8.0, 160.0])
    run = run_file(1.0, one_beam(true.edges_s)[:1], end_s=true.edges_s[0] + 0.1)
    run.end = None
    run.events = [event for event in run.events if event.detail.get("state") != "lowering"]
    row = analyse_run(run).result
    assert row.onset_method == "one_edge"
    assert (row.mu_kinetic, row.u_mu_kinetic, row.mu_kinetic_speed_m_s) == (None, None, None)
    assert row.outcome == "interrupted"
    assert row.onset_angle_deg is not None
    assert row.u_onset_angle_deg is not None
    assert abs(row.onset_angle_deg - true.onset_deg) < 2.0 * row.u_onset_angle_deg
