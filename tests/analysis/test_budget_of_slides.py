"""What the solver gives to a budget, against a closed form and its numerical derivatives."""

import math
from collections.abc import Sequence
from typing import Literal

import pytest

from rig.analysis.budget import vary
from rig.analysis.edges import Pass
from rig.analysis.estimate import Case, Geometry, Solved, solve
from rig.analysis.friction import analyse_run
from rig.analysis.onset import NoOnset
from rig.analysis.uncertainty import root_sum_square
from tests.analysis.even_ramp import Moved, fitted, moved_mm, onset_of_ratio
from tests.analysis.parts import geometry, ramp
from tests.analysis.slides import one_beam, run_file
from tests.calibration.example import calibration

Kind = Literal["two", "four", "second", "leading", "break_only", "clear_only"]
RATE = 2.0
ONSET_S, MU_K = 12.0, 0.38
"""Slides at 24° with µs = 0.4452."""
ONES = Geometry(
    gap_mm=8.0,
    u_gap_mm=1.0,
    slump_mm=1.5,
    u_slump_mm=0.9,
    length_mm=152.0,
    u_length_mm=4.0,
    spacing_mm=50.0,
    u_spacing_mm=0.5,
)


def passed_s(distance_mm: float) -> float:
    """When the bag has moved this far."""
    low, high = ONSET_S, ONSET_S + 3.0
    for _ in range(60):
        middle = (low + high) / 2.0
        is_before = moved_mm(middle, ONSET_S, MU_K, RATE) < distance_mm
        low, high = (middle, high) if is_before else (low, middle)
    return low


BREAK, CLEAR = passed_s(6.5), passed_s(160.0)
BREAK_2, CLEAR_2 = passed_s(56.5), passed_s(210.0)
FIRST, SECOND = Pass(BREAK, CLEAR), Pass(BREAK_2, CLEAR_2)
PLANE = ramp(pivot_s=0.0, offset_deg=0.0, slope_deg_s=RATE).plane(ONSET_S - 3.0, CLEAR_2 + 0.1)


def conditions(
    kind: Kind, gap: float, slump: float, length: float, spacing: float, pair: float, late_s: float
) -> list[Moved]:
    """What each case rests on, written down once more."""
    first, clear = BREAK + late_s, CLEAR + late_s
    second, last = BREAK_2 + late_s, CLEAR_2 + late_s
    return {
        "two": [Moved(first, gap - slump), Moved(clear, gap + length)],
        "leading": [Moved(first, gap - slump), Moved(second, spacing, first)],
        "four": [Moved(second, spacing + pair, first), Moved(last, spacing, clear)],
        "second": [Moved(second, spacing - pair), Moved(last, spacing, clear)],
    }[kind]


DISTANCES = {
    "two": [("gap", "run", 1.0), ("slump", "series", 0.9), ("length and skew", "run", 4.0)],
    "four": [
        ("gap", "run", 1.0),
        ("slump", "series", 0.9),
        ("beam spacing", "common", 0.5),
        ("shape of the edges", "run", 0.5),
    ],
    "second": [("overhang of slumped fill", "run", 1.2), ("beam spacing", "common", 0.5)],
    "leading": [("gap", "run", 1.0), ("slump", "series", 0.9), ("beam spacing", "common", 0.5)],
    "break_only": [("gap", "run", 1.0), ("slump", "series", 0.9)],
    "clear_only": [("gap", "run", 1.0), ("length and skew", "run", 4.0)],
}
PLACE = {"gap": 0, "slump": 1, "length and skew": 2, "beam spacing": 3}
PLACE |= dict.fromkeys(("shape of the edges", "overhang of slumped fill"), 4)
PLACE["beam response"] = 5


def expected(kind: Kind, name: str, u_value: float) -> tuple[float, float, float]:
    """Root mean square of the changes of angle in degrees and µk, u lower and higher.

    And the change of the angle with the higher one.
    """
    exact = [8.0, 1.5, 152.0, 50.0, 0.0, 0.0]
    if kind == "second":
        # What has slumped into the first beam hangs over by as much as is stated.
        exact[4] = 2.0
    centre = fitted(conditions(kind, *exact), RATE, (ONSET_S, MU_K))
    changes = []
    for sign in (-1.0, 1.0):
        moved = list(exact)
        moved[PLACE[name]] += sign * u_value
        found = fitted(conditions(kind, *moved), RATE, centre)
        changes.append([RATE * (found[0] - centre[0]), found[1] - centre[1]])
    angles, frictions = zip(*changes, strict=True)
    half = math.sqrt(0.5)
    return half * root_sum_square(angles), half * root_sum_square(frictions), angles[1]


@pytest.mark.parametrize("kind", ["two", "four", "second", "leading"])
def test_each_distance_and_the_response_through_the_solver(kind: Kind) -> None:
    case = Case(kind, FIRST, SECOND, ())
    centre = solve(case, PLANE, ONES, ONSET_S - 2.5)
    assert isinstance(centre, Solved)
    variations = vary(case, PLANE, ONES, ONSET_S - 2.5, 3.0)
    assert [(one.name, one.layer, one.u_value) for one in variations] == [
        *DISTANCES[kind],
        ("beam response", "common", 3.0),
    ]
    for one in variations:
        u_value = one.u_value / 1000.0 if one.name == "beam response" else one.u_value
        angle, friction, upward = expected(kind, one.name, u_value)
        high = one.both[1]
        assert isinstance(high, Solved)
        assert RATE * (high.onset_s - centre.onset_s) == pytest.approx(upward, rel=0.03, abs=2e-4)
        assert RATE * one.change(centre, "onset_s") == pytest.approx(angle, rel=0.02, abs=2e-4)
        assert one.change(centre, "mu_kinetic") == pytest.approx(friction, rel=0.02, abs=1e-5)


@pytest.mark.parametrize("kind", ["break_only", "clear_only"])
def test_one_edge_gives_the_middle_between_the_bounds_of_kinetic_friction(kind: Kind) -> None:
    case = Case(kind, FIRST, None, ())
    found = solve(case, PLANE, ONES, ONSET_S - 2.5)
    assert isinstance(found, Solved)
    edge = Moved(BREAK, 6.5) if kind == "break_only" else Moved(CLEAR, 160.0)
    low, high = (onset_of_ratio(edge, ratio, RATE, ONSET_S - 2.5) for ratio in (0.6, 1.0))
    assert found.onset_s == pytest.approx((low + high) / 2.0, abs=2e-4)
    assert found.half_range_s == pytest.approx(abs(high - low) / 2.0, abs=2e-4)
    assert (found.mu_kinetic, found.method) == (None, "one_edge")
    variations = vary(case, PLANE, ONES, ONSET_S - 2.5, 3.0)
    assert [(one.name, one.layer, one.u_value) for one in variations[:-1]] == DISTANCES[kind]


def test_one_edge_without_an_onset_at_a_bound_has_none() -> None:
    case = Case("break_only", FIRST, None, ())
    assert solve(case, PLANE, ONES, BREAK - 0.01) == NoOnset("late")


def test_four_edges_measure_gap_and_length() -> None:
    found = solve(Case("four", FIRST, SECOND, ()), PLANE, ONES, ONSET_S - 2.5)
    assert isinstance(found, Solved)
    assert found.method == "four_edge"
    # From the start to the beam; and the length, without the slump of 1.5 mm.
    assert found.gap_mm == pytest.approx(6.5, abs=0.02)
    assert found.length_mm == pytest.approx(152.0, abs=0.02)


@pytest.mark.parametrize(
    ("gap", "slump", "to_break"), [(8.0, 1.5, 6.5), (2.0, 1.8, 0.3), (2.0, 1.6, 0.4)]
)
def test_slump_leaves_a_gap_of_its_own(gap: float, slump: float, to_break: float) -> None:
    found = geometry(gap_mm=gap, slump_mm=slump)
    assert found.to_break_mm == pytest.approx(to_break)
    assert found.to_clear_mm == gap + 152.0


@pytest.mark.parametrize(("gap", "may"), [(16.4, True), (16.6, False)])
def test_slump_may_reach_a_beam_within_three_u(gap: float, may: bool) -> None:
    # Slump of 1.5 mm; u of gap and slump together: √(3² + 4²) = 5 mm.
    assert geometry(gap_mm=gap).may_slump_through is may
    assert geometry().u_to_break_mm == 5.0


def u_mu_kinetic(edges: Sequence[float], u_angle_deg: float, u_time_s: float) -> float:
    """GUM's sum over the inputs of a run with one beam, by central differences.

    Inputs are gap and length in mm, the angle in degrees (which turns the whole ramp), and the
    time of both edges in s.
    """

    def kinetic(gap: float, length: float, angle_deg: float, late_s: float) -> float:
        turned_s = late_s + angle_deg / RATE
        both = [
            Moved(edges[0] + turned_s, gap),
            Moved(edges[1] + turned_s, gap + length),
        ]
        return fitted(both, RATE, (ONSET_S, MU_K))[1]

    exact = [6.5, 153.5, 0.0, 0.0]
    parts = []
    for place, u in enumerate([1.0, 4.0, u_angle_deg, u_time_s]):
        ends = []
        for sign in (-1.0, 1.0):
            moved = list(exact)
            moved[place] += sign * u / 10.0
            ends.append(kinetic(*moved))
        parts.append((ends[1] - ends[0]) * 5.0)
    return math.sqrt(sum(part * part for part in parts))


@pytest.mark.parametrize("u_level_deg", [0.02, 0.5])
def test_u_of_kinetic_friction_against_an_independent_propagation(u_level_deg: float) -> None:
    variances = [0.0] * 6 + [u_level_deg**2, 0.0]
    covariance = tuple(
        tuple(variances[row] if row == column else 0.0 for column in range(8)) for row in range(8)
    )
    used = calibration(covariance=covariance, u_filter_delay_ms=20.0)
    run = run_file(
        RATE,
        one_beam([BREAK, CLEAR]),
        calibration=used,
        gap_mm=6.5,
        bag_length_mm=153.5,
    )
    analysis = analyse_run(run)
    assert analysis.result.mu_kinetic == pytest.approx(MU_K, abs=1e-3)
    assert analysis.result.onset_angle_deg == pytest.approx(RATE * ONSET_S, abs=0.01)
    # Filter delay and the times of samples turn the ramp: 20 ms and 1.39 ms at 2 °/s.
    u_angle_deg = root_sum_square([u_level_deg, 0.04, 0.002776])
    assert analysis.result.u_mu_kinetic == pytest.approx(
        u_mu_kinetic([BREAK, CLEAR], u_angle_deg, 0.3e-3), rel=0.01
    )


def test_the_plane_covers_the_span_that_it_is_asked_for() -> None:
    made = ramp(pivot_s=0.0, offset_deg=1.0, slope_deg_s=RATE).plane(3.0, 4.0, 0.03)
    assert made.start_s == 3.0
    assert made.angle_deg(3.5) == pytest.approx(8.0)
    assert 4.0 <= made.end_s < 4.04
