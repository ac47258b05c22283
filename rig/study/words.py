"""Figures in the study's sentences and tables: signs, chances, and units as a reader wants them."""

import re
from typing import Literal

System = Literal["metric", "us"]

SMALLEST_P = 0.001
MM_PER_INCH, G_PER_OUNCE = 25.4, 28.349523125
"""International yard and pound, 1959."""

_TEMPERATURES = re.compile(r"(± ?)?([−-]?\d+(?:\.\d+)?)(?: to ([−-]?\d+(?:\.\d+)?))? °C")
_LENGTH = re.compile(r"(\d+(?:\.\d+)?) mm\b")
_MASS = re.compile(r"(\d+(?:\.\d+)?) g\b")


def signed(value: float, digits: int = 2) -> str:
    """A figure with its sign, a true minus; what rounds to nothing has none."""
    text = f"{value:+.{digits}f}"
    if not any(digit in "123456789" for digit in text):
        return text[1:]
    return text.replace("-", "−")


def chance(p: float) -> str:
    """A p-value for a table; no p is zero."""
    return f"< {SMALLEST_P}" if p < SMALLEST_P else f"{p:.3f}"


def p_equals(p: float) -> str:
    """A p-value for a sentence."""
    return f"p {chance(p)}" if p < SMALLEST_P else f"p = {chance(p)}"


def in_units(text: str, units: System) -> str:
    """A sentence with its °C, mm and g as °F, inches and ounces; files and JSON stay metric."""
    if units == "metric":
        return text

    def fahrenheit(match: re.Match[str]) -> str:
        around, *values = match.groups()
        shift = 0.0 if around else 32.0
        shown = [f"{_number(value) * 1.8 + shift:.0f}" for value in values if value is not None]
        return f"{around or ''}{' to '.join(shown).replace('-', '−')} °F"

    text = _TEMPERATURES.sub(fahrenheit, text)
    text = _LENGTH.sub(lambda match: f"{_number(match[1]) / MM_PER_INCH:.2f} in", text)
    return _MASS.sub(lambda match: f"{_number(match[1]) / G_PER_OUNCE:.2f} oz", text)


def _number(text: str) -> float:
    return float(text.replace("−", "-"))
