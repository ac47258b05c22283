import numpy as np
import pytest
from msgspec.structs import replace

from rig.runfile.model import Flag
from rig.study.model.data import Facts, model_data
from rig.study.model.design import design_of
from rig.study.model.history import Application, Played
from rig.study.model.likelihood import Likelihood
from rig.study.slides.slide import Applied
from tests.study.model.example import slides_of


def test_a_series_becomes_its_mean_and_its_scatter() -> None:
    (one,) = model_data(slides_of("A", "s1", [24.0, 25.0, 23.0], humidity=44.0)).series
    assert (one.n, one.mean_deg, one.squares) == (3, 24.0, 2.0)
    assert one.humidity_pct == 44.0
    # 1/1, 1/2 and 1/3 about their mean 11/18, which is 5/18 above the third slide's.
    assert one.settling == pytest.approx(5.0 / 18.0)
    assert one.settling_squares == pytest.approx(1.0 + 0.25 + 1.0 / 9.0 - 3.0 * (11.0 / 18.0) ** 2)
    assert one.settling_products == pytest.approx(0.5 - 1.0 / 3.0)
    assert (one.instrument, one.method, one.by_hand) == ("rig one", "1 °/s", False)


@pytest.mark.parametrize(
    "other",
    [
        {"face": "grip"},
        {"board": "pine"},
        {"reader": "ann"},
        {"treated": ["soak"]},
        {"rate_deg_s": 0.3},
        {"rig": "two"},
    ],
)
def test_slides_of_one_session_that_differ_are_series_of_their_own(other) -> None:
    slides = [*slides_of("A", "s1", [24.0]), *slides_of("A", "s1", [24.0, 24.1], before=1, **other)]
    assert [one.n for one in model_data(slides).series] == [1, 2]


def test_slides_that_do_not_count_wear_the_bag_alone() -> None:
    slides = [
        *slides_of("A", "s1", [24.0, 24.1]),
        *slides_of("A", "s2", [29.0], before=2, valid=False),
        *slides_of("A", "s3", [24.0, 24.0], before=3),
    ]
    data = model_data(slides)
    assert [one.state.slides for one in data.series] == [0.5, 3.5]
    assert data.now["A", "slick"].slides == 5.0
    assert data.n_slides == 4


def test_the_study_begins_with_the_first_slide_however_worn_the_bag() -> None:
    data = model_data(slides_of("A", "s1", [24.0], before=700))
    assert data.now["A", "slick"].slides == 1.0


def test_treatments_are_those_of_the_journal_in_order() -> None:
    slides = [
        *slides_of("A", "s1", [24.0]),
        *slides_of("A", "s2", [23.0], treated=["soak"], before=1, day=2),
        *slides_of("A", "s3", [22.0], treated=["soak", "wash"], before=2, day=3),
    ]
    later = Applied("soak", (), "2026-03-09T00:00:00Z", 9999)
    facts = Facts(recipes=("dip",), done={"A": (*slides[-1].treatments, later)})
    data = model_data(slides, facts)
    assert [one.state.applications for one in data.series] == [(), (0,), (0, 1)]
    assert data.applications[2] == Application("A", "soak", 9999)
    assert data.now["A", "slick"].applications == (0, 1, 2)
    assert data.recipes == ("dip", "soak", "wash")
    assert data.tested == ("soak", "wash")
    assert model_data(slides).now["A", "slick"].applications == (0, 1)


def test_steps_without_a_recipe_are_one_by_their_names() -> None:
    slides = slides_of("A", "s1", [24.0], treated=["soak"])
    data = model_data(slides)
    assert data.tested == ("soak",)


def test_throws_count_from_their_time_on_and_for_their_bag() -> None:
    slides = [
        *slides_of("A", "s1", [24.0]),
        *slides_of("A", "s2", [23.0], treated=["soak"], before=1, day=3),
        *slides_of("A", "s3", [23.0], treated=["soak"], before=2, day=5),
    ]
    plays = [("A", 2, 100), ("A", 4, 30), ("A", 6, 7), ("B", 2, 5000)]
    facts = Facts(plays=tuple(Played(b, f"2026-03-{d:02d}T00:00:00Z", n) for b, d, n in plays))
    data = model_data(slides, facts)
    assert [one.state.throws for one in data.series] == [0.0, 100.0, 130.0]
    assert [one.state.since for one in data.series] == [0.0, 0.0, 31.0]
    now = data.now["A", "slick"]
    assert (now.throws, now.since) == (137.0, 39.0)


def test_air_that_is_not_known_is_the_sessions_or_else_the_studys() -> None:
    slides = [
        *slides_of("A", "s1", [24.0], humidity=40.0),
        *slides_of("B", "s1", [24.0], humidity=None),
        *slides_of("A", "s2", [24.0], humidity=60.0, before=1),
        *slides_of("A", "s3", [24.0], humidity=None, before=2),
    ]
    data = model_data(slides)
    assert [one.humidity_pct for one in data.series] == [40.0, 40.0, 60.0, 50.0]
    assert data.n_without_air == 2


def test_a_check_at_another_rate_says_nothing_of_the_level() -> None:
    checked = slides_of("A", "s2", [26.0], before=1, purpose="check")
    bridge = slides_of("A", "s3", [24.5], before=2, purpose="bridge", method="quick 0.3 °/s")
    early: tuple[Flag, ...] = ("slid_early",)
    of_check = slides_of("A", "s4", [19.0], before=3, purpose="check", valid=False, flags=early)
    data = model_data([*slides_of("A", "s1", [24.0]), *checked, *bridge, *of_check])
    assert [one.mean_deg for one in data.series] == [24.0, 24.5]
    assert data.censored == ()
    assert data.series[1].method == "quick 0.3 °/s"


def test_slides_of_two_methods_are_two_series() -> None:
    whole = slides_of("A", "s1", [24.0], method="whole 1 °/s")
    quick = slides_of("A", "s1", [24.5], before=1, method="quick 1 °/s")
    assert [one.n for one in model_data([*whole, *quick]).series] == [1, 1]


def test_an_early_slide_is_a_bound_unless_a_person_took_it_out() -> None:
    early: tuple[Flag, ...] = ("slid_early", "gap_unknown")
    fell = "bag fell"
    slides = [
        *slides_of("A", "s1", [24.0]),
        *slides_of("A", "s2", [21.0], before=1, valid=False, flags=early),
        *slides_of("A", "s3", [20.0], before=2, valid=False, flags=early, void=fell),
        *slides_of("A", "s4", [19.0], before=3, valid=False, flags=("no_slide",)),
    ]
    data = model_data(slides)
    assert [one.below_deg for one in data.censored] == [21.0]
    assert [one.mean_deg for one in data.series] == [24.0]
    assert data.rows[-1].state.slides == 1.0


def test_slides_of_treated_bags_soil_their_board_within_a_session() -> None:
    slides = [
        *slides_of("A", "s1", [24.0, 24.0]),
        *slides_of("B", "s1", [24.0, 24.0], treated=["soak"]),
        *slides_of("C", "s1", [24.0]),
        *slides_of("D", "s1", [24.0], board="pine"),
        *slides_of("C", "s2", [24.0], before=1),
    ]
    data = model_data(slides)
    assert [one.residue_slides for one in data.series] == [0.0, 0.5, 2.0, 0.0, 0.0]


def test_rows_without_a_bag_or_a_face_are_left_out() -> None:
    (slide,) = slides_of("A", "s1", [24.0])
    assert not model_data([replace(slide, bag=None), replace(slide, face=None)]).rows


def test_a_lift_that_is_less_certain_than_usual_weighs_less() -> None:
    told, angles = [0.1, 0.1, 0.1, 0.5], [24.0123, 24.1071, 23.9134, 24.0219]
    slides = [
        replace(one, source="hand", reader="Ida", trace="x", u_random_deg=u)
        for one, u in zip(slides_of("A", "s1", angles, reader="Ida"), told, strict=True)
    ]
    (one,) = model_data(slides).series
    # The usual 0.1 is in the scatter of slides already; the excess of one in four counts.
    assert one.extra_variance == pytest.approx((0.25 - 0.01) / 16.0)
    assert one.instrument == "reader Ida, by phone"
    (sure,) = model_data(slides[:3]).series
    assert sure.extra_variance == 0.0
    design = design_of(model_data(slides))
    likelihood = Likelihood(design, ())
    u = np.zeros(len(likelihood.names))
    _, parts = likelihood.solve(u)
    plain = Likelihood(design._replace(extra_variance=np.zeros(1)), ()).solve(u)[1]
    assert parts.variance - plain.variance == pytest.approx(0.24 / 16.0)
