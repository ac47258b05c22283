"""The model's effect where there are so many bags that no prior matters, against statsmodels.

Each bag's change of its mean from before to after; treated against control by Welch's comparison of
two means (`statsmodels.stats.weightstats.CompareMeans`, unequal variances).
"""

import numpy as np
import pytest
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from rig.study.model.data import model_data
from rig.study.model.fit import fit
from tests.study.model.example import slides_of

BAGS, SLIDES, EFFECT = 80, 3, -1.2


@pytest.mark.long
def test_a_balanced_trial_of_many_bags_has_welchs_difference_and_its_uncertainty() -> None:
    rng = np.random.default_rng(12)
    own, shift = rng.normal(24.0, 1.0, BAGS), rng.normal(0.0, 0.4, 2)
    treated = np.arange(BAGS) % 2 == 0
    effect = np.where(treated, EFFECT + rng.normal(0.0, 0.3, BAGS), 0.0)
    series = rng.normal(0.0, 0.2, (BAGS, 2))
    means = own[:, None] + shift + series + np.column_stack([0.0 * effect, effect])
    y = means[:, :, None] + rng.normal(0.0, 0.25, (BAGS, 2, SLIDES))
    slides = [
        slide
        for after in (0, 1)
        for i in range(BAGS)
        for slide in slides_of(
            f"B{i:02d}",
            f"s{after}",
            y[i, after].tolist(),
            treated=["soak"] if after and treated[i] else [],
            before=SLIDES * after,
            day=1 + after,
        )
    ]
    found = fit(model_data(slides)).effect("soak", "heron", "slick")
    change = y.mean(axis=2)[:, 1] - y.mean(axis=2)[:, 0]
    welch = CompareMeans(DescrStatsW(change[treated]), DescrStatsW(change[~treated]))
    low, high = welch.tconfint_diff(usevar="unequal")
    mean, sd = 0.5 * (low + high), 0.5 * (high - low) / 1.99  # t at 97.5 %, some 70 degrees
    # What the fresh agent adds and the slides rub off, 0.3° (1 − exp(−1 / 20)), comes on top.
    assert float(np.mean(found)) == pytest.approx(mean, abs=0.15 * sd)
    assert float(np.std(found)) == pytest.approx(np.hypot(sd, 0.015), rel=0.1)
    assert np.mean(found < 0.0) == 1.0
