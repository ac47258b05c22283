import json

import pytest
from msgspec import structs

from rig.errors import BadInputError
from rig.study.compare import compare
from rig.study.compare_effects import OF_BAGS, THESE_BAGS, THIS_BAG, THIS_SITTING
from rig.study.compare_tables import tables
from rig.study.compare_text import sentences
from rig.study.rows import BagInfo
from tests.study.rows_example import BAGS, SLOPE, make_rows


def test_effect_is_change_of_treated_minus_change_of_controls() -> None:
    result = compare(make_rows(effect_deg=1.0, wear_deg=-0.3, bag_noise_deg=0.05), BAGS)
    (effect,) = result.effects
    assert (effect.treatment, effect.against) == ("soak", "controls")
    assert effect.effect_deg == pytest.approx(1.0, abs=0.2)
    assert effect.lower_deg < 1.0 < effect.upper_deg
    assert effect.df == 4  # six bags less two groups, however many runs
    assert effect.scope == OF_BAGS
    assert effect.found
    assert effect.found_in_family


def test_more_runs_do_not_make_more_bags() -> None:
    few = compare(make_rows(bag_noise_deg=0.3, runs=3), BAGS).effects[0]
    many = compare(make_rows(bag_noise_deg=0.3, runs=30), BAGS).effects[0]
    assert many.u_effect_deg == pytest.approx(few.u_effect_deg, rel=1e-6)
    assert many.df == few.df


def test_two_faces_are_not_two_bags() -> None:
    one = compare(make_rows(bag_noise_deg=0.3), BAGS).effects
    both = compare(make_rows(bag_noise_deg=0.3, faces=("slick", "grip")), BAGS).effects
    assert [effect.face for effect in both] == ["grip", "slick"]
    assert {effect.df for effect in both} == {one[0].df}


def test_one_treated_bag_is_claimed_for_this_bag_only() -> None:
    rows = make_rows(bags=("T1", "C1", "C2", "C3", "R"), bag_noise_deg=0.05)
    result = compare(rows, BAGS)
    assert result.effects[0].scope == THIS_BAG
    assert any("this bag only" in sentence for sentence in sentences(result))


def test_one_bag_each_uses_the_layers_inside_the_bags() -> None:
    rows = make_rows(bags=("T1", "C1"), noise_deg=0.2)
    result = compare(rows, BAGS)
    (effect,) = result.effects
    assert effect.scope in (THESE_BAGS, THIS_SITTING)
    assert effect.u_effect_deg > 0.0
    assert any("no group has two bags" in sentence for sentence in sentences(result))


def test_without_controls_the_change_is_bare_and_sessions_count() -> None:
    result = compare(make_rows(bags=("T1", "T2", "T3"), bag_noise_deg=0.05), BAGS)
    (effect,) = result.effects
    assert effect.against == ""
    assert effect.u_sessions_deg > 0.0
    assert any("has no controls" in sentence for sentence in sentences(result))


def test_shared_sessions_cancel_and_own_sessions_do_not() -> None:
    rows = make_rows(bag_noise_deg=0.05, noise_deg=0.1)
    apart = [
        structs.replace(row, session=f"{row.session} controls") if row.bag[0] == "C" else row
        for row in rows
    ]
    assert compare(rows, BAGS).effects[0].u_sessions_deg == pytest.approx(0.0, abs=1e-6)
    assert compare(apart, BAGS).effects[0].u_sessions_deg > 0.1


def test_unmatched_air_is_corrected_where_a_slope_is_known() -> None:
    rows = [
        *make_rows(stages=("baseline",), airs=(35.0, 45.0), effect_deg=1.0),
        *make_rows(stages=("after 1",), airs=(55.0, 65.0), effect_deg=1.0, seed=2),
    ]
    result = compare(rows, BAGS)
    change = result.changes[next(iter(result.changes))][0]
    assert change.climate_change_pct == pytest.approx(20.0)
    assert change.correction_deg == pytest.approx(1.0, abs=1e-6)
    assert result.effects[0].effect_deg == pytest.approx(1.0, abs=1e-6)
    assert any("not the same before and after" in sentence for sentence in sentences(result))


def test_reference_that_moved_blocks() -> None:
    clean = compare(make_rows(noise_deg=0.1, bag_noise_deg=0.05), BAGS)
    assert not any(shift.moved for shift in clean.references)
    assert clean.references
    dirty = compare(make_rows(noise_deg=0.1, bag_noise_deg=0.05, residue_deg=2.0), BAGS)
    assert any(shift.moved for shift in dirty.references)
    assert dirty.effects[0].blocked
    assert not dirty.effects[0].found
    assert any(sentence.startswith("Blocked") for sentence in sentences(dirty))


def test_the_reference_bag_is_none_of_the_bags_that_are_counted() -> None:
    rows = make_rows(noise_deg=0.1)
    result = compare(rows, BAGS)
    own = [row for row in rows if row.bag != "R"]
    assert len(own) < len(rows)
    assert result.n_runs == len(own)
    assert result.n_bags == len(BAGS) - 1
    # The table of cells shows the reference bag too.
    assert f"(runs: {len(rows)})" in tables(result)


def test_family_is_wider_than_one_comparison() -> None:
    bags = BAGS | {"T2": BagInfo(treatment="wash"), "T3": BagInfo(treatment="wash")}
    bags = bags | {"C3": BagInfo(treatment="soak")}
    result = compare(make_rows(bag_noise_deg=0.3), bags)
    assert len(result.effects) == 3
    for effect in result.effects:
        assert effect.family_size == 3
        assert effect.family_upper_deg > effect.upper_deg
        assert effect.family_p >= effect.p
    (overall,) = result.overall.values()
    assert (overall.df_between, overall.df_within) == (2, 3)
    assert "All groups alike?" in tables(result)


def test_treatment_by_climate_is_found_where_it_is() -> None:
    rows = [
        structs.replace(row, onset_angle_deg=row.onset_angle_deg + 2.0)
        if row.bag[0] == "T" and row.session == "after 1 60"
        else row
        for row in make_rows(noise_deg=0.2, bag_noise_deg=0.05)
    ]
    (terms,) = compare(rows, BAGS).by_climate.values()
    lines = {term.name: term for term in terms}
    assert lines["treatment × climate"].p is not None
    assert lines["treatment × climate"].p < 0.01
    assert lines["bag within treatment"].df == 4
    (plain,) = compare(make_rows(noise_deg=0.2, bag_noise_deg=0.05), BAGS).by_climate.values()
    assert {term.name: term for term in plain}["treatment × climate"].p > 0.01  # type: ignore[operator]


def test_advice_names_the_bag_when_bags_scatter() -> None:
    result = compare(make_rows(effect_deg=0.0, bag_noise_deg=1.0), BAGS)
    ((_, options),) = result.next_for
    assert "bag" in options[0].what
    assert options[0].half_width_deg < options[0].now_deg
    assert any(sentence.startswith("Next for soak") for sentence in sentences(result))


def test_advice_names_repeats_when_runs_scatter() -> None:
    rows = make_rows(effect_deg=0.0, noise_deg=1.0, series=1, runs=2)
    ((_, options),) = compare(rows, BAGS).next_for
    repeats = next(option for option in options if "run in every series" in option.what)
    assert repeats.half_width_deg < repeats.now_deg


def test_faces_boards_and_sets() -> None:
    rows = make_rows(faces=("slick", "grip"), boards=("oak", "ash"), bag_noise_deg=0.1)
    result = compare(rows, BAGS)
    face = next(c for c in result.faces_and_boards if c.what == "face")
    assert (face.first, face.second) == ("grip", "slick")
    assert face.difference_deg == pytest.approx(-6.0, abs=1e-6)
    assert face.n_bags == 6
    board = next(c for c in result.faces_and_boards if c.what == "board")
    assert board.difference_deg == pytest.approx(-0.5)
    baseline = next(s for s in result.sets if s.stage == "baseline" and s.face == "slick")
    assert baseline.pair.first == "heron"
    assert abs(baseline.pair.difference - 0.5) < 0.3
    assert baseline.pair.df == pytest.approx(4.0, abs=0.5)  # Welch's, from two sets of three


def test_weather_is_said_in_a_sentence() -> None:
    rows = make_rows(stages=("baseline",), airs=(30.0, 40.0, 50.0, 60.0, 70.0))
    (said,) = [one for one in sentences(compare(rows, BAGS)) if one.startswith("Weather")]
    assert f"by +{10 * SLOPE:.2f}°" in said
    assert "30 to 70 %RH in 5 sessions" in said


def test_one_run_only() -> None:
    result = compare(make_rows(bags=("T1",), stages=("baseline",), airs=(50.0,), runs=1)[:1], BAGS)
    said = sentences(result)
    assert any("One run only" in sentence for sentence in said)
    assert any("no change can be worked out" in sentence for sentence in said)
    assert result.cells[0].lower_deg is None
    assert "20.00" in tables(result)


def test_empty_cells_are_left_empty() -> None:
    rows = [
        row
        for row in make_rows(bag_noise_deg=0.2, noise_deg=0.1)
        if not (row.bag == "T1" and row.session == "after 1 60")
        and not (row.bag == "C2" and row.stage == "after 1")
    ]
    result = compare(rows, BAGS)
    assert result.effects[0].n_against == 2
    (terms,) = result.by_climate.values()
    assert {t.name: t.df for t in terms}["rest"] == 2


def test_no_humidity_recorded() -> None:
    rows = [structs.replace(row, surface_humidity_pct=None) for row in make_rows(noise_deg=0.1)]
    result = compare(rows, BAGS)
    assert not result.model.slope_known
    assert any("No humidity was recorded" in sentence for sentence in sentences(result))


@pytest.mark.parametrize("wanted", [{"before": "after 7"}, {"after": "wet"}])
def test_unknown_stage(wanted: dict[str, str]) -> None:
    with pytest.raises(BadInputError, match="No run was made at stage"):
        compare(make_rows(), BAGS, **wanted)


def test_nothing_to_compare() -> None:
    with pytest.raises(BadInputError, match="no usable runs"):
        compare([], BAGS)


def test_document_is_plain_json() -> None:
    result = compare(make_rows(noise_deg=0.1, bag_noise_deg=0.1), BAGS)
    document = result.document(sentences(result))
    text = json.dumps(document, allow_nan=False)
    assert json.loads(text)["effects"][0]["treatment"] == "soak"
    assert document["climate_model"]["slope_known"]
