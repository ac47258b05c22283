"""Units that people type, and what one of each is in the unit that `rig` keeps.

The inch and the pound are the international ones, exact by the agreement of 1959; all factors are
as in NIST SP 811 (2008), appendix B.
"""

from typing import NamedTuple

INCH_MM = 25.4
POUND_G = 453.59237
OUNCE_G = POUND_G / 16.0
"""Avoirdupois."""
INCH_OF_MERCURY_HPA = 33.86389
"""The conventional one, at 0 °C."""
FAHRENHEIT_PER_K = 1.8
FREEZING_F = 32.0
FREEZING_K = 273.15
RADIAN_DEG = 57.29577951308232


class Unit(NamedTuple):
    """What is typed in this unit, times `factor`, plus `offset`, is in the unit kept."""

    factor: float = 1.0
    offset: float = 0.0


KEPT = Unit()
_OUNCE, _POUND, _INCH = Unit(OUNCE_G), Unit(POUND_G), Unit(INCH_MM)
_FAHRENHEIT = Unit(1.0 / FAHRENHEIT_PER_K, -FREEZING_F / FAHRENHEIT_PER_K)
_F_APART = Unit(1.0 / FAHRENHEIT_PER_K)
_SECONDS = {"s": KEPT, "sec": KEPT, "min": Unit(60.0), "h": Unit(3600.0), "d": Unit(86400.0)}


def _times(unit_s: float) -> dict[str, Unit]:
    return {name: Unit(one.factor / unit_s) for name, one in _SECONDS.items()}


UNITS: dict[str, dict[str, Unit]] = {
    "°C": {
        **dict.fromkeys(("°c", "c", "celsius"), KEPT),
        **dict.fromkeys(("°f", "f", "fahrenheit"), _FAHRENHEIT),
        "k": Unit(1.0, -FREEZING_K),
    },
    "K": {
        **dict.fromkeys(("k", "°c", "c", "celsius"), KEPT),
        **dict.fromkeys(("°f", "f", "fahrenheit"), _F_APART),
    },
    "g": {
        **dict.fromkeys(("g", "gram", "grams"), KEPT),
        "kg": Unit(1000.0),
        **dict.fromkeys(("oz", "ounce", "ounces"), _OUNCE),
        **dict.fromkeys(("lb", "lbs", "pound", "pounds"), _POUND),
    },
    "mm": {
        "mm": KEPT,
        "cm": Unit(10.0),
        **dict.fromkeys(('"', "in", "inch", "inches"), _INCH),
    },
    "s": _times(1.0),
    "min": _times(60.0),
    "h": _times(3600.0),
    "°": {**dict.fromkeys(("°", "degree", "degrees"), KEPT), "rad": Unit(RADIAN_DEG)},
    "°/s": dict.fromkeys(("°/s", "degrees/s"), KEPT),
    "%": dict.fromkeys(("%", "%rh", "rh"), KEPT),
    "": {},
}
"""By the unit kept: what may be typed. `K` is a difference of temperatures, where 9 °F are 5 K."""

_SAME = str.maketrans({"º": "°", "˚": "°", "″": '"', "”": '"', "“": '"', "ʺ": '"', " ": ""})


def unit_named(kept: str, typed: str) -> Unit | None:
    """The unit that was typed, where `kept` is the one kept; None if it is none of that kind.

    Args:
        kept: one of `UNITS`.
        typed: as typed; without one it is the unit kept.
    """
    name = typed.translate(_SAME).casefold().removesuffix(".").replace("''", '"')
    if name.startswith("deg") and not name.startswith("degree"):
        name = f"°{name[3:]}"
    return UNITS[kept].get(name) if name else KEPT
