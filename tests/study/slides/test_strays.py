"""A slip of a digit or another bag is asked about; what slides do by themselves is not."""

from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from rig.study.slides.slide import Slide
from rig.study.slides.strays import strays
from rig.study.slides.table import slide_table
from tests.study.answer.evening import evening
from tests.study.model.example import slides_of


def texts(*slides: Slide) -> list[str]:
    return [one.text for one in strays(slides)]


def read(session: str, angles: list[float], day: int, line: int, **more: Any) -> list[Slide]:
    return [
        replace(one, line=line, series=f"by hand, line {line}")
        for one in slides_of("A", session, angles, reader="ann", day=day, **more)
    ]


def test_a_digit_that_is_wrong_is_asked_about() -> None:
    first, second = read("s1", [22.0, 42.0, 22.5], 1, 4), read("s2", [22.0, 22.5], 2, 5)
    (one,) = strays([*first, *second])
    assert one.slide.line == 4
    assert one.slide.onset_angle_deg == 42.0
    assert one.text == (
        "Slides of one series of A, slick lie 20.0° apart (22.0, 42.0, 22.5°): is 42.0° right? If"
        " not, `rig study withdraw STUDY 4` takes it out, and it can be noted anew."
    )


def test_a_series_far_from_those_before_is_asked_about() -> None:
    before = read("s1", [22.0, 22.5], 1, 4)
    assert texts(*before, *read("s2", [27.5, 28.0], 2, 5)) == []
    (text,) = texts(*before, *read("s2", [29.0, 28.5], 2, 5))
    assert text.startswith("A, slick slid 6.5° above what it did before (2026-03-02): right bag")
    (text,) = texts(*before, *read("s2", [15.0, 15.5], 2, 5))
    assert "7.0° below" in text


@pytest.mark.parametrize(
    "other", [{"treated": ["soak"]}, {"face": "grip"}, {"board": "pine"}], ids=str
)
def test_after_a_treatment_and_elsewhere_it_may_be_otherwise(other: dict[str, object]) -> None:
    before = read("s1", [22.0, 22.5], 1, 4)
    assert texts(*before, *read("s2", [32.0, 32.5], 2, 5, **other)) == []


def test_a_wrong_series_does_not_accuse_the_next_ones() -> None:
    slides = [
        *read("s1", [22.0, 42.0], 1, 4),
        *read("s2", [22.0, 22.5], 2, 5),
        *read("s3", [22.0, 22.5], 3, 6),
    ]
    assert [one.slide.line for one in strays(slides)] == [4]


def test_who_scatters_much_is_asked_about_less() -> None:
    calm = [read(f"s{i}", [22.0, 22.4, 22.2], i, i) for i in range(1, 6)]
    wild = [read(f"s{i}", [22.0, 24.0, 22.2], i, i) for i in range(1, 6)]
    odd = read("s6", [22.0, 27.0, 22.2], 6, 6)
    assert len(texts(*chain(*calm), *odd)) == 1
    assert texts(*chain(*wild), *odd) == []


def test_a_rig_is_not_excused_by_a_reader_who_scatters() -> None:
    wild = [read(f"s{i}", [22.0, 24.0, 22.2], i, i) for i in range(1, 6)]
    rig = [slides_of("A", f"r{i}", [22.0, 22.4], day=i) for i in (1, 2)]
    odd = slides_of("A", "r3", [22.0, 27.0], day=3)
    assert len(texts(*chain(*wild, *rig), *odd)) == 1


def test_a_run_is_put_right_by_its_id() -> None:
    slides = slides_of("A", "s1", [22.0, 42.0])
    (text,) = texts(*(replace(one, run_file="runs/x.jsonl", slide_id="k7") for one in slides))
    assert text.endswith("If not, `rig study correct STUDY k7` says what it was.")


def test_evenings_as_they_are_raise_no_question(tmp_path: Path) -> None:
    for seed in range(1, 11):
        study = evening(tmp_path / f"{seed}", effect_deg=-4.0, slides=5, seed=seed)
        assert strays(slide_table(study).valid) == []
    rng = np.random.default_rng(5)
    for _ in range(200):
        many = [read(f"s{i}", rng.normal(22.0, 0.6, 5).tolist(), i, i) for i in range(1, 9)]
        assert strays(chain(*many)) == []
