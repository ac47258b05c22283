"""Quantities and names as options: what was converted is said on stderr."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

import typer

from rig.commands.options import say
from rig.files.names import safe_name
from rig.quantities import typed
from rig.quantities.times import utc_of
from rig.quantities.typed import Typed


def quantity(option: str, text: str, unit: str, low: float, high: float) -> float:
    """The value of an option in `unit`; see `rig.quantities.typed.quantity`."""
    return echoed(option, typed.quantity(option, text, unit, low, high))


def with_tolerance(
    option: str, text: str, unit: str, low: float, high: float, usual: float
) -> tuple[float, float]:
    """The value and the tolerance of an option such as `23:2`."""
    value, tolerance = typed.with_tolerance(option, text, unit, low, high, usual)
    return echoed(option, value), echoed(f"{option} ±", tolerance)


def quantity_option(name: str, unit: str, low: float, high: float, help: str) -> Any:
    """An option whose value is a quantity in `unit`, as a float; a default is taken as it is."""

    def number(given: Any) -> float:  # its name is what a help calls the value
        return quantity(name, given, unit, low, high) if isinstance(given, str) else float(given)

    return typer.Option(name, parser=number, help=f"{help}  [{low:g} to {high:g}]")


def name_option(name: str, what: str, help: str, **more: Any) -> Any:
    """An option whose value is the name of a bag, a board and the like."""
    return typer.Option(name, parser=_safe(what), help=help, **({"metavar": "NAME"} | more))


def name_argument(what: str, metavar: str, help: str = "") -> Any:
    """An argument that is the name of a bag, a board and the like."""
    return typer.Argument(metavar=metavar, parser=_safe(what), help=help)


def _safe(what: str) -> Callable[[str], str]:
    def text(given: str) -> str:
        return safe_name(given, what)

    return text


def echoed(option: str, found: Typed) -> float:
    """The value in the unit kept, said on stderr if something else was typed."""
    if not found.is_plain:
        say(f"{option}: {found.shown}.")
    return found.value


def moment(option: str, text: str | None, now: datetime | None = None) -> str:
    """The time of an option as files have it (UTC), now if None; a time of today is said."""
    found = utc_of(option, text, now)
    if text is not None and len(text.strip()) < len("2026-05-30"):
        say(f"{option}: {found} ({text.strip()} as typed).")
    return found
