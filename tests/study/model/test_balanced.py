"""Balanced studies against the analysis of variance, whose estimates need no prior.

Two-way crossed random model without repeats, of means over slides: expected mean squares after
Searle, Casella and McCulloch, Variance Components (1992), chapter 4.
"""

import numpy as np
import pytest

from rig.study.model.data import model_data
from rig.study.model.fit import fit
from tests.study.model.example import slides_of

BAGS, SESSIONS, SLIDES = 30, 6, 4


def test_layers_and_bags_are_those_of_the_analysis_of_variance() -> None:
    rng = np.random.default_rng(8)
    bag, session = rng.normal(0.0, 1.0, BAGS), rng.normal(0.0, 0.3, SESSIONS)
    series = rng.normal(0.0, 0.25, (BAGS, SESSIONS))
    means = 24.0 + bag[:, None] + session + series
    y = means[:, :, None] + rng.normal(0.0, 0.3, (BAGS, SESSIONS, SLIDES))
    slides = [
        slide
        for j in range(SESSIONS)
        for i in range(BAGS)
        for slide in slides_of(f"B{i:02d}", f"s{j}", y[i, j].tolist(), before=SLIDES * j, day=j + 1)
    ]
    draws = fit(model_data(slides))
    cell = y.mean(axis=2)
    by_bag, by_session = cell.mean(axis=1), cell.mean(axis=0)
    rest = cell - by_bag[:, None] - by_session + cell.mean()
    of_rest = float((rest**2).sum()) / ((BAGS - 1) * (SESSIONS - 1))
    of_run = float(y.var(axis=2, ddof=1).mean())
    of_bag = float(by_bag.var(ddof=1)) - of_rest / SESSIONS
    of_session = float(by_session.var(ddof=1)) - of_rest / BAGS
    assert np.median(draws.scale("run")) == pytest.approx(of_run**0.5, rel=0.02)
    series_sd = (of_rest - of_run / SLIDES) ** 0.5
    assert np.median(draws.scale("series")) == pytest.approx(series_sd, rel=0.03)
    of_bags = np.hypot(draws.scale("bag"), draws.scale("bag_face"))
    assert np.median(of_bags) == pytest.approx(of_bag**0.5, rel=0.06)
    assert np.median(draws.scale("session")) == pytest.approx(of_session**0.5, rel=0.25)
    # Best linear predictors: each bag drawn towards the mean by its reliability.
    kept = of_bag / (of_bag + of_rest / SESSIONS)
    found = [float(np.mean(draws.angle(f"B{i:02d}", "slick"))) for i in range(BAGS)]
    found_off, off = np.subtract(found, np.mean(found)), by_bag - by_bag.mean()
    assert np.polyfit(off, found_off, 1)[0] == pytest.approx(kept, abs=0.01)
    np.testing.assert_allclose(found_off, kept * off, atol=0.03)
    difference = draws.angle("B00", "slick") - draws.angle("B01", "slick")
    assert np.std(difference) == pytest.approx((2.0 * kept * of_rest / SESSIONS) ** 0.5, rel=0.05)
