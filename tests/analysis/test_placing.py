"""Blade against hand, quick against whole: when runs made in two ways may be taken together."""

from pathlib import Path

import msgspec
import numpy as np
import pytest
from scipy.stats import ttest_ind
from statsmodels.stats.weightstats import ttost_ind

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import make_groups
from rig.analysis.load import Analysis
from rig.analysis.onset.estimate import Method
from rig.analysis.placing import ENOUGH_RUNS, MARGIN_DEG, Equivalence, compare_ways
from rig.analysis.row import empty_row
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile
from tests.analysis.slides import one_beam, run_file, slide
from tests.runfile.example import header


def made(
    angle: float | None, placing: str, *, valid: bool = True, **changes: object
) -> RunAnalysis:
    top = msgspec.structs.replace(header(), placing=placing, source="rig", **changes)
    run = RunFile(
        path=Path("a.run.jsonl"), header=top, events=[], samples=[], climate=[], steps=[], end=None
    )
    row = msgspec.structs.replace(empty_row(run, []), valid=valid, onset_angle_deg=angle)
    return RunAnalysis(row, run)


def angles(seed: int, n: int, mean: float, sd: float = 0.3) -> list[float]:
    drawn: list[float] = np.random.default_rng(seed).normal(mean, sd, n).tolist()
    return drawn


def both(hand: list[float], blade: list[float]) -> Equivalence:
    runs = [made(a, "hand") for a in hand] + [made(a, "blade") for a in blade]
    found = compare_ways(runs)
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("seed", range(6))
def test_interval_and_equivalence_agree_with_independent_programs(seed: int) -> None:
    hand, blade = angles(seed, 12, 17.0), angles(100 + seed, 10, 17.2, 0.5)
    found = both(hand, blade)
    welch = ttest_ind(blade, hand, equal_var=False)
    low, high = welch.confidence_interval(0.95)
    assert found.lower_deg == pytest.approx(low, rel=1e-9)
    assert found.upper_deg == pytest.approx(high, rel=1e-9)
    p, *_ = ttost_ind(np.array(blade), np.array(hand), -MARGIN_DEG, MARGIN_DEG, usevar="unequal")
    assert found.p_equivalence == pytest.approx(p, rel=1e-9)


def test_alike_and_enough_runs_may_count() -> None:
    found = both(angles(1, 12, 17.0, 0.25), angles(2, 12, 17.0, 0.25))
    assert found.may_count
    assert "may count" in found.sentence()
    assert (found.n_usual, found.n_other) == (12, 12)


def test_too_few_do_not_count_however_alike() -> None:
    same = [17.0 + 0.01 * k for k in range(ENOUGH_RUNS - 1)]
    found = both(same, same)
    assert found.p_equivalence is not None
    assert found.p_equivalence < 0.001
    assert not found.may_count
    assert "at least 10 of each" in found.sentence()


@pytest.mark.parametrize(("hand", "blade"), [(10, 9), (9, 10), (10, 10)])
def test_ten_of_each_are_enough(hand: int, blade: int) -> None:
    # 17.0 and 17.1° in turns: far within the margin.
    found = both(
        [17.0 + 0.1 * (k % 2) for k in range(hand)], [17.0 + 0.1 * (k % 2) for k in range(blade)]
    )
    assert found.may_count is (hand == blade == 10)
    assert ("at least 10 of each" in found.sentence()) is not found.may_count


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(("off_deg", "counts"), [(0.41, True), (0.43, False), (0.6, False)])
def test_equivalent_within_half_a_degree_at_five_percent(
    sign: float, off_deg: float, counts: bool
) -> None:
    # ±0.1° ten times each: s² = 0.1/9, u = √(2·s²/10) = 0.0471405°, 18 degrees of freedom, where
    # Student's t for one side at 5 % is 1.73 (JCGM 100, table G.2, 90 %): the difference may be
    # 0.5 − 1.73·0.0471 = 0.418°.
    hand = [17.0 + 0.1 * (-1.0) ** k for k in range(10)]
    found = both(hand, [angle + sign * off_deg for angle in hand])
    assert found.u_difference_deg == pytest.approx(0.0471405, rel=1e-5)
    assert found.difference_deg == pytest.approx(sign * off_deg)
    assert found.may_count is counts
    # At 95 % it is 2.10 (the same table): 0.0990° either way.
    assert (found.lower_deg, found.upper_deg) == pytest.approx(
        (sign * off_deg - 0.09904, sign * off_deg + 0.09904), abs=1e-4
    )
    assert ("They differ" in found.sentence()) is not counts


@pytest.mark.parametrize(("off_deg", "p"), [(0.49, 0.0), (-0.49, 0.0), (0.51, 1.0), (-0.51, 1.0)])
def test_runs_without_scatter(off_deg: float, p: float) -> None:
    found = both([17.0] * 10, [17.0 + off_deg] * 10)
    assert (found.u_difference_deg, found.p_equivalence) == (0.0, p)
    assert found.may_count is (p == 0.0)


def test_no_difference_found_is_not_equivalence() -> None:
    found = both(angles(3, 10, 17.0, 1.2), angles(4, 10, 17.0, 1.2))
    assert found.lower_deg is not None
    assert found.upper_deg is not None
    assert found.lower_deg < 0 < found.upper_deg
    assert not found.may_count
    assert "Not shown to be equivalent" in found.sentence()


def test_a_difference_is_named() -> None:
    found = both(angles(5, 12, 17.0), angles(6, 12, 18.0))
    assert not found.may_count
    assert "They differ" in found.sentence()
    assert found.difference_deg == pytest.approx(1.0, abs=0.3)


def test_single_runs_give_the_difference_alone() -> None:
    found = both([17.0], [17.5, 17.6])
    assert found.u_difference_deg is None
    assert found.p_equivalence is None
    assert not found.may_count
    assert "two runs of each" in found.sentence()


def test_nothing_is_said_of_one_kind_alone_or_of_runs_that_do_not_belong_together() -> None:
    assert compare_ways([made(17.0, "hand"), made(17.1, "hand")]) == []
    assert compare_ways([made(17.0, "hand", bag="A"), made(17.1, "blade", bag="B")]) == []
    assert compare_ways([made(17.0, "hand", session="1"), made(17.1, "blade", session="2")]) == []
    assert compare_ways([made(17.0, "hand"), made(17.1, "blade", valid=False)]) == []
    assert compare_ways([made(17.0, "hand"), made(None, "blade")]) == []
    assert compare_ways([made(17.0, "hand"), made(17.1, "blade", rate_deg_s=2.0)]) == []
    assert compare_ways([made(17.0, "hand"), made(17.1, "blade", approach_deg=12.0)]) == []


@pytest.mark.parametrize(
    ("flags", "method", "counts"),
    [
        ([], "two_edge", True),
        (["gap_unknown"], "one_edge", False),
        (["gap_unknown"], "two_edge", True),
        (["creep"], "one_edge", True),
    ],
)
def test_a_clear_edge_alone_is_not_compared(
    flags: list[Flag], method: Method, counts: bool
) -> None:
    blade = made(17.1, "blade")
    row = msgspec.structs.replace(blade.result, flags=flags, onset_method=method)
    assert len(compare_ways([made(17.0, "hand"), blade._replace(result=row)])) == int(counts)


def test_readings_by_hand_are_not_compared() -> None:
    read = made(17.1, "blade")
    header = msgspec.structs.replace(read.run.header, source="hand")
    read = read._replace(run=msgspec.structs.replace(read.run, header=header))
    assert compare_ways([made(17.0, "hand"), read]) == []


def test_quick_approaches_are_compared_with_whole_raises_of_the_same_placing() -> None:
    whole = [made(a, "blade") for a in angles(7, 10, 17.0)]
    quick = [made(a, "blade", approach_deg=12.0) for a in angles(8, 10, 17.0)]
    (found,) = compare_ways(whole + quick)
    assert (found.usual, found.other) == ("whole", "quick")
    by_hand = [made(a, "hand") for a in angles(9, 10, 17.0)]
    kinds = [(found.usual, found.other) for found in compare_ways(by_hand + quick)]
    assert kinds == []


def test_the_groups_and_the_document_keep_both_kinds_apart() -> None:
    runs = []
    for k in range(4):
        true = slide(0.45, 0.4, 1.0, [8.0, 160.0])
        placing = "blade" if k % 2 else "hand"
        runs.append(analyse_run(run_file(1.0, one_beam(true.edges_s), placing=placing, seed=k)))
    groups = make_groups(runs)
    assert [group.result.n_runs for group in groups] == [2, 2]
    assert [group.result.scope.split(", ")[-1] for group in groups] == ["by hand", "by blade"]
    document = Analysis(runs, groups, []).document()
    assert [found["usual"] for found in document["comparisons"]] == ["hand"]
    assert "at least 10 of each" in document["comparisons"][0]["says"]
    one_kind = runs[::2]
    alone = Analysis(one_kind, make_groups(one_kind), [])
    assert "comparisons" not in alone.document()
    assert "by hand" not in alone.groups[0].scope
