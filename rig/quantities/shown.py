"""Quantities in the reader's units; files and JSON stay metric."""

from collections.abc import Callable
from typing import Literal, NamedTuple

from rig.quantities.figures import figure
from rig.quantities.units import (
    FAHRENHEIT_PER_K,
    FREEZING_F,
    INCH_MM,
    INCH_OF_MERCURY_HPA,
    OUNCE_G,
)

System = Literal["metric", "us"]
Kind = Literal["c", "k", "mm", "g", "hpa", "rh", "per10"]
"""Temperature, difference of temperatures, length, mass, air pressure, relative humidity, slope."""

NONE = "–"


class Shown(NamedTuple):
    """How one kind of quantity is shown: its unit, and the value in it."""

    unit: str
    of: Callable[[float], float]
    more_digits: int = 0
    """Digits after the point, beyond those of the metric figure."""

    def figure(self, value: float, spec: str) -> str:
        """The value without its unit; `spec` is the format of the metric figure."""
        whole, dot, digits = spec.partition(".")
        if self.more_digits and dot:
            spec = f"{whole}.{int(digits[:-1]) + self.more_digits}f"
        return figure(self.of(value), spec)

    def text(self, value: float | None, digits: int = 0) -> str:
        """The value with its unit, or a dash."""
        return NONE if value is None else f"{self.figure(value, f'.{digits}f')} {self.unit}"


def _same(value: float) -> float:
    return value


_SLOPE = Shown("per 10 %RH", lambda value: 10.0 * value)
"""Over a difference of humidity that one notices."""
_ALIKE: dict[Kind, Shown] = {"rh": Shown("%RH", _same), "per10": _SLOPE}
METRIC: dict[Kind, Shown] = _ALIKE | {
    "c": Shown("°C", _same),
    "k": Shown("°C", _same),
    "mm": Shown("mm", _same),
    "g": Shown("g", _same),
    "hpa": Shown("hPa", _same),
}
US: dict[Kind, Shown] = _ALIKE | {
    "c": Shown("°F", lambda value: value * FAHRENHEIT_PER_K + FREEZING_F),
    "k": Shown("°F", lambda value: value * FAHRENHEIT_PER_K),
    "mm": Shown("in", lambda value: value / INCH_MM, 2),
    "g": Shown("oz", lambda value: value / OUNCE_G, 1),
    "hpa": Shown("inHg", lambda value: value / INCH_OF_MERCURY_HPA, 2),
}


def system(name: System) -> dict[Kind, Shown]:
    """The kinds of quantity that depend on the system; angles, shares and times don't."""
    return US if name == "us" else METRIC
