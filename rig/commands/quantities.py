"""Quantities as a person types them: numbers in a stated unit, and times."""

import re
from collections.abc import Callable
from datetime import UTC, datetime

from rig.errors import BadInputError
from rig.files.stamps import utc_text

_NUMBER = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*?)\s*$")

_CONVERSIONS: dict[str, dict[str, Callable[[float], float]]] = {
    "°C": {
        "f": lambda x: (x - 32.0) / 1.8,
        "°f": lambda x: (x - 32.0) / 1.8,
        "k": lambda x: x - 273.15,
    },
    "g": {"oz": lambda x: x * 28.349523, "kg": lambda x: x * 1000.0, "lb": lambda x: x * 453.59237},
    "mm": {"in": lambda x: x * 25.4, '"': lambda x: x * 25.4, "cm": lambda x: x * 10.0},
    "min": {"h": lambda x: x * 60.0, "s": lambda x: x / 60.0},
    "h": {"min": lambda x: x / 60.0, "d": lambda x: x * 24.0},
    "°": {"rad": lambda x: x * 57.29578},
    "%": {},
}
"""Other units that people use, only to tell them the right number."""
_ALSO = {"°C": ("c",), "%": ("%rh", "rh"), "°": ("deg",)}


def quantity(option: str, text: str, unit: str, low: float, high: float) -> float:
    """The number in a text such as `22` or `22 C`.

    Args:
        option: its name, for the sentence about a mistake.
        text: as typed; the unit may stand behind the number, but no other unit.
        unit: the one that counts.
        low: least value allowed.
        high: greatest value allowed.

    Raises:
        BadInputError: it is no number, has another unit, or lies outside.
    """
    match = _NUMBER.match(text)
    if match is None:
        raise BadInputError(f"{option} takes a number in {unit}, not {text!r}.")
    value, given = float(match[1]), match[2].lower()
    if given and given not in (unit.lower(), *_ALSO.get(unit, ())):
        convert = _CONVERSIONS[unit].get(given)
        hint = "" if convert is None else f"; that would be {convert(value):.4g}"
        raise BadInputError(f"{option} takes a number in {unit}, not {text!r}{hint}.")
    if not low <= value <= high:
        raise BadInputError(f"{option} must lie between {low:g} and {high:g} {unit}, not {text!r}.")
    return value


def with_tolerance(
    option: str, text: str, unit: str, low: float, high: float, tolerance: float
) -> tuple[float, float]:
    """A number and its tolerance from a text such as `23:2`; the tolerance may be left out."""
    first, colon, second = text.partition(":")
    value = quantity(option, first, unit, low, high)
    if colon:
        tolerance = quantity(f"{option} (behind the colon)", second, unit, 0.01, high - low)
    return value, tolerance


def utc_of(option: str, text: str | None) -> str:
    """A time as the journal writes it (UTC); now if None; without a zone it is local time.

    Raises:
        BadInputError: it is no time.
    """
    if text is None:
        time = datetime.now(UTC)
    else:
        try:
            time = datetime.fromisoformat(text.strip())
        except ValueError:
            raise BadInputError(
                f"{option} takes a time such as 2026-05-30T14:05, not {text!r}."
            ) from None
    return utc_text(time)
