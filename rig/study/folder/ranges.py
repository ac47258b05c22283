"""Ranges of what a person notes or asks: the same for commands, page and files of readings."""

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from msgspec import Meta


class Allowed(NamedTuple):
    """Both ends belong to it; `quantity(what, text, *RANGE)` takes a value from a text."""

    unit: str
    low: float
    high: float

    @property
    def meta(self) -> "Meta":
        """The same for the type of a line."""
        from msgspec import Meta

        return Meta(ge=self.low, le=self.high)


AIR_C = Allowed("°C", -40.0, 70.0)
ASKED_AIR_C = Allowed("°C", -20.0, 50.0)
"""Air that an answer is asked for: nobody plays outside of it (judged)."""
HUMIDITY_PCT = Allowed("%", 0.0, 100.0)
BOARD_C = Allowed("°C", -40.0, 90.0)
READ_DEG = Allowed("°", 0.01, 89.99)
MASS_G = Allowed("g", 50.0, 2000.0)
OVERHANG_MM = Allowed("mm", 1.0, 300.0)
THROWS = Allowed("", 1, 100_000)
