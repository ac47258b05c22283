"""Quantities as typed: the unit that counts, others converted to tell, limits from both sides."""

from datetime import UTC, datetime

import pytest

from rig.commands.quantities import quantity, utc_of, with_tolerance
from rig.errors import BadInputError


@pytest.mark.parametrize(
    ("text", "unit", "would_be"),
    [
        ("212 F", "°C", "100"),
        ("212 °F", "°C", "100"),
        ("300 K", "°C", "26.85"),
        ("10 oz", "g", "283.5"),
        ("0.5 kg", "g", "500"),
        ("2 lb", "g", "907.2"),
        ("2 in", "mm", "50.8"),
        ('2"', "mm", "50.8"),
        ("2 cm", "mm", "20"),
        ("2 h", "min", "120"),
        ("30 s", "min", "0.5"),
        ("90 min", "h", "1.5"),
        ("2 d", "h", "48"),
        ("1 rad", "°", "57.3"),
    ],
)
def test_another_unit_is_refused_with_the_number_that_was_meant(
    text: str, unit: str, would_be: str
) -> None:
    with pytest.raises(BadInputError) as refused:
        quantity("--x", text, unit, -1e3, 1e3)
    assert str(refused.value) == (
        f"--x takes a number in {unit}, not {text!r}; that would be {would_be}."
    )


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("22", "°C", 22.0),
        (" -.5 C ", "°C", -0.5),
        ("+5. %RH", "%", 5.0),
        ("5 rh", "%", 5.0),
        ("3 deg", "°", 3.0),
        ("7 MM", "mm", 7.0),
    ],
)
def test_the_unit_may_stand_behind_the_number(text: str, unit: str, value: float) -> None:
    assert quantity("--x", text, unit, -10.0, 100.0) == value


@pytest.mark.parametrize("text", ["", "warm", "5 parsec", "1,5", "1 2"])
def test_what_is_no_quantity_is_refused_without_a_guess(text: str) -> None:
    with pytest.raises(BadInputError, match="takes a number in °C") as refused:
        quantity("--x", text, "°C", -10.0, 100.0)
    assert "would be" not in str(refused.value)


def test_limits_are_allowed_themselves() -> None:
    assert quantity("--x", "-20", "°C", -20, 50) == -20.0
    assert quantity("--x", "50", "°C", -20, 50) == 50.0
    for text in ("-20.1", "50.1"):
        with pytest.raises(BadInputError, match="must lie between -20 and 50 °C"):
            quantity("--x", text, "°C", -20, 50)


def test_a_tolerance_stands_behind_a_colon() -> None:
    assert with_tolerance("--x", "23:2", "°C", 10, 40, 1.0) == (23.0, 2.0)
    assert with_tolerance("--x", "23", "°C", 10, 40, 1.0) == (23.0, 1.0)
    assert with_tolerance("--x", "23:0.01", "°C", 10, 40, 1.0) == (23.0, 0.01)
    assert with_tolerance("--x", "23:30", "°C", 10, 40, 1.0) == (23.0, 30.0)
    for text in ("23:0.009", "23:30.1", "23:"):
        with pytest.raises(BadInputError, match="behind the colon"):
            with_tolerance("--x", text, "°C", 10, 40, 1.0)


def test_times_are_kept_in_utc() -> None:
    assert utc_of("--at", " 2026-05-30T14:05+02:00 ") == "2026-05-30T12:05:00Z"
    now = datetime.fromisoformat(utc_of("--at", None))
    assert abs((datetime.now(UTC) - now).total_seconds()) < 60.0
    with pytest.raises(BadInputError, match="takes a time such as"):
        utc_of("--at", "noon")
