"""Checks of the material: two rates are compared, and a difference widens what it doubts."""

import json
import math
from collections.abc import Sequence

import msgspec
import numpy as np
import pytest
from scipy import stats

from rig.analysis.budget.parts import COMPARING
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import group_runs
from rig.analysis.load import Analysis, analysis_of
from rig.analysis.material import NAME, MaterialCheck, RatedSlide, material_checks, rated_slides
from rig.analysis.placing import compare_ways
from tests.analysis.slides import one_beam, run_file, slide

FACE = ("A", "slick", "birch", "baseline")


@pytest.fixture(scope="module")
def base() -> RunAnalysis:
    true = slide(0.4, 0.3, 1.0, [8.0, 160.0])
    return analyse_run(run_file(1.0, one_beam(true.edges_s)))


def measure(
    angles: Sequence[float], rate: float, *, check: bool = False, session: str = "a", u: float = 0.0
) -> list[RatedSlide]:
    return [RatedSlide(FACE, session, rate, angle, u, check) for angle in angles]


def only(slides: Sequence[RatedSlide]) -> MaterialCheck:
    (found,) = material_checks(slides)
    return found


def test_the_difference_is_welchs_with_what_the_edges_leave_open() -> None:
    slow, fast = [20.1, 20.3, 19.9, 20.2], [20.9, 21.4, 21.0]
    plain = only([*measure(slow, 0.3), *measure(fast, 1.0, check=True)])
    t = stats.ttest_ind(fast, slow, equal_var=False)
    interval = t.confidence_interval()
    assert (plain.lower_deg, plain.upper_deg) == pytest.approx(tuple(interval))
    assert plain.difference_deg == pytest.approx(np.mean(fast) - np.mean(slow))
    assert (plain.n_runs, plain.n_checks) == (4, 3)
    both = only([*measure(slow, 0.3, u=0.05), *measure(fast, 1.0, check=True, u=0.12)])
    u = math.sqrt(plain.u_difference_deg**2 + 0.05**2 + 0.12**2)
    assert both.u_difference_deg == pytest.approx(u)


def test_an_error_that_grows_as_the_cube_root_of_the_rate_is_as_likely_none_as_all() -> None:
    """k·rate^(1/3) moves 0.3 °/s by k·0.669; the difference to 1 °/s then is k·0.331."""
    k = 0.9
    slow, fast = [20.0 + k * 0.3 ** (1 / 3)] * 3, [20.0 + k] * 3
    check = only([*measure(slow, 0.3), *measure(fast, 1.0, check=True)])
    assert check.widens_deg == pytest.approx(k * 0.3 ** (1 / 3) / math.sqrt(3.0))
    # The other way round: measured at 1 °/s and checked at 0.3.
    check = only([*measure(fast, 1.0), *measure(slow, 0.3, check=True)])
    assert check.widens_deg == pytest.approx(k / math.sqrt(3.0))
    assert check.difference_deg < 0.0


def test_a_difference_within_its_own_uncertainty_changes_nothing() -> None:
    slow, fast = [20.0, 20.4], [20.2, 20.6]
    check = only([*measure(slow, 0.3), *measure(fast, 1.0, check=True)])
    assert 0.0 < check.difference_deg < check.u_difference_deg
    assert check.widens_deg == 0.0
    assert "no more than chance" in check.sentence()


@pytest.mark.parametrize(
    "slides",
    [
        measure([20.0, 20.1], 0.3),
        measure([20.0, 20.1], 1.0, check=True),
        [*measure([20.0, 20.1], 0.3), *measure([20.5], 1.0, check=True)],
        [*measure([20.0], 0.3), *measure([20.5, 20.6], 1.0, check=True)],
        [*measure([20.0, 20.1], 0.3), *measure([20.5, 20.6], 1.0, check=True, session="b")],
        [*measure([20.0, 20.1], 1.0), *measure([20.5, 20.6], 1.0, check=True)],
    ],
)
def test_without_two_slides_at_each_of_two_rates_in_a_session_there_is_no_check(
    slides: list[RatedSlide],
) -> None:
    assert material_checks(slides) == []


def test_sessions_are_averaged_and_their_systematic_part_is_not() -> None:
    parts = [
        *measure([20.0, 20.2], 0.3, u=0.1),
        *measure([20.6, 20.8], 1.0, check=True, u=0.1),
        *measure([22.0, 22.2], 0.3, session="b", u=0.1),
        *measure([22.2, 22.4], 1.0, check=True, session="b", u=0.1),
    ]
    check, one = only(parts), only(parts[:4])
    assert check.difference_deg == pytest.approx(0.4)
    assert check.u_difference_deg == pytest.approx(one.u_difference_deg)
    assert (check.n_runs, check.n_checks) == (4, 4)


def made(base: RunAnalysis, level: Sequence[float], checks: Sequence[float]) -> Analysis:
    """The analysis of runs of one face at two rates."""

    def run(angle: float, **more: object) -> RunAnalysis:
        assert base.budget is not None
        row = msgspec.structs.replace(
            base.result, bag="A", face="slick", session="a", onset_angle_deg=angle, **more
        )
        budget = msgspec.structs.replace(base.budget, onset_angle_deg=angle)
        return base._replace(result=row, budget=budget)

    runs = [run(angle, rate_deg_s=0.3) for angle in level]
    runs += [run(angle, rate_deg_s=1.0, purpose="check") for angle in checks]
    return analysis_of(runs, [])


def test_a_check_widens_the_angles_and_never_moves_them(base: RunAnalysis) -> None:
    level = [20.0, 20.1, 20.2]
    found, plain = made(base, level, [21.0, 21.1, 21.2]), made(base, level, [])
    (check,) = found.checks
    assert check.widens_deg > 0.5
    assert [run.result.onset_angle_deg for run in found.runs[:3]] == level
    assert [g.mean_onset_angle_deg for g in found.groups] == [
        g.mean_onset_angle_deg for g in plain.groups
    ]
    for run, before in zip(found.runs, plain.runs, strict=False):
        assert run.budget is not None
        assert before.budget is not None
        u, u_before = run.result.u_onset_angle_deg, before.budget.u_onset_angle_deg(COMPARING)
        assert u == pytest.approx(math.hypot(u_before, check.widens_deg))
        assert run.result.friction_law == "checked"
    assert before.result.friction_law == "stated_range"
    assert NAME in [part.name for part in found.runs[0].budget.components]  # type: ignore[union-attr]
    (document,) = found.document()["material_checks"]
    assert document["widens_deg"] == check.widens_deg
    assert "no angle is corrected" in document["says"]
    json.dumps(document)


def test_runs_that_check_enter_no_mean_and_no_comparison_of_ways(base: RunAnalysis) -> None:
    found = made(base, [20.0, 20.1], [21.0, 21.1, 21.2])
    (group,) = group_runs(found.runs)
    assert (group.n_runs, group.rate_deg_s) == (2, 0.3)
    quick = [
        run._replace(
            run=msgspec.structs.replace(
                run.run, header=msgspec.structs.replace(run.run.header, approach_deg=15.0)
            )
        )
        for run in found.runs[2:]
    ]
    same_rate = [
        run._replace(result=msgspec.structs.replace(run.result, rate_deg_s=1.0))
        for run in found.runs[:2]
    ]
    assert compare_ways([*same_rate, *quick]) == []
    level = [r._replace(result=msgspec.structs.replace(r.result, purpose=None)) for r in quick]
    assert len(compare_ways([*same_rate, *level])) == 1


def test_only_runs_of_a_rig_that_count_are_measured(base: RunAnalysis) -> None:
    row = msgspec.structs.replace(base.result, onset_angle_deg=20.0)
    others = (
        msgspec.structs.replace(row, valid=False),
        msgspec.structs.replace(row, onset_angle_deg=None),
        msgspec.structs.replace(row, onset_method="by_hand"),
    )
    assert rated_slides(others) == []
    assert [one.angle_deg for one in rated_slides([row])] == [20.0]


def test_nothing_is_no_line(base: RunAnalysis) -> None:
    found = made(base, [20.0, 20.4], [20.1, 20.5])
    assert found.checks[0].widens_deg == 0.0
    for run in found.runs:
        assert run.budget is not None
        assert NAME not in [part.name for part in run.budget.components]
        assert run.result.friction_law == "checked"
