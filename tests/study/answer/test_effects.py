"""What is claimed and what is not."""

import numpy as np
import pytest

from rig.study.answer.effects import is_shown, scatter_of, treatments_of, weather_of
from tests.study.answer.made import made

FACES = [("Quay", "grip")]


@pytest.mark.parametrize(
    ("n_below", "n_zero", "shown"),
    [(975, 0, True), (974, 0, False), (974, 26, False), (975, 25, True), (0, 25, True)],
)
def test_a_sign_is_claimed_from_975_in_1000_draws(n_below: int, n_zero: int, shown: bool) -> None:
    n_above = 1000 - n_below - n_zero
    effect = np.repeat([-1.0, 0.0, 1.0], [n_below, n_zero, n_above])
    assert is_shown(effect) is shown
    assert is_shown(-effect) is shown


def test_a_recipe_is_listed_with_the_bags_that_had_it() -> None:
    draws = made({"Quay 1": (24.0, 0.3), "Quay 2": (24.0, 0.3)}, treated=("Quay 1", "Quay 1"))
    (one,) = treatments_of(draws, FACES)
    assert (one.recipe, one.model, one.face) == ("soak", "Quay", "grip")
    assert (one.n_bags, one.n_applications, one.shown) == (1, 2, True)
    assert one.effect_deg == pytest.approx(-1.5, abs=0.03)
    assert (one.lower_deg, one.upper_deg) == pytest.approx((-2.09, -0.91), abs=0.05)
    assert one.p_lowers == 1.0


def test_what_was_never_applied_is_not_listed() -> None:
    assert treatments_of(made({"Quay 1": (24.0, 0.3)}), FACES) == []


def test_weather_per_ten_percent() -> None:
    (one,) = weather_of(made({"Quay 1": (24.0, 0.3)}, slope=(0.4, 0.1)), FACES)
    assert one.per_10_pct_rh_deg == pytest.approx(0.4, abs=0.01)
    assert one.shown
    (flat,) = weather_of(made({"Quay 1": (24.0, 0.3)}, slope=(0.1, 0.2)), FACES)
    assert not flat.shown


def test_scatter_by_layer() -> None:
    found = scatter_of(made({"Quay 1": (24.0, 0.3)}))
    medians = (found.run_sd_deg, found.series_sd_deg, found.session_sd_deg, found.bag_sd_deg)
    assert [one.median for one in medians] == [0.4, 0.3, 0.3, 0.8]
