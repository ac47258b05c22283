"""A first edge that came from slumped fill, told from a slide by which of both is likelier."""

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from rig.analysis.onset.edges import Pass
from rig.analysis.onset.estimate import FALSE_ALARM_MISFITS, Case, Geometry, Solved, most_at, solve
from rig.analysis.onset.fit import SeenEdge
from rig.analysis.onset.posterior import posterior
from rig.analysis.onset.slump import slump_log_odds
from tests.analysis.slides import slide

RATE = 0.3
PLACED = Geometry(
    gap_mm=8.0,
    u_gap_mm=1.0,
    slump_mm=1.5,
    u_slump_mm=0.9,
    length_mm=152.0,
    u_length_mm=4.0,
    spacing_mm=50.0,
    u_spacing_mm=0.2,
)


def solved(
    leading_mm: float, early_s: float | None = None, off_s: float = 0.0
) -> tuple[Solved, float]:
    """A slide past two beams, with its true onset.

    Args:
        leading_mm: from the leading edge to the first beam as the slide begins.
        early_s: the edge broke it so long before the slide.
        off_s: the last edge came so much later than it should.
    """
    true = slide(0.45, 0.38, RATE, [abs(leading_mm), leading_mm + 50.0, 160.0, 210.0])
    times = list(true.edges_s)
    if early_s is not None:
        times[0] = true.onset_s - early_s
    times[3] += off_s
    case = Case("four", Pass(times[0], times[2]), Pass(times[1], times[3]), ())
    angle = true.onset_deg + RATE * (times[0] - true.onset_s)
    return solve(case, PLACED, angle, RATE, 0.3), true.onset_s


@pytest.mark.parametrize("early_s", [0.22, 0.25])
def test_fill_that_slumped_just_before_the_slide_is_seen_though_the_edges_fit(
    early_s: float,
) -> None:
    """0.066 and 0.075° before: a bag whose friction falls slowly could have made these edges."""
    found, onset_s = solved(-1.0, early_s)
    assert found.misfit < most_at(FALSE_ALARM_MISFITS[2], RATE)
    assert found.flag == "slumped"
    assert len(found.edges) == 3
    assert abs(found.onset_s - onset_s) < 2.0 * found.found.u_time_s


def test_a_good_slide_of_such_a_bag_is_not() -> None:
    # The last one with edges that fit as badly as those of the slump above.
    for leading_mm, off_s in ((5.5, 0.0), (6.5, 0.0), (7.5, 0.0), (6.5, -0.01)):
        found, onset_s = solved(leading_mm, off_s=off_s)
        assert found.flag is None
        assert len(found.edges) == 4
        assert abs(found.onset_s - onset_s) < 2.0 * found.found.u_time_s


def odds(**changes: float) -> float:
    """For an edge 0.3 s before an onset that is known to 0.1 s."""
    told = {"onset_s": 10.0, "u_time_s": 0.1, "whole": 7.0, "without": 9.0, "first_s": 9.7}
    told |= changes
    whole: Any = SimpleNamespace(log_evidence=told["whole"])
    without: Any = SimpleNamespace(
        log_evidence=told["without"], onset_s=told["onset_s"], u_time_s=told["u_time_s"]
    )
    return slump_log_odds(whole, without, told["first_s"], RATE)


def test_the_odds_are_those_of_the_evidence_and_of_when_a_slump_comes() -> None:
    """Even in the logarithm of how long before an onset that is itself uncertain."""
    early = stats.loguniform(0.02 / RATE, 2.5 / RATE)
    for first_s in (9.7, 8.0, 9.95):
        density, _ = quad(
            lambda onset_s, first_s=first_s: (
                early.pdf(onset_s - first_s) * stats.norm(10.0, 0.1).pdf(onset_s)
            ),
            9.5,
            10.5,
            points=[first_s + 0.02 / RATE],
        )
        assert odds(first_s=first_s) == pytest.approx(2.0 + math.log(density), abs=0.02)


def test_an_edge_that_came_after_the_onset_is_no_slump() -> None:
    assert odds(first_s=10.5) < -10.0
    assert odds(first_s=9.9) > odds(first_s=10.1)
    assert odds(first_s=9.0) < odds(first_s=9.7)
    assert odds(first_s=1.0) < -10.0
    assert odds(whole=6.0) == pytest.approx(odds() + 1.0)


def test_the_evidence_of_edges_is_their_probability_density() -> None:
    """Summed over all times that the last edge could have, it is that of the others."""
    true = slide(0.45, 0.38, RATE, [6.5, 56.5, 160.0])
    places = [(0, True), (1, True), (0, False)]
    edges = [SeenEdge(t, *place) for t, place in zip(true.edges_s, places, strict=True)]
    angle = true.onset_deg + RATE * (edges[0].time_s - true.onset_s)
    placed = PLACED.distances()

    def evidence(some: list[SeenEdge]) -> float:
        return math.exp(posterior(some, placed, angle, RATE, 0.3).log_evidence)

    late_s = np.linspace(-0.15, 0.25, 81)
    moved = [evidence([*edges[:2], edges[2]._replace(time_s=edges[2].time_s + s)]) for s in late_s]
    whole = float(np.sum(moved)) * float(late_s[1] - late_s[0])
    assert whole == pytest.approx(evidence(edges[:2]), rel=0.005)


def test_fill_that_slumped_towards_the_beam_widens_u() -> None:
    """By 5.5 mm more than is stated: the edges say so, and the angle is not wrong by 4 u."""
    found, onset_s = solved(1.0)
    good, _ = solved(6.5)
    assert found.found.slumped > 0.2 > good.found.slumped
    assert abs(found.onset_s - onset_s) < 2.0 * found.found.u_time_s
    by_name = {one.name: abs(one.time_s) for one in found.found.sources}
    assert by_name["slump"] > 2.0 * {o.name: abs(o.time_s) for o in good.found.sources}["slump"]
