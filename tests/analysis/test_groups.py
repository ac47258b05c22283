"""Which runs make a group, and its mean's uncertainty by arithmetic."""

import math
from typing import Any

import pytest
from scipy.special import ndtri, stdtr, stdtrit

from rig.analysis.friction import RunAnalysis
from rig.analysis.groups import Group, make_groups, trend_p
from tests.analysis.parts import analysis, component

A = {"bag": "A", "session": "s", "series": "1"}


def run(mu: float = 0.4, **changes: Any) -> RunAnalysis:
    """A run whose own part is 0.1° and whose shared parts are 0.3° and 0.4°."""
    parts = (
        component("ramp fit", 0.1, "run"),
        component("slump", 0.3, "series"),
        component("level", 0.4, "common"),
    )
    return analysis(mu, *parts, **(A | changes))


def in_air(session: str, temperature_c: float | None, humidity_pct: float | None) -> RunAnalysis:
    row = {"temperature_c": temperature_c, "relative_humidity_pct": humidity_pct}
    return run(session=session, row=row)


def alone(*runs: RunAnalysis) -> Group:
    (group,) = make_groups(runs)
    return group


@pytest.mark.parametrize(
    ("first", "second", "groups"),
    [
        ((20.0, 50.0), (22.0, 50.0), 1),
        ((20.0, 50.0), (22.1, 50.0), 2),
        ((20.0, 50.0), (18.0, 50.0), 1),
        ((20.0, 50.0), (17.9, 50.0), 2),
        ((20.0, 50.0), (20.0, 54.0), 1),
        ((20.0, 50.0), (20.0, 54.1), 2),
        ((20.0, 50.0), (20.0, 46.0), 1),
        ((20.0, 50.0), (20.0, 45.9), 2),
        ((20.0, 50.0), (None, 50.0), 2),
        ((None, 50.0), (20.0, 50.0), 2),
        ((20.0, None), (20.0, None), 1),
        ((None, None), (None, None), 1),
    ],
)
def test_sessions_in_like_air_are_one_group(
    first: tuple[float, float], second: tuple[float, float], groups: int
) -> None:
    assert len(make_groups([in_air("1", *first), in_air("2", *second)])) == groups


def test_a_session_is_judged_by_its_mean_and_kept_whole() -> None:
    # 20.5 and 23.9 °C on one day; the other day's 24.1 °C are 1.9 K from the mean.
    runs = [
        in_air("1", 20.5, 50.0),
        in_air("1", 23.9, 50.0),
        in_air("2", 24.1, 50.0),
        in_air("3", 26.0, 50.0),
    ]
    assert [group.result.n_runs for group in make_groups(runs)] == [3, 1]


@pytest.mark.parametrize(
    "changes",
    [
        {"bag": "B"},
        {"face": "slick"},
        {"set": "other"},
        {"board": "other"},
        {"treatment_stage": "washed"},
        {"rate_deg_s": 1.01},
        {"placing": "blade"},
        {"approach_deg": 12.0},
    ],
)
def test_what_differs_is_another_group(changes: dict[str, Any]) -> None:
    assert len(make_groups([run(), run(**changes)])) == 2
    assert len(make_groups([run(), run(series="2"), run(session="t"), run(slide_number=4)])) == 1


@pytest.mark.parametrize(
    ("row", "counts"),
    [
        ({}, True),
        ({"valid": False}, False),
        ({"mu_static": None}, False),
        ({"onset_angle_deg": None}, False),
        ({"flags": ["gap_unknown"], "onset_method": "one_edge"}, False),
        ({"flags": ["gap_unknown"], "onset_method": "two_edge"}, True),
        ({"flags": ["creep"], "onset_method": "one_edge"}, True),
    ],
)
def test_which_runs_count(row: dict[str, Any], counts: bool) -> None:
    assert len(make_groups([run(row=row)])) == int(counts)


def test_a_run_without_a_budget_does_not_count() -> None:
    assert make_groups([run(analysed={"budget": None})]) == []


def test_without_a_session_the_day_is_one() -> None:
    days = [run(session=None, started_at=f"2026-11-{day}T10:00:00Z") for day in (25, 25, 26)]
    assert alone(*days).result.n_sessions == 2


# Degrees to µ at 0.4: π/180·(1 + 0.16) = 0.0202458.
PER_DEG = math.radians(1.0) * 1.16


def test_one_series_scatters_by_its_runs() -> None:
    group = alone(*(run(mu) for mu in (0.39, 0.40, 0.41)))
    result = group.result
    assert (result.scope, result.n_series) == ("this mounting, this hour", 1)
    assert result.mean_mu_static == pytest.approx(0.40)
    # Standard deviation 0.01, over √3.
    assert result.u_repeat == pytest.approx(0.00577350, rel=1e-5)
    assert (result.u_series, group.dof_repeat) == (None, 2.0)
    # Mean of √(0.3² + 0.4²) = 0.5° at each run's angle.
    assert result.u_common == pytest.approx(0.5 * PER_DEG, rel=1e-3)
    # Welch–Satterthwaite: 2·(0.0057735² + 0.0101229²)²/0.0057735⁴ = 33.2, cut to 33.
    assert result.k == pytest.approx(float(stdtrit(33, 0.975)))
    assert result.expanded_mu_static == pytest.approx(result.k * 0.0116536, rel=1e-3)


def test_series_of_one_session_scatter_by_their_means() -> None:
    runs = [run(mu, series=s) for s, mu in (("1", 0.38), ("1", 0.40), ("2", 0.40), ("2", 0.42))]
    group = alone(*runs)
    result = group.result
    assert result.scope == "this session, 2 mountings"
    # Within the series 4·0.01² over 2 degrees of freedom: 0.0141421, times √(4·(1/4)²).
    assert result.u_repeat == pytest.approx(0.00707107, rel=1e-5)
    # Means 0.39 and 0.41: 0.0141421/√2 = 0.01, of which √(0.01² − 0.00707²) is of the series.
    assert result.u_series == pytest.approx(0.00707107, rel=1e-5)
    assert (group.dof_repeat, group.dof_series) == (2.0, 1.0)
    assert group.weights == [0.25] * 4
    # 1·(0.01² + 0.0101229²)²/0.01⁴ = 4.1 degrees of freedom, cut to 4.
    assert result.k == pytest.approx(float(stdtrit(4, 0.975)))
    assert result.expanded_mu_static == pytest.approx(
        result.k * math.hypot(0.01, result.u_common), rel=1e-6
    )


def test_series_that_agree_better_than_their_runs_add_nothing() -> None:
    runs = [run(mu, series=s) for s, mu in (("1", 0.38), ("1", 0.42), ("2", 0.38), ("2", 0.42))]
    result = alone(*runs).result
    assert result.u_series == 0.0
    # The larger of the two counts: 0.0282843·√(4·(1/4)²).
    assert result.u_repeat == pytest.approx(0.0141421, rel=1e-5)
    assert result.expanded_mu_static == pytest.approx(
        result.k * math.hypot(0.0141421, result.u_common), rel=1e-5
    )


def test_sessions_count_alike_whatever_they_hold() -> None:
    runs = [run(0.40, session="1"), run(0.50, session="2"), run(0.50, session="2")]
    group = alone(*runs)
    assert group.result.scope == "this bag face, 2 sessions"
    assert group.result.mean_mu_static == pytest.approx(0.45)
    assert group.result.mean_onset_angle_deg == pytest.approx((21.80141 + 26.56505) / 2.0)
    assert group.weights == [0.5, 0.25, 0.25]


def test_single_runs_have_the_scatter_of_their_budgets() -> None:
    result = alone(run(series="1"), run(series="2")).result
    # 0.1° each, half of each in the mean.
    assert result.u_repeat == pytest.approx(0.1 * PER_DEG / math.sqrt(2.0), rel=1e-6)
    one = alone(run()).result
    assert one.u_repeat == pytest.approx(0.1 * PER_DEG, rel=1e-6)
    assert one.k == pytest.approx(float(ndtri(0.975)))


def test_first_third_and_later_slides() -> None:
    mus = {1: 0.50, 2: 0.47, 3: 0.46, 4: 0.45, 5: 0.43, None: 0.30}
    result = alone(*(run(mu, slide_number=number) for number, mu in mus.items())).result
    assert (result.first, result.third, result.rest) == pytest.approx((0.50, 0.46, 0.44))


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_trend_of_four_slides(sign: float) -> None:
    # Slope 0.05, residuals ±0.01: s² = 4e-4/2, u = √(2e-4/5) = 0.00632456, t = 7.905694; with two
    # degrees of freedom p = 1 − t/√(t² + 2).
    values = [0.135, 0.165, 0.215, 0.285]
    points = [(float(slide), sign * value) for slide, value in enumerate(values)]
    assert trend_p([points]) == pytest.approx(0.0156260, rel=1e-5)
    # A series of one slide shows no trend.
    assert trend_p([points, [(7.0, 0.9)]]) == pytest.approx(0.0156260, rel=1e-5)
    # Two series with their own levels: slope 0.05, s² = 8e-4/5, u = √(1.6e-4/10), t = 12.5 of 5.
    other = [(slide, value + 0.4) for slide, value in points]
    assert trend_p([points, other]) == pytest.approx(2.0 * float(stdtr(5, -12.5)), rel=1e-6)


@pytest.mark.parametrize(
    ("series", "p"),
    [
        # Two degrees of freedom are the least.
        ([[(1.0, 0.1), (2.0, 0.2), (3.0, 0.2)]], None),
        ([[(1.0, 0.1), (2.0, 0.2)], [(1.0, 0.2), (2.0, 0.2)]], None),
        # All at one place.
        ([[(1.0, 0.1), (1.0, 0.2), (1.0, 0.3), (1.0, 0.4)]], None),
        # Without scatter: no trend, and a sure one.
        ([[(1.0, 0.5), (2.0, 0.5), (3.0, 0.5), (4.0, 0.5)]], 1.0),
        ([[(1.0, 0.25), (2.0, 0.5), (3.0, 0.75), (4.0, 1.0)]], 0.0),
    ],
)
def test_trends_without_a_test(series: list[list[tuple[float, float]]], p: float | None) -> None:
    assert trend_p(series) == p
