"""Quantities as a person types them: `22`, `22,5`, `75F`, `15.5oz`, `0.3in`, `23:2`."""

import re
from typing import NamedTuple

from rig.errors import BadInputError
from rig.quantities.units import KEPT, unit_named

LONGEST = 20
"""Most characters of a typed number."""
LEAST_TOLERANCE = 0.01

_NUMBER = r"[+\-−]?[0-9.,]*(?:[eE][+-]?[0-9]+)?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(.*)", re.DOTALL)
_THOUSANDS = re.compile(r"[+\-−]?[1-9][0-9]{0,2}(,[0-9]{3})+")

_SHOWN = {"K": "°C"}
_OTHERS = {"°C": ("°F",), "K": ("°F",), "g": ("oz",), "mm": ("in",), "min": ("h",), "h": ("min",)}
"""Units named to the person beside the one kept."""


class Typed(NamedTuple):
    """A typed quantity and its value."""

    value: float
    """In the unit kept."""
    unit: str
    """The unit kept; one of `rig.quantities.units.UNITS`."""
    text: str
    is_plain: bool
    """It was typed as `rig` keeps it: nothing was converted, nothing taken for something else."""

    @property
    def shown(self) -> str:
        """The value as it is taken, and in brackets as it was typed if that is another."""
        kept = with_unit(f"{self.value:.4g}", self.unit)
        return kept if self.is_plain else f"{kept} ({self.text.strip()} as typed)"


def with_unit(figure: str, unit: str) -> str:
    """A figure and its unit; no space before the sign of a degree."""
    return f"{figure}{'' if unit in ('', '°') else ' '}{_SHOWN.get(unit, unit)}"


def number(what: str, text: str, *, decimal_comma: bool = False) -> float | None:
    """A number with a point or a comma before its decimals; None if it is not a number.

    Args:
        what: its name, for the sentence about a mistake.
        text: as typed, without a unit.
        decimal_comma: a comma is known to stand before decimals, as in a table with `;`.

    Raises:
        BadInputError: its comma may separate thousands or decimals.
    """
    text = text.strip()
    is_mixed = "," in text and ("." in text or text.count(",") > 1)
    if not decimal_comma and (is_mixed or _THOUSANDS.fullmatch(text)):
        raise BadInputError(
            f"{what}: {_cut(text)!r} can be read in two ways, for a comma may stand before"
            " decimals or between thousands; write it with a point or without either."
        )
    if len(text) > LONGEST or not re.fullmatch(_NUMBER, text):
        return None
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return None


def quantity(what: str, text: str, unit: str, low: float, high: float) -> Typed:
    """The quantity in a text such as `22`, `22 C`, `75F` or `22,5`.

    Args:
        what: its name, for the sentence about a mistake.
        text: as typed; another unit of the kind may stand behind the number.
        unit: the one kept; a number alone is in it.
        low: least value allowed, in that unit.
        high: greatest value allowed.

    Raises:
        BadInputError: it is not a number, has a unit of another kind, or is out of range.
    """
    found = _read(what, text, unit)
    if found is None:
        kinds = " or ".join((_SHOWN.get(unit, unit), *_OTHERS.get(unit, ())))
        raise BadInputError(f"{what} takes a number{kinds and f' in {kinds}'}, not {_cut(text)!r}.")
    if not low <= found.value <= high:
        beyond = _cut(text) if found.is_plain else f"{_cut(text.strip())} ({found.value:.4g})"
        raise BadInputError(
            f"{what} must lie between {low:g} and {with_unit(f'{high:g}', unit)}, not {beyond!r}."
        )
    return found


def with_tolerance(
    what: str,
    text: str,
    unit: str,
    low: float,
    high: float,
    usual: float,
    least: float = LEAST_TOLERANCE,
) -> tuple[Typed, Typed]:
    """A quantity and its tolerance from a text such as `23:2` or `75F:4F`.

    Without a tolerance it is `usual`; without a unit it is in that of the quantity.
    """
    first, colon, second = text.partition(":")
    value = quantity(what, first, unit, low, high)
    apart = "K" if unit == "°C" else unit
    if not colon:
        return value, Typed(usual, apart, f"{usual:g}", True)
    match = _QUANTITY.fullmatch(first.strip())
    if match is not None and is_bare(second):
        second += match[2]
    behind = f"{what} (behind the colon)"
    return value, quantity(behind, second, apart, least, high - low)


def is_bare(text: str) -> bool:
    """Whether a text has a number and no unit."""
    match = _QUANTITY.fullmatch(text.strip())
    return match is not None and bool(match[1]) and not match[2]


def _read(what: str, text: str, unit: str) -> Typed | None:
    match = _QUANTITY.fullmatch(text.strip())
    if match is None:
        return None
    value, typed = number(what, match[1]), unit_named(unit, match[2])
    if value is None or typed is None:
        return None
    if typed != KEPT:
        # Without the last digits, or 122 °F would lie above a limit of 50 °C.
        value = float(f"{value * typed.factor + typed.offset:.12g}")
    return Typed(value, unit, text, typed == KEPT and "," not in match[1])


def _cut(text: str) -> str:
    return text if len(text) <= 2 * LONGEST else f"{text[: 2 * LONGEST]}…"
