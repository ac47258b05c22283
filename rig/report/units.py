"""Showing lengths, temperatures and masses in other units; files and JSON stay metric."""

from collections.abc import Callable
from typing import NamedTuple

from rig.study.words import G_PER_OUNCE, MM_PER_INCH, System


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
    "mm": Shown("in", lambda value: value / MM_PER_INCH, 2),
    "g": Shown("oz", lambda value: value / G_PER_OUNCE, 1),
} | TENS


def system(name: System) -> dict[str, Shown]:
    """The kinds of quantity that depend on the system; angles, shares and times don't."""
    return US if name == "us" else METRIC
