"""A first edge that came from slumped fill, told from a slide by which of both is likelier."""

import math
from types import SimpleNamespace
from typing import Any

import pytest
from scipy import stats

from rig.analysis.onset.edges import Pass
from rig.analysis.onset.estimate import FALSE_ALARM_MISFITS, Case, Geometry, Solved, most_at, solve
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
    """For an edge 0.3 s before an onset that is known to 0.1 s, χ² 5 with it and 1 without."""
    told = {"onset_s": 10.0, "u_time_s": 0.1, "whole": 5.0, "without": 1.0, "first_s": 9.7}
    told |= changes
    whole: Any = SimpleNamespace(misfit=told["whole"])
    without: Any = SimpleNamespace(
        misfit=told["without"], onset_s=told["onset_s"], u_time_s=told["u_time_s"]
    )
    return slump_log_odds(whole, without, told["first_s"], (6.5, 1.35), 20.0, RATE)


def test_the_odds_are_those_of_two_densities() -> None:
    """A normal one about the expected edge, and one that is even in the logarithm of the time."""
    angle, turn = math.radians(20.0), math.radians(RATE)
    taken_s = (6.0 * 6.5 * math.cos(angle) / (9806.65 * turn)) ** (1.0 / 3.0)
    expected_s = 9.9 + taken_s
    u_s = taken_s * (((6.5 + 1e-4 * 1.35) / 6.5) ** (1.0 / 3.0) - 1.0) / 1e-4
    z = 2.0  # of a χ² that falls by 4 without the edge
    of_slide = stats.norm(expected_s, u_s).pdf(expected_s - z * u_s)
    of_slump = stats.loguniform(0.01, 100.0).pdf(math.hypot(0.3, 0.1))
    of_slump *= stats.norm.cdf(3.0)
    constant = math.log(math.sqrt(2.0 * math.pi) / math.log(100.0 / 0.01))
    assert odds() == pytest.approx(math.log(of_slump / of_slide) - constant, abs=1e-3)


def test_an_edge_that_came_after_the_onset_is_no_slump() -> None:
    assert odds(first_s=10.5) < -10.0
    assert odds(first_s=9.9) > odds(first_s=10.1)
    assert odds(first_s=9.0) < odds(first_s=9.7)
    assert odds(whole=6.0) == pytest.approx(odds() + 0.5)
    assert odds(first_s=99.0) > -1e3
