"""Figures, units, states and times in words, against values worked out by hand."""

from typing import get_args

import pytest

from rig.panel.words import (
    STATES,
    UNITS,
    Units,
    count,
    degrees,
    duration,
    humidity,
    pressure,
    temperature,
)
from rig.quantities.figures import fixed
from rig.runfile.model import State


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        (12.344, 2, "12.34"),
        (12.346, 2, "12.35"),
        (-12.346, 2, "−12.35"),
        (0.0051, 2, "0.01"),
        (0.0049, 2, "0.00"),
        (-0.0049, 2, "0.00"),
        (-0.0051, 2, "−0.01"),
        (-0.0, 1, "0.0"),
        (29.96, 1, "30.0"),
        (-0.4, 0, "0"),
        (-0.6, 0, "−1"),
    ],
)
def test_figures_are_rounded_and_have_a_true_minus_and_none_before_nought(
    value: float, places: int, text: str
) -> None:
    assert fixed(value, places) == text
    assert degrees(value, places) == f"{text}°"


def test_an_angle_has_two_places_and_what_is_not_known_is_a_dash() -> None:
    assert degrees(-12.3) == "−12.30°"
    assert degrees(None) == "–"
    assert temperature(None, "metric") == temperature(None, "us") == "–"
    assert pressure(None, "metric") == pressure(None, "us") == humidity(None) == "–"


@pytest.mark.parametrize(
    ("celsius", "metric", "us"),
    [
        (100.0, "100.0 °C", "212.0 °F"),
        (0.0, "0.0 °C", "32.0 °F"),
        (-40.0, "−40.0 °C", "−40.0 °F"),
        (-0.04, "0.0 °C", "31.9 °F"),
        (23.46, "23.5 °C", "74.2 °F"),
    ],
)
def test_temperatures(celsius: float, metric: str, us: str) -> None:
    assert temperature(celsius, "metric") == metric
    assert temperature(celsius, "us") == us


def test_pressure_and_humidity() -> None:
    assert pressure(1013.25, "metric") == "1013 hPa"
    assert pressure(1013.25, "us") == "29.92 inHg"  # the standard atmosphere, ISO 2533
    assert pressure(33.86389e2, "us") == "100.00 inHg"  # NIST SP 811, appendix B.8
    assert humidity(51.2) == "51 %RH"
    assert humidity(51.6) == "52 %RH"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "about 5 s"),
        (2.0, "about 5 s"),
        (7.4, "about 5 s"),
        (7.6, "about 10 s"),
        (61.0, "about 60 s"),
        (89.9, "about 90 s"),
        (90.0, "about 2 min"),
        (300.0, "about 5 min"),
        (89.9 * 60, "about 90 min"),
        (90.0 * 60, "about 1.5 h"),
        (9000.0, "about 2.5 h"),
    ],
)
def test_times_are_said_no_finer_than_they_are_known(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_one_of_a_thing_has_no_plural() -> None:
    assert [count(n, "run") for n in (0, 1, 2)] == ["0 runs", "1 run", "2 runs"]


def test_every_state_has_its_tone_and_says_when_to_keep_clear() -> None:
    assert set(STATES) == set(get_args(State))
    tones = {state: tone for state, (tone, _) in STATES.items()}
    assert tones == {
        "parked": "rest", "homing": "move", "placing": "wait", "dwelling": "measure",
        "raising": "measure", "sliding": "measure", "lowering": "move", "halted": "halt",
    }  # fmt: skip
    moves = {"homing", "raising", "lowering"}
    assert {state for state, (_, text) in STATES.items() if "Keep clear" in text} == moves


def test_there_are_two_systems_of_units() -> None:
    assert UNITS == get_args(Units) == ("metric", "us")
