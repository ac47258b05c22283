"""Ways of bags and the weather's band, from draws that were made by hand."""

from types import SimpleNamespace as Made
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from rig.report.paths import paths_of
from rig.report.weather import bands_of
from rig.study.answer.ask import Asked
from rig.study.answer.bags import bag_answers
from rig.study.answer.effects import weather_of
from rig.study.answer.question import Question
from rig.study.model.draws import Draws, interval
from rig.study.model.history import State
from tests.study.answer.made import made, question

BAGS = {"Quay 1": (24.0, 0.5), "Quay 2": (26.0, 0.5)}
IN_AIR = question(grip=(22.0, 0.5))


def series(bag: str, applications: tuple[int, ...], mean: float = 24.0, **more: Any) -> Any:
    values: dict[str, Any] = {
        "bag": bag,
        "face": "grip",
        "board": "ash",
        "instrument": "rig one",
        "humidity_pct": 50.0,
        "temperature_c": 22.0,
        "damp": 0.5,
        "n": 3,
        "mean_deg": mean,
        "state": State(applications),
    }
    return Made(**values | more)


def asked_of(draws: Draws, asked: Question = IN_AIR) -> tuple[Any, Any]:
    boards = {(bag, "grip"): "ash" for bag in BAGS}
    recipes = dict.fromkeys(BAGS, ("soak",))
    bags = bag_answers(draws, asked, boards, recipes)
    answer: Any = Made(bags=bags, weather=weather_of(draws, [("Quay", "grip")]))
    nothing: Any = None
    return Asked(nothing, nothing, draws, asked), answer


def test_a_way_goes_from_the_baseline_to_the_answers_own_angle() -> None:
    draws = made(BAGS, effect=(-1.5, 0.0), treated=("Quay 1",))
    asked, answer = asked_of(draws)
    data: Any = Made(series=[series("Quay 1", ()), series("Quay 1", (0,)), series("Quay 1", (0,))])
    first, second = paths_of(asked, answer, data)
    before, now = first.stages
    assert before.angle_deg == pytest.approx(24.0, abs=0.05)
    assert before.upper_deg - before.lower_deg == pytest.approx(2 * 1.96 * 0.5, abs=0.1)
    assert (before.stage, before.applications, before.n_slides) == ("baseline", 0, 3)
    one = answer.bags[0]
    assert (now.angle_deg, now.lower_deg, now.upper_deg) == (
        one.angle_deg,
        one.lower_deg,
        one.upper_deg,
    )
    assert now.angle_deg == pytest.approx(22.5, abs=0.05)
    assert (now.stage, now.applications, now.n_slides) == ("after 1", 1, 6)
    assert first.recipe == "soak"
    (only,) = second.stages
    assert (only.stage, only.n_slides) == ("baseline", 0)
    assert second.is_way, "there is a forecast"


def test_a_stage_that_was_never_measured_is_left_out_unless_it_is_now() -> None:
    draws = made(BAGS, treated=("Quay 1", "Quay 1"))
    asked, answer = asked_of(draws)
    data: Any = Made(series=[series("Quay 1", ())])
    stages = paths_of(asked, answer, data)[0].stages
    assert [one.applications for one in stages] == [0, 2]
    assert stages[-1].n_slides == 0


def test_a_stage_is_as_it_was_at_its_end() -> None:
    asked, answer = asked_of(made(BAGS, effect=(-1.5, 0.0), treated=("Quay 1",)))
    worn = State((), throws=700.0)
    data: Any = Made(series=[series("Quay 1", ()), series("Quay 1", (), state=worn)])
    before = paths_of(asked, answer, data)[0].stages[0]
    # A thousandth of what is left of 4° goes with each throw.
    assert before.angle_deg == pytest.approx(24.0 - 4.0 * (1.0 - np.exp(-0.7)), abs=0.05)
    assert before.n_slides == 6


def test_two_stages_or_a_forecast_make_a_way() -> None:
    asked, answer = asked_of(made(BAGS, treated=("Quay 1",)))
    data: Any = Made(series=[series("Quay 1", ()), series("Quay 1", (0,))])
    first, second = (replace(one, recipe=None) for one in paths_of(asked, answer, data))
    assert (len(first.stages), first.is_way) == (2, True)
    assert (len(second.stages), second.is_way) == (1, False)


def test_the_drawn_recipe_is_the_likeliest_to_reach_the_target() -> None:
    def ahead(recipe: str, reaches: float, passes: float, applications: int = 1) -> Any:
        return Made(recipe=recipe, applications=applications, p_reaches=reaches, p_passes=passes)

    one = asked_of(made(BAGS))[1].bags[0]

    def chosen(*forecasts: Any) -> Any:
        return replace(one, forecast=forecasts).next_recipe

    assert chosen(ahead("soak", 0.2, 0.1), ahead("tumble", 0.3, 0.4)) == "tumble"
    assert chosen(ahead("soak", 0.2, 0.1), ahead("tumble", 0.2, 0.4)) == "soak"
    assert chosen(ahead("soak", 0.9, 0.0, applications=2)) is None


def bands(draws: Draws, *rows: Any) -> Any:
    asked, answer = asked_of(draws)
    data: Any = Made(series=list(rows))
    return bands_of(asked, answer, data)


def test_the_curve_is_the_mean_of_the_bags_along_the_models_slope() -> None:
    draws = made(BAGS, slope=(0.4, 0.0))
    (band,) = bands(draws, series("Quay 1", (), humidity_pct=30.0))
    at = {one.surface_humidity_pct: one for one in band.curve}
    assert (min(at), max(at)) == (25.0, 55.0), "a little beyond the series and today's air"
    assert at[25.0].angle_deg == pytest.approx(25.0 - 0.04 * 25.0, abs=0.05)
    assert at[55.0].angle_deg == pytest.approx(25.0 + 0.04 * 5.0, abs=0.05)
    mean = np.mean([draws.angle(bag, "grip", "ash") for bag in BAGS], axis=0)
    width = interval(mean).upper - interval(mean).lower
    assert at[55.0].upper_deg - at[55.0].lower_deg == pytest.approx(width, abs=0.02)
    assert (band.model, band.face, band.n_bags, band.shown) == ("Quay", "grip", 2, True)


def test_a_band_is_wider_where_nothing_was_measured() -> None:
    (band,) = bands(made(BAGS, slope=(0.4, 0.4)), series("Quay 1", (), humidity_pct=20.0))
    widths = [one.upper_deg - one.lower_deg for one in band.curve]
    nearest = min(range(len(widths)), key=widths.__getitem__)
    assert band.curve[nearest].surface_humidity_pct == pytest.approx(50.0, abs=4.0)
    assert widths[0] > 1.5 * widths[nearest]


def test_a_series_lies_as_far_from_the_curve_as_from_what_the_model_makes_of_it() -> None:
    draws = made(BAGS, slope=(0.4, 0.0), effect=(-1.5, 0.0), treated=("Quay 1",))
    rows = [
        series("Quay 1", (), 24.3),
        series("Quay 1", (0,), 22.5 - 0.2),
        series("Quay 2", (), 26.0 + 0.4 - 0.1, humidity_pct=60.0),
    ]
    (band,) = bands(draws, *rows)
    mean = 0.5 * (22.5 + 26.0)
    assert [one.angle_deg for one in band.series] == pytest.approx(
        [mean + 0.3, mean - 0.2, mean + 0.4 - 0.1], abs=0.06
    )
    assert [one.surface_humidity_pct for one in band.series] == [50.0, 50.0, 60.0]


def test_a_readers_own_bias_is_taken_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Draws, "instrument_offset", lambda _, name: 1.0 * (name == "reader Ada"))
    rows = [series("Quay 1", (), 25.2, instrument="reader Ada"), series("Quay 1", (), 24.2)]
    (band,) = bands(made(BAGS), *rows)
    by_hand, by_rig = (one.angle_deg for one in band.series)
    assert by_hand == pytest.approx(by_rig)


def test_series_of_other_faces_and_bags_have_no_part() -> None:
    assert bands(made(BAGS), series("Quay 1", (), face="slick"), series("Plover", ())) == []


def test_no_humidity_is_drawn_that_cannot_be() -> None:
    rows = [series("Quay 1", (), humidity_pct=h) for h in (2.0, 98.0)]
    (band,) = bands(made(BAGS), *rows)
    ends = [one.surface_humidity_pct for one in band.curve]
    assert (min(ends), max(ends)) == (0.0, 100.0)
