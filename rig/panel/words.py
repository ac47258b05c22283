"""What people read: values in metric or in inch and Fahrenheit units, states and their sense.

Files and settings stay metric; only what is shown changes.
"""

from typing import Literal

from rig.quantities.figures import fixed
from rig.quantities.shown import NONE, System, system
from rig.runfile.model import State

Units = System
UNITS: tuple[Units, ...] = ("metric", "us")

Tone = Literal["rest", "move", "measure", "wait", "halt"]

STATES: dict[State, tuple[Tone, str]] = {
    "parked": ("rest", "The board rests. Nothing moves until someone starts it."),
    "homing": ("move", "The board moves down to its lower switch. Keep clear of it."),
    "placing": ("wait", "The bag goes to its start place."),
    "dwelling": ("measure", "The bag rests before the raise. Do not touch the board."),
    "raising": ("measure", "The board rises until the bag slides. Keep clear of it."),
    "sliding": ("measure", "The bag slides through the beam."),
    "lowering": ("move", "The board comes down. Keep clear of it."),
    "halted": ("halt", "The motor is off and the board stays where it is."),
}
"""How each state looks, and what it means."""

COMES_NEXT = "The board homes next, by itself. Keep clear of it."
"""Between two runs or series, before the board moves."""

BY_HAND: dict[State, str] = {
    "parked": "The board rests. Nobody needs to hold it.",
    "raising": "Raise the board evenly until the bag slides.",
    "lowering": "Lower the board onto its rest, with no hand under it.",
    "halted": "The run is over. Let the board down onto its rest.",
}
"""What differs where a person raises the board."""


def degrees(value_deg: float | None, places: int = 2) -> str:
    """An angle."""
    return NONE if value_deg is None else f"{fixed(value_deg, places)}°"


def temperature(value_c: float | None, units: Units) -> str:
    """A temperature in °C or °F."""
    return system(units)["c"].text(value_c, 1)


def humidity(value_pct: float | None) -> str:
    """A relative humidity."""
    return system("metric")["rh"].text(value_pct)


def pressure(value_hpa: float | None, units: Units) -> str:
    """An air pressure in hPa or inHg."""
    return system(units)["hpa"].text(value_hpa)


def duration(seconds: float) -> str:
    """A time to wait, in words, no finer than it is known."""
    if seconds < 90:
        return f"about {5 * max(1, round(seconds / 5)):d} s"
    minutes = seconds / 60
    if minutes < 90:
        return f"about {minutes:.0f} min"
    return f"about {minutes / 60:.1f} h"


def count(number: int, noun: str) -> str:
    """`1 run`, `3 runs`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
