"""Quantities as shown, against NIST SP 811 (2008), appendix B, and sentences with names in them."""

import pickle

import msgspec
import pytest

from rig.quantities.figures import figure, fixed, signed
from rig.quantities.said import Amount, Said, worded
from rig.quantities.shown import METRIC, US, Kind, system


@pytest.mark.parametrize(
    ("kind", "value", "digits", "metric", "us"),
    [
        ("c", 0.0, 0, "0 °C", "32 °F"),
        ("c", 100.0, 1, "100.0 °C", "212.0 °F"),
        ("c", -40.0, 0, "−40 °C", "−40 °F"),
        ("k", 5.0, 0, "5 °C", "9 °F"),
        ("k", -10.0, 0, "−10 °C", "−18 °F"),
        ("mm", 25.4, 0, "25 mm", "1.00 in"),
        ("g", 283.49523125, 0, "283 g", "10.0 oz"),
        ("hpa", 33.86389, 0, "34 hPa", "1.00 inHg"),
        ("hpa", 1013.25, 0, "1013 hPa", "29.92 inHg"),  # the standard atmosphere, ISO 2533
        ("rh", 51.6, 0, "52 %RH", "52 %RH"),
    ],
)
def test_a_quantity_in_both_systems(
    kind: Kind, value: float, digits: int, metric: str, us: str
) -> None:
    assert system("metric")[kind].text(value, digits) == metric
    assert system("us")[kind].text(value, digits) == us
    assert METRIC[kind].text(None) == US[kind].text(None) == "–"


def test_both_systems_know_the_same_kinds() -> None:
    assert set(METRIC) == set(US)
    assert METRIC["per10"].figure(-0.12, "+.2f") == US["per10"].figure(-0.12, "+.2f") == "−1.20"


def test_signs_are_true_and_nothing_has_none() -> None:
    assert signed(-1.234) == "−1.23"
    assert signed(1.234, 1) == "+1.2"
    assert signed(-0.001) == signed(0.001) == fixed(-0.001, 2) == "0.00"
    assert fixed(1.5, 1) == "1.5"
    assert figure(-3, "d") == "−3"


BIRCH = "18 mm birch"
SENTENCE = Said(
    "On {} the air is {} warmer than {} to {}; {} of {{fill}} was lost.",
    f"{BIRCH} {{0}}",
    Amount(5.0, "k"),
    Amount(16.0, "c", has_unit=False),
    Amount(30.0, "c"),
    Amount(440.0, "g", 1),
)


def test_a_sentence_is_worded_from_its_quantities_and_leaves_names_alone() -> None:
    said = "On 18 mm birch {0} the air is 5 °C warmer than 16 to 30 °C; 440.0 g of {fill} was lost."
    assert SENTENCE == said == SENTENCE.text("metric") == worded(SENTENCE, "metric")
    assert worded(SENTENCE, "us") == (
        "On 18 mm birch {0} the air is 9 °F warmer than 61 to 86 °F; 15.52 oz of {fill} was lost."
    )
    assert worded("a board of 1219 mm", "us") == "a board of 1219 mm"


def test_a_sentence_is_a_plain_text_in_files() -> None:
    assert msgspec.to_builtins([SENTENCE], enc_hook=str.__str__) == [str(SENTENCE)]
    assert pickle.loads(pickle.dumps(SENTENCE)).text("us") == SENTENCE.text("us")  # noqa: S301
