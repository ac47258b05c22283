"""Slides of several methods: what joins them, and what a check of the material adds."""

from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from rig.study.model.data import model_data
from rig.study.model.draws import Draws, interval
from rig.study.model.fit import fit
from rig.study.model.methods import apart, bridged, checks_of, levels, said
from rig.study.slides.slide import Slide
from tests.study.model.example import slides_of

WHOLE: dict[str, Any] = {"method": "whole 1 °/s", "rate_deg_s": 1.0}
QUICK: dict[str, Any] = {"method": "quick 0.3 °/s", "rate_deg_s": 0.3}
THREE = (-0.1, 0.0, 0.1)


def about(mean: float) -> list[float]:
    return [mean + off for off in THREE]


def two_methods(*bridges: str, shift: float = 0.4) -> list[Slide]:
    """Three bags measured whole, one other with quick starts; bags that were measured both ways."""
    slides: list[Slide] = []
    for bag, mean in (("A", 24.0), ("B", 24.4), ("C", 23.7)):
        slides += slides_of(bag, "s1", about(mean), **WHOLE)
    slides += slides_of("D", "s2", about(24.0 + shift), day=2, **QUICK)
    for bag in bridges:
        slides += slides_of(bag, "s3", about(24.0), day=3, purpose="bridge", **WHOLE)
        more = slides_of(bag, "s3", about(24.0 + shift), day=3, purpose="bridge", **QUICK)
        slides += more
    return slides


def width(draws: Draws, bag: str) -> float:
    found = interval(draws.angle(bag, "slick"))
    return (found.upper - found.lower) / 2.0


def test_methods_mix_through_bridges_alone() -> None:
    """A bag that was measured with the other method is known once a bridge leads there."""
    free, joined = fit(model_data(two_methods())), fit(model_data(two_methods("A")))
    assert width(free, "D") > 1.4 * width(joined, "D")
    assert interval(joined.angle("D", "slick")).median == pytest.approx(24.0, abs=0.25)
    # Those of the usual method are as well known as without any other slide.
    alone = fit(model_data([s for s in two_methods() if s.bag != "D"]))
    assert width(free, "A") == pytest.approx(width(alone, "A"), rel=0.1)
    offset = interval(joined.term("method", "quick 0.3 °/s"))
    assert offset.lower < 0.4 < offset.upper
    assert (offset.upper - offset.lower) / 2.0 < 0.55


def test_slides_of_a_method_apart_still_compare_with_each_other() -> None:
    slides = two_methods()
    slides += slides_of("E", "s2", about(25.4), day=2, **QUICK)
    draws = fit(model_data(slides))
    found = interval(draws.angle("E", "slick") - draws.angle("D", "slick"))
    assert found.median == pytest.approx(1.0, abs=0.3)
    assert found.lower > 0.0


def test_a_bridge_is_one_bag_face_measured_both_ways_in_one_session() -> None:
    both = frozenset({"whole 1 °/s", "quick 0.3 °/s"})
    assert bridged(two_methods()) == []
    assert bridged(two_methods("A")) == [both]
    whole = slides_of("A", "s1", about(24.0), purpose="bridge", **WHOLE)

    def with_quick(**other: object) -> list[frozenset[str]]:
        told: dict[str, Any] = {"purpose": "bridge", **QUICK, **other}
        session = str(told.pop("session", "s1"))
        return bridged([*whole, *slides_of("A", session, about(24.4), **told)])

    assert with_quick() == [both]
    for other in (
        {"session": "s2"}, {"face": "grip"}, {"board": "pine"}, {"rig": "two"},
        {"treated": ["soak"]}, {"purpose": None}, {"purpose": "check"}, {"valid": False},
    ):  # fmt: skip
        assert both not in with_quick(**other)


def test_bridges_join_by_way_of_others() -> None:
    third: dict[str, Any] = {"method": "quick 0.1 °/s", "rate_deg_s": 0.1}
    slides = two_methods("A")
    slides += slides_of("B", "s4", about(24.0), day=4, purpose="bridge", **QUICK)
    slides += slides_of("B", "s4", about(24.0), day=4, purpose="bridge", **third)
    assert bridged(slides) == [{"whole 1 °/s", "quick 0.3 °/s", "quick 0.1 °/s"}]
    assert apart(slides) == []


def test_what_does_not_mix_is_said_in_one_sentence() -> None:
    (sentence,) = apart(two_methods())
    assert sentence.startswith(
        "3 slides raised by another method (quick 0.3 °/s) than the usual 9 (whole 1 °/s) do not"
    )
    assert "rig run --purpose bridge" in sentence
    assert apart(two_methods("A")) == []
    assert apart(slides_of("A", "s1", about(24.0), reader="ann")) == []


def checked(shift: float, **more: Any) -> list[Slide]:
    fast: dict[str, Any] = {
        "method": "quick 1 °/s",
        "rate_deg_s": 1.0,
        "purpose": "check",
        "before": 3,
        **more,
    }
    return [
        *slides_of("A", "s1", about(24.0), u_onset_angle_deg=0.05, **QUICK),
        *slides_of("A", "s1", about(24.0 + shift), u_onset_angle_deg=0.05, **fast),
        *slides_of("B", "s1", about(24.0), **QUICK),
    ]


def test_a_check_enters_neither_level_nor_offset_and_a_difference_widens() -> None:
    plain = fit(model_data([s for s in checked(0.0) if s.purpose != "check"]))
    data = model_data(checked(-1.2))
    assert [one.n for one in data.series] == [3, 3]
    (check,) = checks_of(checked(-1.2))
    assert [one.material_deg for one in data.series] == [check.widens_deg, 0.0]
    assert check.widens_deg > 1.0
    draws = fit(data)
    assert np.median(draws.angle("A", "slick")) == pytest.approx(
        float(np.median(plain.angle("A", "slick"))), abs=0.25
    )
    assert width(draws, "A") > 1.2 * width(plain, "A")
    # Slides of the check wear the bag like any others.
    assert data.now["A", "slick"].slides == 6.0


def test_a_check_that_finds_nothing_changes_nothing() -> None:
    assert all(one.material_deg == 0.0 for one in model_data(checked(0.02)).series)
    assert said(checked(0.02)) == []
    (sentence,) = said(checked(-1.2))
    assert "no angle is corrected" in sentence


def test_slides_that_tell_a_level() -> None:
    slides = checked(0.1)
    assert {one.purpose for one in levels(slides)} == {None}
    assert len(levels(slides)) == 6
    assert levels(slides_of("A", "s1", [24.0], valid=False)) == []


def test_slides_left_out_check_nothing() -> None:
    slides = checked(-1.2)
    for changed in ({"valid": False}, {"source": "hand"}, {"onset_angle_deg": None}):
        assert checks_of([*slides[:3], *(replace(slide, **changed) for slide in slides[3:6])]) == []
