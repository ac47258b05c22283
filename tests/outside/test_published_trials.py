"""The model against published worked examples, its priors made wide and layers left out.

Yield of dyestuff, six batches of five samples: O. L. Davies, Statistical Methods in Research and
Production (1947), data and results as in many texts, from memory; the analysis of variance is done
again here, and statsmodels stands beside. Sleep of ten patients by two drugs: Student, Biometrika
6, 1 (1908), from memory; scipy stands beside.
"""

from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from numpy.testing import assert_allclose
from scipy.stats import ttest_1samp

from rig.study.model.data import model_data
from rig.study.model.draws import Draws
from rig.study.model.fit import fit
from rig.study.model.posterior import LINEAR
from rig.study.model.priors import PRIORS
from tests.study.model.example import slides_of

YIELD_G = {
    "A": [1545, 1440, 1440, 1520, 1580],
    "B": [1540, 1555, 1490, 1560, 1495],
    "C": [1595, 1550, 1605, 1510, 1560],
    "D": [1445, 1440, 1595, 1465, 1545],
    "E": [1595, 1630, 1515, 1635, 1625],
    "F": [1520, 1455, 1450, 1480, 1445],
}
MEAN_G, OF_BATCHES_G, OF_SAMPLES_G = 1527.5, 42.00, 49.51
PREDICTED_G = {"A": -17.61, "B": 0.39, "C": 28.56, "D": -23.08, "E": 56.73, "F": -44.99}
G_PER_DEG = 100.0

FIRST_H = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND_H = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
MORE_H, LEAST_H, MOST_H = 1.58, 0.70, 2.46

NOTHING = 1e-3
"""In degrees; small beside all that is measured here."""


@pytest.fixture(autouse=True)
def _plain(monkeypatch: pytest.MonkeyPatch) -> None:
    """No wear, settling or residue, no layers that the examples have not."""
    for name in ("series", "session", "bag_face", "response", "slide_dose"):
        monkeypatch.setitem(PRIORS, name, PRIORS[name]._replace(centre=1e-3, spread=1e-3))
    for name in ("settle", "board_residue", "residue", "effect_face", "slope"):
        monkeypatch.setitem(PRIORS, name, PRIORS[name]._replace(spread=NOTHING))


def _batches() -> Draws:
    return fit(
        model_data(
            slide
            for batch, yields in YIELD_G.items()
            for slide in slides_of(
                batch,
                "s1",
                [24.0 + (one - MEAN_G) / G_PER_DEG for one in yields],
                slide_number=3,
                slides_before=0,
            )
        )
    )


def _of_batch(draws: Draws, batch: str) -> float:
    own = draws.angle(batch, "slick") - np.mean([draws.angle(b, "slick") for b in YIELD_G], axis=0)
    return G_PER_DEG * float(np.mean(own))


def test_what_is_asked_of_the_dyestuff_follows_from_its_figures() -> None:
    y = np.array(list(YIELD_G.values()), dtype=float)
    rows = pd.DataFrame({"y": y.ravel(), "batch": np.repeat(list(YIELD_G), 5)})
    found = smf.mixedlm("y ~ 1", rows, groups="batch").fit(reml=True)
    assert found.params["Intercept"] == pytest.approx(MEAN_G, abs=0.01)
    assert found.scale**0.5 == pytest.approx(OF_SAMPLES_G, abs=0.02)
    assert float(found.cov_re.iloc[0, 0]) ** 0.5 == pytest.approx(OF_BATCHES_G, abs=0.05)
    for batch, effect in found.random_effects.items():
        assert float(effect.iloc[0]) == pytest.approx(PREDICTED_G[batch], abs=0.05)


def test_batches_of_dyestuff_are_drawn_in_as_published(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, sd_g in (("bag", OF_BATCHES_G), ("run", OF_SAMPLES_G)):
        known = PRIORS[name]._replace(centre=sd_g / G_PER_DEG, spread=1e-4)
        monkeypatch.setitem(PRIORS, name, known)
    draws = _batches()
    found = [_of_batch(draws, batch) for batch in YIELD_G]
    # The best linear predictors add up to 0 as well.
    assert_allclose(found, list(PREDICTED_G.values()), atol=0.8)
    level = 24.0 + draws.term("level", "heron", "slick")
    assert MEAN_G + G_PER_DEG * (np.mean(level) - 24.0) == pytest.approx(MEAN_G, abs=0.5)
    # Published with the mean: its standard error, 19.38.
    assert G_PER_DEG * np.std(level) == pytest.approx(19.38, rel=0.02)


def test_scatter_of_dyestuff_is_found_near_what_was_published(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name in ("bag", "run"):
        monkeypatch.setitem(PRIORS, name, PRIORS[name]._replace(centre=0.5, spread=1.5))
    draws = _batches()
    assert G_PER_DEG * np.median(draws.run_scatter) == pytest.approx(OF_SAMPLES_G, rel=0.04)
    # Of six batches: the data's own uncertainty is some 35 %.
    assert G_PER_DEG * np.median(draws.scale("bag")) == pytest.approx(OF_BATCHES_G, rel=0.2)
    kept = np.polyfit(list(PREDICTED_G.values()), [_of_batch(draws, b) for b in YIELD_G], 1)[0]
    assert kept == pytest.approx(1.0, abs=0.12)


def test_students_sleepers_sleep_as_much_longer_as_he_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    low, high = ttest_1samp(np.subtract(SECOND_H, FIRST_H), 0.0).confidence_interval()
    assert (low, high) == pytest.approx((LEAST_H, MOST_H), abs=0.005)
    for name in ("bag", "run"):
        monkeypatch.setitem(PRIORS, name, PRIORS[name]._replace(centre=1.0, spread=1.5))
    monkeypatch.setitem(PRIORS, "effect", PRIORS["effect"]._replace(spread=20.0))
    at: dict[str, Any] = {"slide_number": 3, "slides_before": 0}
    slides = [
        *(s for i, y in enumerate(FIRST_H) for s in slides_of(f"P{i}", "s1", [24.0 + y], **at)),
        *(
            s
            for i, y in enumerate(SECOND_H)
            for s in slides_of(f"P{i}", "s2", [24.0 + y], treated=["second"], day=2, **at)
        ),
    ]
    draws = fit(model_data(slides))
    found = draws.effect("second", "heron", "slick")[draws.kind("second") == LINEAR]
    assert np.mean(found) == pytest.approx(MORE_H, abs=0.03)
    assert_allclose(np.quantile(found, [0.025, 0.975]), [LEAST_H, MOST_H], atol=0.08)
