"""Comparisons of means against printed examples, and against scipy and statsmodels."""

import numpy as np
import pytest
from scipy import stats

from rig.statistics.quantiles import studentized_range, t_p, t_quantile
from rig.statistics.welch import welch
from rig.study.outliers import grubbs_critical, grubbs_statistic
from rig.study.tukey import tukey_kramer

HARDWOOD = {
    "5": [7.0, 8, 15, 11, 9, 10],
    "10": [12.0, 17, 13, 18, 19, 15],
    "15": [14.0, 18, 19, 17, 16, 18],
    "20": [19.0, 25, 22, 23, 18, 20],
}
# Extra sleep, Student (Biometrika 6, 1908), as carried by R as `sleep`.
SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)


def test_tukey_hardwood() -> None:
    # Montgomery and Runger, Applied Statistics and Probability for Engineers, hardwood and strength
    # of paper: the printed (Minitab) intervals, made with q rounded to 3.96, which is worth 0.0017.
    # The data are from memory; they give every printed digit.
    printed = {
        ("5", "10"): (1.542, 9.791),
        ("5", "15"): (2.876, 11.124),
        ("5", "20"): (7.042, 15.291),
        ("10", "15"): (-2.791, 5.458),
        ("10", "20"): (1.376, 9.624),
        ("15", "20"): (0.042, 8.291),
    }
    pairs = tukey_kramer(HARDWOOD)
    assert round(studentized_range(0.95, 4, 20.0), 2) == 3.96
    for pair in pairs:
        low, high = printed[pair.first, pair.second]
        assert pair.lower == pytest.approx(low, abs=0.0025)
        assert pair.upper == pytest.approx(high, abs=0.0025)
    assert [(p.first, p.second) for p in pairs if not p.differs] == [("10", "15")]


@pytest.mark.parametrize("seed", range(5))
def test_tukey_kramer_against_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    groups = {f"g{i}": rng.normal(i * 0.3, 1.0, rng.integers(2, 9)).tolist() for i in range(4)}
    theirs = stats.tukey_hsd(*groups.values())
    low, high = map(np.asarray, theirs.confidence_interval(0.95))
    names = list(groups)
    for pair in tukey_kramer(groups):
        i, j = names.index(pair.second), names.index(pair.first)
        assert pair.p == pytest.approx(theirs.pvalue[i, j], abs=1e-6)
        assert pair.lower == pytest.approx(low[i, j], abs=1e-6)
        assert pair.upper == pytest.approx(high[i, j], abs=1e-6)


def test_welch_sleep() -> None:
    # R's documentation of t.test prints t = -1.8608, df = 17.776, p = 0.07939 and the interval
    # -3.3654832 … 0.2054832 (from memory; scipy gives the same t, df and p).
    found = welch(SLEEP[1], SLEEP[0])
    assert found is not None
    assert found.difference / found.u == pytest.approx(-1.8608, abs=5e-5)
    assert found.df == pytest.approx(17.776, abs=5e-4)
    assert found.p == pytest.approx(0.07939, abs=5e-6)
    assert found.interval() == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)
    assert found.p == pytest.approx(stats.ttest_ind(*SLEEP, equal_var=False).pvalue, rel=1e-9)


def test_welch_needs_two_values_each() -> None:
    assert welch([1.0], [2.0, 3.0]) is None


def test_welch_without_scatter() -> None:
    same, other = welch([1.0, 1.0], [1.0, 1.0]), welch([1.0, 1.0], [2.0, 2.0])
    assert same is not None
    assert other is not None
    assert (same.p, other.p) == (1.0, 0.0)
    assert other.interval() == (1.0, 1.0)


def test_grubbs_uranium() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.17.1 (data of Tietjen and Moore, 1972): G = 2.4687, critical
    # 2.032 for the upper one-tailed test at 5 %.
    data = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    g, place = grubbs_statistic(data)
    assert g == pytest.approx(2.4687, abs=1e-4)  # printed cut off, not rounded
    assert data[place] == 245.57
    assert round(grubbs_critical(8, 0.05, sides=1), 3) == 2.032


@pytest.mark.parametrize(
    ("df", "t"), [(1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (16, 2.12), (50, 2.01)]
)
def test_coverage_factors_of_the_guide(df: int, t: float) -> None:
    # JCGM 100:2008, table G.2, 95 %.
    assert round(t_quantile(0.975, df), 2) == t
    assert t_p(t_quantile(0.975, df), df) == pytest.approx(0.05)
