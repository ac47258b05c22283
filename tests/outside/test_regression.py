"""Regression against certified values: NIST StRD Norris and Longley."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from rig.study.anova import regress


def test_norris() -> None:
    folder = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress"
    lines = (folder / "Norris.dat").read_text().splitlines()[60:]
    y, x = np.array([line.split() for line in lines if line.strip()], dtype=float).T
    found = regress(y.tolist(), x.tolist())
    assert found.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-11)
    assert found.standard_errors == pytest.approx(
        (0.232818234301152, 0.429796848199937e-3), rel=1e-11
    )
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)
    assert found.r_squared == pytest.approx(0.999993745883712, rel=1e-12)
    assert found.f == pytest.approx(5436385.54079785, rel=1e-9)


def test_longley() -> None:
    # J. W. Longley (JASA 62, 1967), data as carried by statsmodels; NIST StRD certifies the values.
    from statsmodels.datasets import longley

    data = longley.load_pandas().data
    names = ["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]
    found = regress(data["TOTEMP"].tolist(), *(data[name].tolist() for name in names))
    certified = (
        (-3482258.63459582, 890420.383607373),
        (15.0618722713733, 84.9149257747669),
        (-0.358191792925910e-1, 0.334910077722432e-1),
        (-2.02022980381683, 0.488399681651699),
        (-1.03322686717359, 0.214274163161675),
        (-0.511041056535807e-1, 0.226073200069370),
        (1829.15146461355, 455.478499142212),
    )
    for i, (value, error) in enumerate(certified):
        assert found.coefficients[i] == pytest.approx(value, rel=1e-9)
        assert found.standard_errors[i] == pytest.approx(error, rel=1e-9)
    assert found.residual_sd == pytest.approx(304.854073561965, rel=1e-9)
    assert found.r_squared == pytest.approx(0.995479004577296, rel=1e-10)
    assert found.f == pytest.approx(330.285339234588, rel=1e-9)
