"""Ranges of what a person notes or asks: the same for commands, page and files of readings."""

from typing import NamedTuple

from msgspec import Meta


class Range(NamedTuple):
    """Both ends belong to it; `quantity(what, text, *RANGE)` takes a value from a text."""

    unit: str
    low: float
    high: float

    @property
    def meta(self) -> Meta:
        """The same for the type of a line."""
        return Meta(ge=self.low, le=self.high)


AIR_C = Range("°C", -40.0, 70.0)
ASKED_AIR_C = Range("°C", -20.0, 50.0)
"""Air that an answer is asked for: nobody plays outside of it (judged)."""
HUMIDITY_PCT = Range("%", 0.0, 100.0)
BOARD_C = Range("°C", -40.0, 90.0)
READ_DEG = Range("°", 0.01, 89.99)
MASS_G = Range("g", 50.0, 2000.0)
OVERHANG_MM = Range("mm", 1.0, 300.0)
THROWS = Range("", 1, 100_000)
