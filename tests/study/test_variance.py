import numpy as np
import pytest
from msgspec import structs

from rig.errors import BadInputError
from rig.statistics.quantiles import f_p, t_p, t_quantile
from rig.statistics.satterthwaite import Satterthwaite
from rig.study.anova import one_way, regress, split_plot
from rig.study.outliers import LEAST, outliers
from rig.study.precision import layers_of, precision
from rig.study.trend import trend
from rig.study.variance import Factor, components, pooled
from tests.study.rows_example import make_rows


def test_sum_of_components_equals_a_mean_square_for_balanced_data() -> None:
    rng = np.random.default_rng(2)
    bag = np.repeat(np.arange(6), 8).tolist()
    y = (rng.normal(0, 1, 6)[bag] + rng.normal(0, 0.3, 48)).tolist()
    found = components(y, [Factor(name="bag", labels=bag)])
    # The variance of one bag's mean of 8 runs is the bags' mean square over 8, with 5 df.
    total = found.combine({"bag": 1.0, "run": 1.0 / 8})
    mean_square = found["bag"].mean_square
    assert mean_square is not None
    assert total.variance == pytest.approx(mean_square / 8)
    assert total.df == pytest.approx(5)


def test_negative_components_are_taken_as_none() -> None:
    found = components(
        [1.0, 3.0, 1.0, 3.0, 1.0, 3.0], [Factor(name="bag", labels=["a", "a", "b", "b", "c", "c"])]
    )
    assert found["bag"].raw_variance == pytest.approx(-1.0)
    assert found.variance("bag") == 0.0
    assert found.combine({"bag": 1.0}).variance == 0.0


def test_a_layer_without_repeats_is_unknown() -> None:
    found = components([1.0, 2.0, 3.0], [Factor(name="bag", labels=["a", "b", "c"])])
    assert found.variance("run") is None
    assert found.variance("no such") is None


def test_pooled() -> None:
    variance, df = pooled([[1.0, 3.0], [10.0, 14.0], [5.0]])
    assert variance == pytest.approx(5.0)
    assert df == 2
    assert pooled([[1.0]])[1] == 0


def test_satterthwaite() -> None:
    total = Satterthwaite().add(2.0, 4).add(1.0, 8)
    assert total.df == pytest.approx(9.0 / (4.0 / 4 + 1.0 / 8))
    assert Satterthwaite().add(1.0, float("inf")).df == float("inf")
    assert Satterthwaite().add(1.0, 0).df == 0.0
    assert t_quantile(0.975, 0) == float("inf")
    assert t_p(5.0, 0) == 1.0
    assert f_p(0.0, 2, 3) == 1.0


def test_layers_come_back() -> None:
    rng = np.random.default_rng(4)
    rows = make_rows(bags=("T1", "T2", "T3", "C1", "C2"), airs=tuple(range(30, 60)), runs=3)
    session = {key: rng.normal(0, 0.6) for key in {(r.bag, r.session) for r in rows}}
    series = {key: rng.normal(0, 0.4) for key in {r.series for r in rows}}
    angles = [20 + session[r.bag, r.session] + series[r.series] + rng.normal(0, 0.2) for r in rows]
    found = precision(layers_of(rows, angles, [""] * len(rows)))
    assert found.s_repeatability_deg == pytest.approx(0.2, rel=0.1)
    assert found.s_series_deg == pytest.approx(np.hypot(0.2, 0.4), rel=0.1)
    assert found.s_session_deg == pytest.approx(np.sqrt(0.04 + 0.16 + 0.36), rel=0.12)
    assert found.repeatability_limit_deg == pytest.approx(2.8 * 0.2, rel=0.1)


def test_one_series_has_no_wider_precision() -> None:
    rows = make_rows(bags=("T1",), stages=("baseline",), airs=(50.0,), series=1, noise_deg=0.2)
    found = precision(layers_of(rows, [r.onset_angle_deg for r in rows], [""] * len(rows)))
    assert found.s_repeatability_deg is not None
    assert found.s_series_deg is None
    assert found.s_session_deg is None
    assert found.intermediate_limit_deg is None


def test_trend_is_within_series() -> None:
    rows = make_rows(noise_deg=0.05, runs=6)
    assert trend(rows).p > 0.01  # type: ignore[union-attr]
    settling = [
        structs.replace(row, onset_angle_deg=row.onset_angle_deg - 0.1 * (row.slide_number or 0))
        for row in rows
    ]
    found = trend(settling)
    assert found is not None
    assert found.slope_deg_per_slide == pytest.approx(-0.1, abs=0.01)
    assert found.p < 1e-6
    assert trend(rows[:1]) is None


def test_outliers_are_shown_from_six_runs_on() -> None:
    rows = make_rows(bags=("T1",), stages=("baseline",), airs=(50.0,), runs=8, noise_deg=0.1)
    assert outliers(rows) == []
    spoilt = [
        structs.replace(row, onset_angle_deg=row.onset_angle_deg + 2.0) if i == 4 else row
        for i, row in enumerate(rows)
    ]
    (found,) = outliers(spoilt)
    assert found.run_id == "run 4"
    assert found.deviation_deg > 1.5
    assert outliers(spoilt[: LEAST - 1]) == []


def test_bad_input() -> None:
    with pytest.raises(BadInputError, match="two groups or more"):
        one_way([[1.0, 2.0]])
    with pytest.raises(BadInputError, match="too few"):
        regress([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(BadInputError, match="does not vary"):
        regress([1.0, 2.0, 3.0, 4.0], [5.0, 5.0, 5.0, 5.0])
    with pytest.raises(BadInputError, match="vary together"):
        regress([1.0, 2.0, 3.0, 5.0], [1.0, 2.0, 3.0, 4.0], [2.0, 4.0, 6.0, 8.0])


def test_split_plot_of_one_bag_each_has_no_error_between_bags() -> None:
    terms = split_plot(
        [1.0, 2.0, 1.5, 2.7], ["t", "t", "c", "c"], ["a", "a", "b", "b"], [1, 2, 1, 2]
    )
    lines = {term.name: term for term in terms}
    assert lines["bag within treatment"].df == 0
    assert lines["treatment"].f is None
    assert lines["rest"].df == 0
