"""Components of variance against a published gauge study, and against statsmodels."""

import numpy as np
import pytest

from rig.study.precision import LIMIT_FACTOR
from rig.study.variance import Factor, components

# Houf and Berman (IEEE Trans. CHMT 11, 1988): thermal performance of modules, 10 parts × 3
# operators × 3, as printed in SAS/STAT's example "Using the GRR Method" of the procedure VARCOMP.
HOUF_BERMAN = """
37 38 37 41 41 40 41 42 41
42 41 43 42 42 42 43 42 43
30 31 31 31 31 31 29 30 28
42 43 42 43 43 43 42 42 42
28 30 29 29 30 29 31 29 29
42 42 43 45 45 45 44 46 45
25 26 27 28 28 30 29 27 27
40 40 40 43 42 42 43 43 41
25 25 25 27 29 28 26 26 26
35 34 34 35 35 34 35 34 35
"""


def test_houf_and_berman() -> None:
    values = np.array(HOUF_BERMAN.split(), dtype=float)
    assert values.mean() == pytest.approx(35.8)
    part = np.repeat(np.arange(10), 9).tolist()
    operator = np.tile(np.repeat(np.arange(3), 3), 10).tolist()
    found = components(
        values.tolist(),
        [
            Factor(name="operator", labels=operator),
            Factor(name="part", labels=part),
            Factor(name="both", labels=list(zip(part, operator, strict=True))),
        ],
    )
    # Printed: mean squares 437.328395, 19.633333, 2.695062, 0.511111 on 9, 2, 18, 60.
    printed = {
        "part": (9, 437.328395, 48.292593),
        "operator": (2, 19.633333, 0.564609),
        "both": (18, 2.695062, 0.727984),
        "run": (60, 0.511111, 0.511111),
    }
    for name, (df, mean_square, variance) in printed.items():
        assert found[name].df == df
        assert found[name].mean_square == pytest.approx(mean_square, abs=5e-7)
        assert found.variance(name) == pytest.approx(variance, abs=5e-7)
    gauge = found.combine({"operator": 1, "both": 1, "run": 1})
    assert gauge.variance == pytest.approx(1.803704, abs=5e-7)


def test_limits_of_the_standard() -> None:
    # ISO 5725-6: r = 2.8·s_r. BRE, "Precision values obtained from the cross-testing experiments on
    # the Total Sulfur test" (projects.bre.co.uk/aggregate), table 1, levels 1 and 2:
    for s, limit in ((0.021, 0.059), (0.042, 0.118), (0.057, 0.160), (0.137, 0.383)):
        assert LIMIT_FACTOR * s == pytest.approx(limit, abs=0.0011)


@pytest.mark.parametrize("seed", range(4))
def test_balanced_nested_equals_restricted_likelihood(seed: int) -> None:
    # For balanced data with positive components the moments are the REML estimates.
    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(seed)
    bag = np.repeat(np.arange(8), 12)
    series = np.repeat(np.arange(32), 3)
    y = rng.normal(0, 1.5, 8)[bag] + rng.normal(0, 1.0, 32)[series] + rng.normal(0, 0.5, 96)
    ours = components(
        y.tolist(),
        [Factor(name="bag", labels=bag.tolist()), Factor(name="series", labels=series.tolist())],
    )
    frame = pd.DataFrame({"y": y, "bag": bag, "series": series})
    theirs = smf.mixedlm(
        "y ~ 1", frame, groups="bag", re_formula="1", vc_formula={"series": "0 + C(series)"}
    ).fit(reml=True)
    assert ours.variance("run") == pytest.approx(theirs.scale, rel=1e-3)
    assert ours.variance("series") == pytest.approx(theirs.vcomp[0], rel=2e-3)
    assert ours.variance("bag") == pytest.approx(theirs.cov_re.iloc[0, 0], rel=5e-3)


def test_unbalanced_is_unbiased() -> None:
    rng = np.random.default_rng(7)
    labels = [(b, s) for b in range(10) for s in range(1 + b % 3) for _ in range(1 + (b + s) % 4)]
    bag = [b for b, _ in labels]
    found = []
    for _ in range(400):
        bags = rng.normal(0, 1.0, 10)
        series = {label: rng.normal(0, 0.7) for label in set(labels)}
        y = [bags[b] + series[b, s] + rng.normal(0, 0.4) for b, s in labels]
        layers = components(
            y, [Factor(name="bag", labels=bag), Factor(name="series", labels=labels)]
        )
        found.append([layers[name].raw_variance for name in ("bag", "series", "run")])
    drawn = np.array(found, dtype=float)
    mean, error = np.mean(drawn, axis=0), np.std(drawn, axis=0) / 20.0
    assert np.all(np.abs(mean - [1.0, 0.49, 0.16]) < 3.5 * error)
