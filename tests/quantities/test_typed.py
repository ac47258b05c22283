"""Quantities as typed, against NIST SP 811 (2008), appendix B.8, and limits from both sides."""

import pytest

from rig.errors import BadInputError
from rig.quantities.typed import is_bare, number, quantity, with_tolerance, with_unit
from rig.quantities.units import UNITS


def value(text: str, unit: str) -> float:
    return quantity("--x", text, unit, -1e6, 1e6).value


@pytest.mark.parametrize(
    ("text", "unit", "kept"),
    # Appendix B.8, to the digits printed there: inch, ounce and pound (avoirdupois), minute, hour,
    # day, radian; degree Fahrenheit: t/°C = (t/°F − 32)/1.8; kelvin: t/°C = T/K − 273.15.
    [
        ("1 in", "mm", 25.4),
        ("1 oz", "g", 28.34952),
        ("1 lb", "g", 453.5924),
        ("1 min", "s", 60.0),
        ("1 h", "s", 3600.0),
        ("1 d", "s", 86400.0),
        ("1 rad", "°", 57.29578),
        ("1 F", "K", 0.5555556),
        ("32 °F", "°C", 0.0),
        ("212 °F", "°C", 100.0),
        ("-40 F", "°C", -40.0),
        ("300 K", "°C", 26.85),
        ("0.5 kg", "g", 500.0),
        ("2 cm", "mm", 20.0),
        ("2 h", "min", 120.0),
        ("30 s", "min", 0.5),
        ("90 min", "h", 1.5),
        ("2 d", "h", 48.0),
    ],
)
def test_other_units_are_converted(text: str, unit: str, kept: float) -> None:
    assert value(text, unit) == pytest.approx(kept, rel=3e-7, abs=1e-9)


def test_inch_and_pound_are_exact_since_1959() -> None:
    assert value("1in", "mm") == 25.4
    assert value("1lb", "g") == 453.59237
    assert value("16oz", "g") == 453.59237


@pytest.mark.parametrize(
    ("text", "unit", "shown"),
    [
        ("15.5oz", "g", "439.4 g (15.5oz as typed)"),
        ("75F", "°C", "23.89 °C (75F as typed)"),
        ("75 °F", "°C", "23.89 °C (75 °F as typed)"),
        ("75 degF", "°C", "23.89 °C (75 degF as typed)"),
        ("9 F", "K", "5 °C (9 F as typed)"),
        ("2in", "mm", "50.8 mm (2in as typed)"),
        ('2"', "mm", '50.8 mm (2" as typed)'),
        ("2″", "mm", "50.8 mm (2″ as typed)"),
        ("2''", "mm", "50.8 mm (2'' as typed)"),
        ("0.3 in.", "mm", "7.62 mm (0.3 in. as typed)"),
        ("22,5", "°C", "22.5 °C (22,5 as typed)"),
        ("0,125", "°", "0.125° (0,125 as typed)"),
        ("22", "°C", "22 °C"),
        (" -.5 C ", "°C", "-0.5 °C"),
        ("−5", "°C", "-5 °C"),
        ("+5. %RH", "%", "5 %"),
        ("5 rh", "%", "5 %"),
        ("3 deg", "°", "3°"),
        ("7 MM", "mm", "7 mm"),
        ("12", "", "12"),
    ],
)
def test_what_was_not_typed_as_it_is_kept_is_said(text: str, unit: str, shown: str) -> None:
    assert quantity("--x", text, unit, -100.0, 1000.0).shown == shown


@pytest.mark.parametrize(
    "text", ["", "warm", "5 parsec", "5 oz", "1 2", "nan", "e5", ".", "5" * 21, "0x1", "1_"]
)
def test_what_is_no_quantity_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match=r"^--x takes a number in °C or °F, not '"):
        quantity("--x", text, "°C", -1e30, 1e30)


def test_a_number_has_twenty_characters_at_most() -> None:
    assert value("1." + "0" * 18, "g") == 1.0
    with pytest.raises(BadInputError, match="takes a number"):
        value("1." + "0" * 19, "g")


@pytest.mark.parametrize("text", ["1,234.5", "1.234,5", "1,234", "-1,234,567", "1,2,3"])
def test_a_comma_that_may_mean_two_things_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match=r"^--x: .* can be read in two ways"):
        value(text, "g")


def test_a_comma_in_a_table_with_semicolons_stands_before_decimals() -> None:
    assert number("angle", "21,345", decimal_comma=True) == 21.345
    assert number("angle", "1,234.5", decimal_comma=True) is None


def test_what_a_computer_calls_a_number_is_none() -> None:
    assert [number("x", text) for text in ("nan", "inf", "1_000", "٣", "0x1p3", "")] == [None] * 6


def test_a_long_text_is_cut_in_the_refusal() -> None:
    with pytest.raises(BadInputError) as refused:
        value("x" * 1000, "g")
    assert len(str(refused.value)) < 100


def test_limits_are_allowed_themselves() -> None:
    for text in ("-20", "50", "122 F"):
        assert quantity("--x", text, "°C", -20, 50).value in (-20.0, 50.0)
    for text in ("-20.1", "50.1", "1e999"):
        with pytest.raises(BadInputError, match="must lie between -20 and 50 °C, not"):
            quantity("--x", text, "°C", -20, 50)
    with pytest.raises(BadInputError, match=r"not '123F \(50.56\)'"):
        quantity("--x", "123F", "°C", -20, 50)


def pair(text: str, usual: float = 1.0) -> tuple[float, float]:
    wanted, width = with_tolerance("--x", text, "°C", 10, 40, usual)
    return wanted.value, width.value


def test_a_tolerance_stands_behind_a_colon() -> None:
    assert pair("23:2") == (23.0, 2.0)
    assert pair("23") == (23.0, 1.0)
    assert pair("22,5:0,5") == (22.5, 0.5)
    assert pair("23:0.01") == (23.0, 0.01)
    assert pair("23:30") == (23.0, 30.0)
    for text in ("23:0.009", "23:30.1", "23:", "23:x", "23:2:1"):
        with pytest.raises(BadInputError, match="behind the colon"):
            pair(text)


@pytest.mark.parametrize("text", ["77F:9F", "77F:9", "77 °F:5 °C", "25:9F"])
def test_a_tolerance_is_a_difference_in_the_unit_of_its_value(text: str) -> None:
    assert pair(text) == pytest.approx((25.0, 5.0))


def test_a_tolerance_of_a_value_that_is_no_temperature_keeps_its_unit() -> None:
    wanted, width = with_tolerance("--x", "2in:0.1", "mm", 0, 100, 1.0)
    assert (wanted.value, width.value, width.unit) == pytest.approx((50.8, 2.54, "mm"))


def test_a_number_without_a_unit_is_bare() -> None:
    assert is_bare(" 0.3 ")
    assert not is_bare("0.3in")
    assert not is_bare("")


def test_a_number_alone_is_in_the_unit_kept() -> None:
    assert {unit: value("7", unit) for unit in UNITS} == dict.fromkeys(UNITS, 7.0)
    assert [with_unit("7", unit) for unit in ("g", "K", "°", "", "°/s")] == [
        "7 g", "7 °C", "7°", "7", "7 °/s",
    ]  # fmt: skip
