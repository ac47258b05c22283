"""Showing lengths, temperatures and masses in other units; files and JSON stay metric."""

from collections.abc import Callable
from typing import Literal, NamedTuple

System = Literal["metric", "us"]


class Shown(NamedTuple):
    """How one kind of quantity is shown: its unit, and the value in it."""

    unit: str
    of: Callable[[float], float]
    more_digits: int = 0


def _same(value: float) -> float:
    return value


TENS = {"per10": Shown("per 10 %RH", lambda value: 10.0 * value)}
"""A slope over a difference of humidity that one notices."""
METRIC = {
    "c": Shown("°C", _same),
    "mm": Shown("mm", _same),
    "g": Shown("g", _same),
} | TENS
US = {
    "c": Shown("°F", lambda value: value * 9.0 / 5.0 + 32.0),
    "mm": Shown("in", lambda value: value / 25.4, 2),
    "g": Shown("oz", lambda value: value / 28.349523125, 1),
} | TENS
"""The inch of 25.4 mm and the ounce of 28.349523125 g (international yard and pound, 1959)."""


def system(name: System) -> dict[str, Shown]:
    """The kinds of quantity that depend on the system; angles, shares and times don't."""
    return US if name == "us" else METRIC
