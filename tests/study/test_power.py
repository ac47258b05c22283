import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from statsmodels.stats.power import TTestIndPower

from rig.errors import BadInputError
from rig.study.power import Design, Scatter, needed, power_of, two_sided_power, u_effect_deg

SCATTER = Scatter(run_deg=0.3, series_deg=0.2, bag_stage_deg=0.1)
DESIGN = Design(bags=3, controls=4, series=2, runs=5)


@settings(max_examples=30, deadline=None)
@given(
    st.integers(2, 60),
    st.integers(2, 60),
    st.floats(0.0, 3.0),
    st.sampled_from([0.01, 0.05, 0.1]),
)
def test_power_is_that_of_statsmodels(n1: int, n2: int, effect: float, alpha: float) -> None:
    """Oracle: statsmodels' power of the two-sided t-test of two independent groups."""
    ours = two_sided_power(effect / np.sqrt(1 / n1 + 1 / n2), n1 + n2 - 2, alpha)
    theirs = TTestIndPower().power(effect, n1, alpha, ratio=n2 / n1)
    if np.isfinite(theirs):  # its noncentral t fails at large effects
        assert ours == pytest.approx(theirs, abs=1e-9)


def test_power_of_a_published_example() -> None:
    """Cohen's table (Statistical Power Analysis, 1988; from memory): d = 0.5, n = 64: 0.80."""
    assert two_sided_power(0.5 * np.sqrt(32), 126, 0.05) == pytest.approx(0.80, abs=0.005)


@pytest.mark.parametrize("dof", [1, 2, 5, 50, 400])
def test_power_reaches_one_and_begins_at_alpha(dof: int) -> None:
    assert two_sided_power(0.0, dof, 0.05) == pytest.approx(0.05, abs=1e-10)
    values = [two_sided_power(shift, dof, 0.05) for shift in (0, 1, 3, 10, 30, 100, 1e4)]
    assert values == sorted(values)
    assert values[-1] == pytest.approx(1.0, abs=1e-9)


def test_power_of_a_design_is_what_simulated_studies_find() -> None:
    """20,000 studies made of bags, series and runs, each judged by a t-test on the changes."""
    from scipy import stats

    random = np.random.default_rng(3)
    n, difference = 20_000, 0.4

    def changes(bags: int, shift: float) -> np.ndarray:
        means = []
        for _ in range(2):
            bag = random.normal(0.0, SCATTER.bag_stage_deg, (n, bags, 1, 1))
            series = random.normal(0.0, SCATTER.series_deg, (n, bags, DESIGN.series, 1))
            run = random.normal(0.0, SCATTER.run_deg, (n, bags, DESIGN.series, DESIGN.runs))
            means.append((bag + series + run).mean(axis=(2, 3)))
        return np.asarray(means[1] - means[0] + shift)

    treated, controls = changes(DESIGN.bags, difference), changes(DESIGN.controls, 0.0)
    found = stats.ttest_ind(treated, controls, axis=1).pvalue < 0.05
    estimate = treated.mean(axis=1) - controls.mean(axis=1)
    assert np.std(estimate) == pytest.approx(u_effect_deg(SCATTER, DESIGN), rel=0.02)
    expected = power_of(difference, SCATTER, DESIGN)
    assert np.mean(found) == pytest.approx(expected, abs=4 * np.sqrt(0.25 / n))


def test_what_is_needed_is_just_enough() -> None:
    answer = needed(0.5, SCATTER, DESIGN)
    for name in ("series", "bags"):
        least = getattr(answer, name)
        assert least is not None
        for count, enough in ((least, True), (least - 1, False)):
            changed = replace(DESIGN, **{name: count})
            if name == "bags":
                changed = replace(changed, controls=max(count, DESIGN.controls))
            if count:
                assert (power_of(0.5, SCATTER, changed) >= 0.8) == enough
    at = answer.detectable_deg
    assert power_of(at, SCATTER, DESIGN) == pytest.approx(0.8, abs=1e-6)
    assert answer.cheapest is not None
    assert power_of(0.5, SCATTER, answer.cheapest) >= 0.8
    assert answer.cheapest_h is not None
    assert answer.cheapest_h > 0.0


def test_bags_that_differ_are_not_helped_by_runs() -> None:
    scatter = replace(SCATTER, bag_stage_deg=0.6)
    answer = needed(0.5, scatter, DESIGN)
    assert (answer.runs, answer.series) == (None, None)
    assert answer.bags_at_least is not None
    assert answer.bags is not None
    assert DESIGN.bags < answer.bags_at_least <= answer.bags


def test_several_treatments_pool_their_scatter() -> None:
    pooled = replace(DESIGN, treatments=3)
    assert (DESIGN.dof, pooled.dof) == (5, 9)
    assert power_of(0.4, SCATTER, pooled) > power_of(0.4, SCATTER, DESIGN)


def test_one_bag_and_one_control_cannot_be_judged() -> None:
    single = Design(bags=1, controls=1, series=5, runs=5)
    with pytest.raises(BadInputError, match="add a bag"):
        power_of(1.0, SCATTER, single)
    answer = needed(1.0, SCATTER, single)
    assert answer.power == 0.0
    assert answer.detectable_deg == float("inf")
    assert answer.runs is None
    assert answer.bags is not None


@pytest.mark.parametrize(
    ("difference", "change", "power", "says"),
    [
        (0.0, {}, 0.8, "must be more than 0°"),
        (0.5, {"runs": 0}, 0.8, "at least one bag, control, series and run"),
        (0.5, {}, 0.04, "alpha below the power"),
        (0.5, {}, 1.0, "between 0 and 1"),
    ],
)
def test_nonsense_is_refused(
    difference: float, change: dict[str, int], power: float, says: str
) -> None:
    with pytest.raises(BadInputError, match=says):
        needed(difference, SCATTER, replace(DESIGN, **change), power=power)
    with pytest.raises(BadInputError, match="less than 0°"):
        needed(0.5, replace(SCATTER, run_deg=-0.1), DESIGN)
