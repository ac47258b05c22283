"""What people read: values in metric or in inch and Fahrenheit units, states and their sense.

Files and settings stay metric; only what is shown changes.
"""

import re
from typing import Literal

from rig.runfile.model import State
from rig.study.words import MM_PER_INCH, System

Units = System
UNITS: tuple[Units, ...] = ("metric", "us")

HPA_PER_INHG = 33.86389
"""Conventional inch of mercury at 0 °C, NIST SP 811, appendix B.8."""

NONE = "–"

Tone = Literal["rest", "move", "measure", "wait", "halt"]

STATES: dict[State, tuple[Tone, str]] = {
    "parked": ("rest", "The board rests. Nothing moves before somebody starts."),
    "homing": ("move", "The board moves down to its lower switch. Keep clear of it."),
    "placing": ("wait", "The bag goes to its start place."),
    "dwelling": ("measure", "The bag rests before the raise. Do not touch the board."),
    "raising": ("measure", "The board rises until the bag slides. Keep clear of it."),
    "sliding": ("measure", "The bag slides through the beam."),
    "lowering": ("move", "The board comes down. Keep clear of it."),
    "halted": ("halt", "The motor is off and the board stays where it is."),
}
"""How each state looks, and what it means."""

_LENGTH = re.compile(r"(-?\d+(?:\.\d+)?) mm\b")
_DEGREES_C = re.compile(r"(-?\d+(?:\.\d+)?) °C")


def fixed(value: float, places: int) -> str:
    """A figure; a minus sign, not a hyphen, and no minus before zero."""
    text = f"{value:.{places}f}"
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def degrees(value_deg: float | None, places: int = 2) -> str:
    """An angle."""
    return NONE if value_deg is None else f"{fixed(value_deg, places)}°"


def temperature(value_c: float | None, units: Units) -> str:
    """A temperature in °C or °F."""
    if value_c is None:
        return NONE
    if units == "us":
        return f"{fixed(value_c * 1.8 + 32.0, 1)} °F"
    return f"{fixed(value_c, 1)} °C"


def humidity(value_pct: float | None) -> str:
    """A relative humidity."""
    return NONE if value_pct is None else f"{value_pct:.0f} %RH"


def pressure(value_hpa: float | None, units: Units) -> str:
    """An air pressure in hPa or inHg."""
    if value_hpa is None:
        return NONE
    if units == "us":
        return f"{value_hpa / HPA_PER_INHG:.2f} inHg"
    return f"{value_hpa:.0f} hPa"


def sentence(text: str, units: Units) -> str:
    """A sentence of the machine; with inch units, what it says in mm and °C is said so as well."""
    if units == "metric":
        return text

    def inches(match: re.Match[str]) -> str:
        return f"{match[0]} ({float(match[1]) / MM_PER_INCH:.2f} in)"

    def fahrenheit(match: re.Match[str]) -> str:
        return f"{match[0]} ({float(match[1]) * 1.8 + 32.0:.1f} °F)"

    return _DEGREES_C.sub(fahrenheit, _LENGTH.sub(inches, text))


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
