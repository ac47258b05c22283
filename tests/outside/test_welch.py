"""Two means by Welch, and quantiles of t, against printed examples and scipy."""

import pytest
from scipy import stats

from rig.statistics.quantiles import t_p, t_quantile
from rig.statistics.welch import welch

# Extra sleep, Student (Biometrika 6, 1908), as carried by R as `sleep`.
SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)


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


@pytest.mark.parametrize(
    ("df", "t"), [(1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (16, 2.12), (50, 2.01)]
)
def test_coverage_factors_of_the_guide(df: int, t: float) -> None:
    # JCGM 100:2008, table G.2, 95 %.
    assert round(t_quantile(0.975, df), 2) == t
    assert t_p(t_quantile(0.975, df), df) == pytest.approx(0.05)
