"""Readings in coarse steps: often alike, and never taken as exact."""

from collections.abc import Callable

import pytest

from rig.study.model.data import model_data
from rig.study.model.draws import interval
from rig.study.model.fit import fit
from rig.study.model.rounding import hidden_variance, step_deg
from rig.study.slides.slide import Slide
from tests.study.model.example import slides_of


@pytest.mark.parametrize(
    ("angles_deg", "step"),
    [
        ([22.0, 23.0], 1.0),
        ([22.0, 23.5], 0.5),
        ([22.4, 23.6], 0.2),
        ([22.3, 23.6], 0.1),
        ([22.34, 23.6], 0.02),
        ([22.3178, 23.6], 0.01),
    ],
)
def test_the_step_is_the_coarsest_that_fits_all(angles_deg: list[float], step: float) -> None:
    assert step_deg(angles_deg) == step


def test_scatter_that_is_seen_hides_nothing() -> None:
    # A twelfth of the square, as a uniform error has it.
    assert hidden_variance(1.0, 0.0, 8) == pytest.approx(1.0 / 12.0)
    assert hidden_variance(1.0, 0.4, 8) == pytest.approx(1.0 / 12.0 - 0.05)
    assert hidden_variance(1.0, 2.0, 8) == 0.0
    assert hidden_variance(1.0, 0.0, 0) == pytest.approx(1.0 / 12.0), "nothing is seen"


def read(of: Callable[[str, int], list[float]], reader: str | None = "ann") -> list[Slide]:
    """Four bags in two sessions; one of them soaked between."""
    return [
        one
        for number in (1, 2)
        for bag in "ABCD"
        for one in slides_of(
            bag,
            f"s{number}",
            of(bag, number),
            reader=reader,
            day=number,
            treated=["soak"] if bag == "A" and number == 2 else [],
        )
    ]


def test_readings_that_are_all_alike_share_what_rounding_took() -> None:
    data = model_data(read(lambda _bag, _number: [22.0, 22.0, 22.0]))
    for one in data.series:
        assert one.squares == pytest.approx(2.0 / 12.0)
        assert one.extra_variance == pytest.approx(1.0 / 12.0)
    # One series that scatters is enough to see by how much slides do.
    data = model_data(read(lambda bag, _number: [22.0, 22.0, 24.0 if bag == "B" else 22.0]))
    assert all(one.extra_variance == 0.0 for one in data.series)
    assert {round(one.squares, 9) for one in data.series} == {0.0, round(8.0 / 3.0, 9)}


def test_a_settling_that_explains_all_is_no_scatter() -> None:
    data = model_data(read(lambda _bag, _number: [22.0, 22.5]))
    assert all(one.squares == pytest.approx(0.125 + 0.25 / 12.0) for one in data.series)
    assert all(one.extra_variance == 0.0 for one in data.series)


def test_angles_in_no_steps_hide_next_to_nothing() -> None:
    data = model_data(read(lambda _bag, _number: [22.0173, 22.0173], reader=None))
    assert all(one.squares == pytest.approx(1e-4 / 12.0) for one in data.series)
    data = model_data(read(lambda _bag, _number: [22.0173, 22.0173, 22.2], reader=None))
    assert all(one.squares == pytest.approx(2.0 / 3.0 * 0.1827**2) for one in data.series)


@pytest.mark.parametrize(
    "angles_deg", [[22.0, 22.0, 22.0], [22.0, 22.5], [22.1, 22.1], [22.0], [22.0173] * 3]
)
def test_alike_readings_leave_an_honest_interval(angles_deg: list[float]) -> None:
    draws = fit(model_data(read(lambda _bag, _number: angles_deg)))
    assert draws.quality.pareto_k < 0.7
    assert draws.quality.ess > 200.0
    for bag in "ABCD":
        found = interval(draws.angle(bag, "slick"))
        assert 20.5 < found.lower < 22.0 < found.upper < 23.5
    soak = interval(draws.effect("soak", "heron", "slick"))
    assert soak.lower < -0.05
    assert soak.upper > 0.05
