import numpy as np
import pytest
from msgspec import structs

from rig.errors import BadInputError
from rig.study.ask import parse_like, parse_reading
from rig.study.choose import (
    NEW_BOARD_SD_DEG,
    HandReading,
    Wish,
    choose,
    condition,
    current_units,
    wish_like,
    wish_of_mu,
)
from rig.study.climate_model import Air, fit_climate
from rig.study.rows import BagFace
from rig.study.sheet import (
    MOST_ROWS,
    angle_of_height_deg,
    height_mm,
    pick_sentences,
    sheet_html,
    sheet_text,
)
from tests.study.rows_example import BAGS, SLOPE, make_rows

AIR = Air(surface_humidity_pct=50.0, temperature_c=22.0)
ROWS = make_rows(airs=(30.0, 40.0, 60.0, 70.0), noise_deg=0.1)
MODEL = fit_climate(ROWS)


def test_ranks_by_distance_from_the_wish() -> None:
    choice = choose(ROWS, BAGS, MODEL, AIR, Wish(angle_deg=21.7))
    first = choice.candidates[0]
    assert (first.bag, first.stage) == ("T2", "after 1")  # 21 − 0.3 + 1
    assert first.angle_deg == pytest.approx(21.7, abs=0.15)
    misses = [abs(one.miss_deg) for one in choice.candidates]
    assert misses[0] == min(misses)
    assert all(one.bag != "R" for one in choice.candidates)
    assert first.chance_pct > choice.candidates[-1].chance_pct


def test_damp_air_moves_the_pick() -> None:
    dry = choose(
        ROWS, BAGS, MODEL, structs.replace(AIR, surface_humidity_pct=32.0), Wish(angle_deg=21.0)
    )
    damp = choose(
        ROWS, BAGS, MODEL, structs.replace(AIR, surface_humidity_pct=68.0), Wish(angle_deg=21.0)
    )
    a = next(one for one in dry.candidates if one.bag == "T1")
    b = next(one for one in damp.candidates if one.bag == "T1")
    assert b.angle_deg - a.angle_deg == pytest.approx(36.0 * SLOPE, abs=0.2)
    assert dry.candidates[0].bag != damp.candidates[0].bag


def test_wish_like_another_bag_in_another_air() -> None:
    wish = wish_like(MODEL, ROWS, "C1", "slick", "oak", Air(surface_humidity_pct=60.0))
    assert wish.angle_deg == pytest.approx(20.5 - 0.3 + 10.0 * SLOPE, abs=0.15)
    assert wish.u_angle_deg > 0.0
    with pytest.raises(BadInputError, match="was not measured on oak"):
        wish_like(MODEL, ROWS, "C1", "grip", "oak", AIR)


def test_wish_of_a_coefficient() -> None:
    assert wish_of_mu(1.0).angle_deg == pytest.approx(45.0)
    with pytest.raises(BadInputError, match="between 0 and 2"):
        wish_of_mu(-0.1)


def test_readings_shift_the_board_shrunk_by_their_uncertainty() -> None:
    means, covariance = np.array([20.0, 22.0]), np.array([[1.04, 1.0], [1.0, 1.04]])
    units = [BagFace("A", "slick", "oak", "baseline"), BagFace("B", "slick", "oak", "baseline")]
    sure = HandReading(
        bag="A", face="slick", angle_deg=21.0, n=9, u_reader_bias_deg=0.0, scatter_deg=0.3
    )
    moved, left = condition(units, means, covariance, [sure])
    # cov/(var + u²) = 1.04/1.05 for itself and 1.00/1.05 for the other
    assert moved == pytest.approx([20.0 + 1.04 / 1.05, 22.0 + 1.0 / 1.05])
    assert left[1, 1] == pytest.approx(1.04 - 1.0 / 1.05)
    vague = structs.replace(sure, u_reader_bias_deg=2.0)
    little, _ = condition(units, means, covariance, [vague])
    assert 20.0 < little[0] < moved[0] - 0.5
    biased = structs.replace(sure, reader_bias_deg=1.0)
    assert condition(units, means, covariance, [biased])[0] == pytest.approx(means)


def test_readings_narrow_an_unknown_board() -> None:
    wish = Wish(angle_deg=21.0)
    known = choose(ROWS, BAGS, MODEL, AIR, wish)
    new = choose(ROWS, BAGS, MODEL, AIR, wish, board="new one")
    assert any("new one was never measured" in warning for warning in new.warnings)
    assert new.candidates[0].u_angle_deg > NEW_BOARD_SD_DEG > known.candidates[0].u_angle_deg
    reading = HandReading(bag="T1", face="slick", angle_deg=23.0, n=5)
    read = choose(ROWS, BAGS, MODEL, AIR, wish, board="new one", readings=[reading])
    assert read.candidates[0].u_angle_deg < 0.6 * new.candidates[0].u_angle_deg
    assert read.board_shift_deg is not None
    assert 1.0 < read.board_shift_deg < 2.3


def test_reading_of_an_unknown_bag() -> None:
    reading = HandReading(bag="X", face="slick", angle_deg=20.0)
    with pytest.raises(BadInputError, match="X, slick face, can't be used"):
        choose(ROWS, BAGS, MODEL, AIR, Wish(angle_deg=21.0), readings=[reading])


def test_sets_match_or_name_the_odd_one_out() -> None:
    choice = choose(ROWS, BAGS, MODEL, AIR, Wish(angle_deg=21.0, tolerance_deg=1.5))
    herons = next(one for one in choice.sets if one.set == "heron")
    assert herons.n_bags == 3
    assert herons.spread_deg == pytest.approx(2.0, abs=0.2)
    assert herons.matches
    far = [
        structs.replace(row, onset_angle_deg=row.onset_angle_deg + 5.0) if row.bag == "T3" else row
        for row in ROWS
    ]
    choice = choose(far, BAGS, fit_climate(far), AIR, Wish(angle_deg=21.0, tolerance_deg=1.5))
    herons = next(one for one in choice.sets if one.set == "heron")
    assert herons.odd_one_out == "T3"
    assert not herons.matches


def test_the_last_stage_is_what_the_bag_is_now() -> None:
    assert {unit.stage for unit in current_units(ROWS, "oak")} == {"after 1"}


def test_sheet_is_one_self_contained_page() -> None:
    choice = choose(ROWS, BAGS, MODEL, AIR, Wish(angle_deg=21.0, text="<b>& like that"))
    page = sheet_html(choice)
    assert "<b>&amp; like" not in page
    assert "&lt;b&gt;&amp; like that" in page
    assert "http" not in page
    assert "src=" not in page
    assert "size: A4" in page
    assert "size: letter" in sheet_html(choice, paper="letter")
    text = sheet_text(choice)
    for word in ("T1", "heron", "Check the pick with one tilt", "median", "not the thrown bag"):
        assert word in text
        assert word in page
    assert max(map(len, text.splitlines())) < 400


def test_the_pick_is_a_sentence_and_asks_for_readings_until_there_are_some() -> None:
    choice = choose(ROWS, BAGS, MODEL, AIR, Wish(angle_deg=21.0))
    best = choice.candidates[0]
    pick, *rest = pick_sentences(choice)
    assert pick.startswith(f"Pick: {best.bag}, {best.face} face down.")
    assert any("3 times by hand" in sentence for sentence in rest)
    reading = HandReading(bag=best.bag, face=best.face, angle_deg=best.angle_deg, n=3)
    again = choose(ROWS, BAGS, MODEL, AIR, Wish(angle_deg=21.0), readings=[reading])
    assert not any("by hand" in sentence for sentence in pick_sentences(again))


def test_sheet_in_us_units() -> None:
    air = structs.replace(AIR, temperature_c=25.0)
    text = sheet_text(choose(ROWS, BAGS, MODEL, air, Wish(angle_deg=21.0)), units="us")
    assert "77 °F" in text
    assert "board of 47.99 in" in text
    assert "°C" not in text
    assert " mm" not in text


def test_sheet_leaves_out_what_does_not_fit_and_says_so() -> None:
    faces = ("a", "b", "c", "d")
    rows = make_rows(stages=("baseline",), airs=(40.0, 60.0), faces=faces, runs=1, series=1)
    choice = choose(rows, BAGS, fit_climate(rows), AIR, Wish(angle_deg=21.0))
    assert len(choice.candidates) == 24
    assert f"{24 - MOST_ROWS} more faces are left out" in sheet_text(choice)
    assert "PROVISIONAL" in sheet_text(choice)


def test_height_of_the_upper_edge() -> None:
    # 12 in over 3 in on 48 in, as reference.com prints a board, is 10.807°.
    assert angle_of_height_deg(228.6, 1219.2) == pytest.approx(10.807, abs=5e-4)
    assert height_mm(30.0, 1000.0) == pytest.approx(500.0)


def test_the_air_to_be_like_is_taken_as_people_type_it() -> None:
    assert parse_like("C1/slick@oak:77F,50 %RH") == ("C1", "slick", "oak", 25.0, 50.0)
    assert parse_like("C1/slick") == ("C1", "slick", None, None, None)
    for air, why in (
        ("23", "names no bag"),
        ("60,50", "temperature of"),
        ("23,101", "humidity of"),
    ):
        with pytest.raises(BadInputError, match=why):
            parse_like(f"C1/slick:{air}")
    with pytest.raises(BadInputError, match="an invisible character"):
        parse_like("C\u200b1/slick")
    with pytest.raises(BadInputError, match="an invisible character"):
        parse_reading("C\u200b1/slick=21")
