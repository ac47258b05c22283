"""How far slides of a series scatter, as a stop rule is told."""

import numpy as np
import pytest

from rig.study.model.data import model_data
from rig.study.model.fit import fit
from rig.study.plan.enough import slide_scatter
from rig.study.slides.slide import Slide
from tests.study.model.example import slides_of


def study(
    sd_deg: float, settle_deg: float, series: int = 24, reader: str | None = None
) -> list[Slide]:
    rng = np.random.default_rng(3)
    return [
        slide
        for i in range(series)
        for slide in slides_of(
            f"B{i % 6}",
            f"day {i // 6}",
            [float(24.0 + settle_deg / k + rng.normal(0.0, sd_deg)) for k in range(1, 5)],
            reader=reader,
            before=4 * (i // 6),
            day=1 + i // 6,
        )
    ]


def test_it_is_the_models_own() -> None:
    """Also where the first slides of a series stand out: settling is no scatter."""
    slides = study(0.4, 1.5)
    known = slide_scatter(slides)
    draws = fit(model_data(slides)).scale("run")
    assert known.sd_deg == pytest.approx(float(np.median(draws)), rel=0.02)
    # The variance of the logarithm of a standard deviation: 1 / (2 ν).
    assert known.freedom == pytest.approx(0.5 / float(np.var(np.log(draws))), rel=0.15)


def test_readings_by_hand_say_nothing_of_the_rig() -> None:
    assert slide_scatter(study(1.5, 0.0, reader="Ada")) == slide_scatter()
    assert slide_scatter().sd_deg == pytest.approx(0.25)
