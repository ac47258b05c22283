"""Analysis of variance against certified values: NIST StRD, one-way (data come with scipy)."""

import re
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.anova import anova_lm

from rig.study.anova import one_way, split_plot

FOLDER = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
FIGURE = r"([-+]?\d+\.\d+(?:[Ee][-+]?\d+)?|\d+)"

# Digits that agree. The data of the sets 04–06 carry 7 constant leading digits and those of 07–09
# carry 13, so that a double keeps only 9 and 3 digits of what varies: more can't be had.
DIGITS = {
    "SiRstv": 1e-11,
    "AtmWtAg": 1e-9,
    "SmLs01": 1e-12,
    "SmLs02": 1e-12,
    "SmLs03": 1e-12,
    "SmLs04": 1e-8,
    "SmLs05": 1e-8,
    "SmLs06": 1e-8,
    "SmLs07": 3e-2,
    "SmLs08": 3e-2,
    "SmLs09": 3e-2,
}


def nist(name: str) -> tuple[list[list[float]], dict[str, float]]:
    """Groups of a set, and its certified values."""
    lines = (FOLDER / f"{name}.dat").read_text().splitlines()
    data = np.array([line.split() for line in lines[60:] if line.strip()], dtype=float)
    groups = [data[data[:, 0] == label, 1].tolist() for label in np.unique(data[:, 0])]
    text = "\n".join(lines[:60])
    between = re.search(rf"Between \w+\s+(\d+)\s+{FIGURE}\s+{FIGURE}\s+{FIGURE}", text)
    within = re.search(rf"Within \w+\s+(\d+)\s+{FIGURE}\s+{FIGURE}", text)
    assert between is not None
    assert within is not None
    r_squared = re.search(rf"R-Squared\s+{FIGURE}", text)
    deviation = re.search(rf"Standard Deviation\s+{FIGURE}", text)
    assert r_squared is not None
    assert deviation is not None
    return groups, {
        "df_between": float(between[1]),
        "ss_between": float(between[2]),
        "f": float(between[4]),
        "df_within": float(within[1]),
        "ss_within": float(within[2]),
        "r_squared": float(r_squared[1]),
        "residual_sd": float(deviation[1]),
    }


@pytest.mark.parametrize("name", DIGITS)
def test_certified_one_way(name: str) -> None:
    groups, certified = nist(name)
    found = one_way(groups)
    for key, value in certified.items():
        assert getattr(found, key) == pytest.approx(value, rel=DIGITS[name]), key


def test_hardwood_tensile_strength() -> None:
    # Montgomery and Runger, Applied Statistics and Probability for Engineers: paper strength
    # against hardwood concentration; the printed table has SS 382.79 and 130.17, F = 19.61. The
    # data are from memory; they give every printed digit.
    found = one_way(
        [
            [7, 8, 15, 11, 9, 10],
            [12, 17, 13, 18, 19, 15],
            [14, 18, 19, 17, 16, 18],
            [19, 25, 22, 23, 18, 20],
        ]
    )
    assert (round(found.ss_between, 2), round(found.ss_within, 2)) == (382.79, 130.17)
    assert round(found.f, 2) == 19.61
    assert (found.df_between, found.df_within) == (3, 20)


@pytest.mark.filterwarnings("ignore:The design matrix is rank-deficient")
@pytest.mark.parametrize("seed", range(4))
def test_split_plot_against_statsmodels_type_two(seed: int) -> None:
    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(seed)
    rows = [
        (f"b{b}", f"t{b % 3}", f"c{c}", rng.normal(b % 3, 1.0) + 0.5 * c * (b % 3))
        for b in range(9)
        for c in range(3)
        if rng.random() > 0.15 or c == 0
    ]
    frame = pd.DataFrame(rows, columns=["bag", "group", "climate", "y"])
    ours = {
        term.name: term
        for term in split_plot(*(frame[name].tolist() for name in ("y", "group", "bag", "climate")))
    }
    # With bags as fixed effects the interaction and the climate are tested inside bags.
    full = smf.ols("y ~ C(bag) + C(climate)", frame).fit()
    table = anova_lm(full, typ=2)
    assert ours["climate"].sum_of_squares == pytest.approx(table.loc["C(climate)", "sum_sq"])
    with_interaction = smf.ols("y ~ C(bag) + C(climate) + C(group):C(climate)", frame).fit()
    assert ours["rest"].sum_of_squares == pytest.approx(with_interaction.ssr)
    assert ours["treatment × climate"].sum_of_squares == pytest.approx(
        full.ssr - with_interaction.ssr
    )
    groups = smf.ols("y ~ C(climate) + C(group)", frame).fit()
    between = anova_lm(groups, typ=2)
    assert ours["treatment"].sum_of_squares == pytest.approx(between.loc["C(group)", "sum_sq"])
    bags = ours["bag within treatment"]
    assert bags.sum_of_squares == pytest.approx(groups.ssr - full.ssr)
    f = (ours["treatment"].sum_of_squares / ours["treatment"].df) / (bags.sum_of_squares / bags.df)
    assert ours["treatment"].f == pytest.approx(f)
