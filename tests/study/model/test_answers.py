"""What the model says of small studies that go wrong elsewhere."""

from functools import cache

import numpy as np
import pytest

from rig.errors import BadInputError
from rig.study.model.data import Facts, model_data
from rig.study.model.draws import Air, Draws, interval
from rig.study.model.fit import fit
from rig.study.model.history import Played
from rig.study.slides.slide import Slide
from tests.study.model.example import slides_of

BEFORE = {"A": 24.0, "B": 25.0, "C": 23.2, "D": 24.4}


def _series(mean: float, n: int = 3, spread: float = 0.2) -> list[float]:
    return (mean + spread * np.linspace(-1.0, 1.0, n)).tolist()


def _evening(
    changes: dict[str, float], reader: str | None = None, recipe: str = "soak"
) -> list[Slide]:
    """Four bags before and after; those that are named in `changes` but D were treated."""
    slides = []
    for bag, mean in BEFORE.items():
        slides += slides_of(bag, "s1", _series(mean), reader=reader)
    for bag, mean in BEFORE.items():
        treated = [] if bag == "D" else [recipe]
        after = _series(mean + changes[bag])
        slides += slides_of(
            bag, "s2", after, treated=treated, before=3, humidity=51.0, day=2, reader=reader
        )
    return slides


@cache
def _fitted(kind: str) -> Draws:
    studies = {
        "treated": lambda: _evening({"A": -1.9, "B": -1.7, "C": -2.2, "D": 0.1}),
        "by hand": lambda: _evening({"A": -1.9, "B": -1.7, "C": -2.2, "D": 0.1}, reader="ann"),
        "nothing": lambda: _evening({"A": 0.2, "B": -0.1, "C": 0.1, "D": 0.1}),
        "one slide": lambda: slides_of("A", "s1", [24.0]),
        "two airs": lambda: [
            *slides_of("A", "s1", _series(24.0), humidity=50.0),
            *slides_of("A", "s2", _series(24.3), humidity=50.01, before=3, day=2),
        ],
    }
    return fit(model_data(studies[kind]()))


def test_an_evening_shows_an_effect_and_how_large_it_is() -> None:
    draws = _fitted("treated")
    effect = draws.effect("soak", "heron", "slick")
    bounds = interval(effect)
    assert -2.1 < bounds.median < -1.7
    assert 0.4 < (bounds.upper - bounds.lower) / 2.0 < 1.25
    assert np.mean(effect < 0.0) >= 0.975
    assert draws.quality.pareto_k < 0.7
    assert draws.quality.ess > 400.0


def test_nothing_is_shown_where_nothing_changed() -> None:
    effect = _fitted("nothing").effect("soak", "heron", "slick")
    assert np.mean(effect == 0.0) > 0.5
    assert max(np.mean(effect < 0.0), np.mean(effect > 0.0)) < 0.5


def test_readings_by_hand_alone_are_answered() -> None:
    draws = _fitted("by hand")
    assert draws.about.instrument == "reader ann"
    effect = interval(draws.effect("soak", "heron", "slick"))
    assert -2.3 < effect.median < -1.5
    assert effect.upper < 0.0
    assert "run" in draws.quality.prior_carried
    assert "reader_run" not in draws.quality.prior_carried


def test_two_sessions_in_one_air_leave_the_slope_to_the_prior() -> None:
    draws = _fitted("two airs")
    slope = draws.slope("heron", "slick")
    assert np.std(slope) == pytest.approx(np.hypot(0.5, 0.25), rel=0.03)
    assert "slope" in draws.quality.prior_carried
    away = interval(draws.angle("A", "slick", air=Air(65.0)))
    assert 20.0 < away.lower < away.upper < 28.0


@pytest.mark.parametrize("kind", ["treated", "by hand", "two airs"])
def test_an_interval_never_narrows_away_from_the_measured_air(kind: str) -> None:
    draws = _fitted(kind)
    airs = ([50.0, 40.0, 30.0, 20.0], [50.0, 60.0, 70.0, 80.0])
    for humidities in airs:
        bounds = [interval(draws.angle("A", "slick", air=Air(h))) for h in humidities]
        widths = np.array([one.upper - one.lower for one in bounds])
        assert (np.diff(widths) > -0.03 * widths[:-1]).all()
        assert widths[-1] > 1.5 * widths[0]


@cache
def _in_turn(approaches: tuple[str, ...]) -> Draws:
    """Six sessions from 35 to 65 %RH, 1.5° per 10 %RH; damp counts for 10 %RH."""
    slides = []
    for i, approach in enumerate(approaches):
        humidity = 35.0 + 6.0 * i
        felt = humidity + {"from_dry": -5.0, "unknown": 0.0, "from_damp": 5.0}[approach]
        for bag in ("A", "B"):
            mean = BEFORE[bag] + 0.15 * (felt - 50.0)
            at = {"humidity": humidity, "before": 3 * i, "day": i + 1, "approach": approach}
            slides += slides_of(bag, f"s{i}", _series(mean), **at)  # type: ignore[arg-type]
    return fit(model_data(slides))


def test_bags_from_damp_count_as_in_damper_air() -> None:
    draws = _in_turn(("from_dry", "from_damp") * 3)
    damp, dry = (draws.angle("A", "slick", air=Air(50.0, damp=at)) for at in (1.0, 0.0))
    came = interval(damp - dry)
    assert 0.6 < came.lower < 1.5 < came.upper < 2.4
    assert interval(dry).lower < BEFORE["A"] - 0.75 < interval(dry).upper
    assert draws.about.usual_air.damp == 0.5
    assert "damp_shift" not in _in_turn(("unknown",) * 6).quality.prior_carried


def test_where_nobody_noted_whence_bags_came_their_mean_is_what_was_measured() -> None:
    unknown = _in_turn(("unknown",) * 6)
    found = interval(unknown.angle("A", "slick", air=Air(50.0)))
    assert found.median == pytest.approx(BEFORE["A"], abs=0.3)
    assert np.ptp(unknown.slope("heron", "slick")) > 0.0
    dry = unknown.angle("A", "slick", air=Air(50.0, damp=0.0))
    assert np.std(dry) > 1.1 * np.std(unknown.angle("A", "slick", air=Air(50.0)))
    assert np.median(dry) < BEFORE["A"] - 0.4


def test_a_study_from_dry_air_alone_is_asked_for_as_it_was_measured() -> None:
    draws = _in_turn(("from_dry",) * 6)
    assert draws.about.usual_air.damp == 0.0
    found = interval(draws.angle("A", "slick"))
    measured = BEFORE["A"] + 0.15 * (50.0 - 5.0 - 50.0)
    assert found.lower < measured < found.upper
    assert found.upper - found.lower < 1.5


def test_one_slide_gives_a_finite_answer() -> None:
    draws = _fitted("one slide")
    bounds = interval(draws.angle("A", "slick"))
    assert 22.0 < bounds.lower < 24.0 < bounds.upper < 26.0
    new = interval(draws.new_bag("heron", "slick"))
    assert new.upper - new.lower > 1.8 * (bounds.upper - bounds.lower)
    assert draws.kinds("never used") == pytest.approx((1 / 3, 1 / 3, 1 / 3), abs=0.02)


def test_one_slide_of_a_bag_that_was_treated_before_gives_a_finite_answer() -> None:
    draws = fit(model_data(slides_of("A", "s1", [24.0], treated=["soak"])))
    bounds = interval(draws.angle("A", "slick"))
    assert 22.0 < bounds.lower < 24.0 < bounds.upper < 26.0
    # One slide after it says nothing of what it did.
    assert draws.kinds("soak") == pytest.approx((1 / 3, 1 / 3, 1 / 3), abs=0.05)


def test_forty_bags_of_one_series_each() -> None:
    rng = np.random.default_rng(3)
    slides = [
        slide
        for i in range(40)
        for slide in slides_of(f"B{i:02d}", f"s{i // 10}", _series(24.0 + rng.normal()))
    ]
    draws = fit(model_data(slides))
    bag = np.hypot(draws.scale("bag"), draws.scale("bag_face"))
    assert 0.75 < np.median(bag) < 1.3
    assert draws.quality.pareto_k < 0.7


def test_no_slide_is_refused_in_words() -> None:
    with pytest.raises(BadInputError, match="No slide counts yet"):
        fit(model_data([]))


def test_a_slide_that_came_early_pulls_the_angle_below_its_bound() -> None:
    plain = slides_of("A", "s1", [24.0, 24.4])
    early = slides_of("A", "s2", [22.0], day=2, before=2, valid=False, flags=("slid_early",))
    without, told = (fit(model_data(slides)) for slides in (plain, plain + early))
    wide = fit(model_data([*plain, *slides_of(
        "A", "s2", [30.0], day=2, before=2, valid=False, flags=("slid_early",)
    )]))  # fmt: skip
    medians = [float(np.median(one.angle("A", "slick"))) for one in (without, told, wide)]
    assert medians[1] < medians[0] - 0.3
    assert medians[2] == pytest.approx(medians[0], abs=0.05)


def test_a_strong_recipe_lends_nothing_to_one_that_does_nothing() -> None:
    slides = []
    levels = {f"{r}{i}": (r, 24.0 + 0.3 * i) for r in ("soak", "wash") for i in range(3)}
    levels["control"] = ("", 24.5)
    for bag, (_, level) in levels.items():
        slides += slides_of(bag, "s1", _series(level))
    for bag, (recipe, level) in levels.items():
        change = -3.0 if recipe == "soak" else 0.05
        treated = [recipe] if recipe else []
        slides += slides_of(bag, "s2", _series(level + change), treated=treated, before=3, day=2)
    draws = fit(model_data(slides))
    assert np.mean(draws.effect("soak", "heron", "slick") < 0.0) > 0.99
    wash = draws.effect("wash", "heron", "slick")
    assert np.mean(wash == 0.0) > 0.5
    assert max(np.mean(wash < 0.0), np.mean(wash > 0.0)) < 0.5
    nothing, linear, saturates = draws.quality.p_kinds["soak"]
    assert nothing < 0.01
    assert linear + saturates == pytest.approx(1.0 - nothing)


def test_forecasts_go_on_from_the_present_angle() -> None:
    draws = _fitted("treated")
    now, *further = draws.path("A", "slick", "soak", 3)
    np.testing.assert_array_equal(now, draws.angle("A", "slick"))
    np.testing.assert_array_equal(further[2], draws.after("A", "slick", "soak", 3))
    medians = [float(np.median(one)) for one in (now, *further)]
    assert (np.diff(medians) < 0.0).all()
    steps = draws.steps_to("A", "slick", "soak", float(np.median(now)) - 0.5)
    assert interval(steps).median == 1.0
    assert np.mean(draws.steps_to("A", "slick", "soak", 5.0) == np.inf) > 0.5
    assert np.isinf(draws.steps_to("A", "slick", "soak", 40.0)).all()


def test_throws_wear_towards_the_end_of_the_range() -> None:
    slides = [
        *slides_of("A", "s1", _series(24.0, 5)),
        *slides_of("A", "s2", _series(22.6, 5), before=5, day=3),
    ]
    plays = (Played("A", "2026-03-02T00:00:00Z", 800),)
    draws = fit(model_data(slides, Facts(plays=plays)))
    assert draws.about.has_play
    now = draws.angle("A", "slick")
    throws = draws.throws_to("A", "slick", 22.0)
    finite = np.isfinite(throws)
    assert 0.5 < finite.mean() < 1.0
    there = np.array([draws.after_play("A", "slick", t)[i] for i, t in enumerate(throws[:40])])
    assert there[finite[:40] & (throws[:40] > 0)] == pytest.approx(22.0, abs=1e-6)
    assert (draws.after_play("A", "slick", 500.0) < now).mean() > 0.99


def test_a_reader_beside_the_rig_is_told_apart_from_the_bag() -> None:
    slides = [
        *slides_of("A", "s1", _series(24.0, 5)),
        *slides_of("A", "s1", _series(25.2, 5), reader="ann", before=5),
        *slides_of("B", "s1", _series(23.0, 5), board="pine"),
        *slides_of("B", "s1", _series(22.0, 5), before=5),
    ]
    draws = fit(model_data(slides))
    offset = interval(draws.instrument_offset("reader ann"))
    assert 0.0 < offset.lower < 1.0 < offset.upper < 1.9
    assert draws.instrument_offset("rig one").any() is np.False_
    assert 0.4 < np.median(draws.board_offset("pine", "slick")) < 1.2
    on_pine = draws.angle("A", "slick", "pine") - draws.angle("A", "slick")
    np.testing.assert_allclose(on_pine, draws.board_offset("pine", "slick"), atol=1e-4)
    unknown = draws.angle("A", "slick", "never seen") - draws.angle("A", "slick")
    assert np.std(unknown) == pytest.approx(np.hypot(1.0, 0.3), rel=0.05)


def test_the_same_slides_give_the_same_numbers_and_other_seeds_near_ones() -> None:
    data = model_data(_evening({"A": -1.9, "B": -1.7, "C": -2.2, "D": 0.1}))
    one, again, other = (fit(data, seed).angle("A", "slick") for seed in (1, 1, 2))
    np.testing.assert_array_equal(one, again)
    first, second = interval(one), interval(other)
    half = (first.upper - first.lower) / 2.0
    assert abs(first.upper - second.upper) < 0.15 * half
    assert abs(first.lower - second.lower) < 0.15 * half
