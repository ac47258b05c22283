import pytest

from rig.commands.options import system_of
from rig.errors import BadInputError
from rig.study.words import chance, in_units, p_equals, signed


def test_signs_are_true_and_nothing_has_none() -> None:
    assert signed(-1.234) == "−1.23"
    assert signed(1.234, 1) == "+1.2"
    assert signed(-0.001) == "0.00"


def test_no_chance_is_zero() -> None:
    assert chance(0.0) == "< 0.001"
    assert chance(0.0123) == "0.012"
    assert p_equals(1e-9) == "p < 0.001"
    assert p_equals(0.04) == "p = 0.040"


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        (
            "Temperature 35 °C lies outside 16 to 30 °C.",
            "Temperature 95 °F lies outside 61 to 86 °F.",
        ),
        ("at −10 °C", "at 14 °F"),
        ("at −40 °C", "at −40 °F"),
        ("wanted 20 °C ± 5 °C", "wanted 68 °F ± 9 °F"),
        ("a board of 1219 mm", "a board of 47.99 in"),
        ("a bag of 440 g gains", "a bag of 15.52 oz gains"),
        ("50 %RH and 21.5° stay", "50 %RH and 21.5° stay"),
        ("@page { margin: 10mm }", "@page { margin: 10mm }"),
    ],
)
def test_sentences_in_other_units(metric: str, us: str) -> None:
    assert in_units(metric, "us") == us
    assert in_units(metric, "metric") == metric


def test_unknown_units() -> None:
    with pytest.raises(BadInputError, match="imperial"):
        system_of("imperial")
