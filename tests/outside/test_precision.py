"""Repeatability and reproducibility against ISO 5725-2:1994, annex B, example 1, from memory.

Sulfur content of coal in per cent by mass, four levels, eight laboratories, three to five results
each; the standard's table gives m, s_r and s_R to three decimals.
"""

import pytest
from scipy.stats import f_oneway

from rig.statistics.precision import precision_of

SULFUR: dict[int, list[list[float]]] = {
    1: [
        [0.71, 0.71, 0.70, 0.71],
        [0.69, 0.67, 0.68],
        [0.66, 0.65, 0.69],
        [0.67, 0.65, 0.66],
        [0.70, 0.69, 0.66, 0.71, 0.69],
        [0.73, 0.74, 0.73],
        [0.71, 0.71, 0.69],
        [0.70, 0.65, 0.68],
    ],
    3: [
        [1.68, 1.70, 1.68, 1.69],
        [1.64, 1.64, 1.65],
        [1.61, 1.61, 1.62],
        [1.68, 1.66, 1.66],
        [1.64, 1.67, 1.60, 1.66, 1.68],
        [1.70, 1.73, 1.73],
        [1.69, 1.70, 1.68],
        [1.67, 1.68, 1.67],
    ],
}
STATED = {1: (0.690, 0.015, 0.026), 3: (1.667, 0.017, 0.035)}


@pytest.mark.parametrize("level", SULFUR)
def test_sulfur_content_of_coal(level: int) -> None:
    cells = {str(lab): results for lab, results in enumerate(SULFUR[level], start=1)}
    found = precision_of(cells)
    assert found is not None
    assert found.n_labs == 8
    mean, s_r, s_r_cap = STATED[level]
    assert found.mean == pytest.approx(mean, abs=0.0005)
    assert found.s_r == pytest.approx(s_r, abs=0.0005)
    assert found.s_r_cap == pytest.approx(s_r_cap, abs=0.0005)


@pytest.mark.parametrize("level", SULFUR)
def test_the_analysis_of_variance_is_that_of_scipy(level: int) -> None:
    cells = SULFUR[level]
    found = precision_of({str(lab): results for lab, results in enumerate(cells)})
    assert found is not None
    total = sum(map(len, cells))
    each = (total - sum(len(of) ** 2 for of in cells) / total) / 7.0
    ratio = each * found.s_l**2 / found.s_r**2 + 1.0
    assert ratio == pytest.approx(f_oneway(*cells).statistic, rel=1e-9)


def test_places_that_agree_too_well_do_not_scatter() -> None:
    found = precision_of({"a": [1.0, 3.0], "b": [2.0, 2.0]})
    assert found is not None
    assert found.s_l == 0.0
    assert found.s_r_cap == found.s_r


@pytest.mark.parametrize("cells", [{}, {"a": [1.0, 2.0]}, {"a": [1.0], "b": [2.0]}])
def test_too_little_says_nothing(cells: dict[str, list[float]]) -> None:
    assert precision_of(cells) is None
