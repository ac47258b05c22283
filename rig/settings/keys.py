"""Every key of `rig.toml` with its meaning, unit and allowed values."""

from collections.abc import Iterator
from typing import Any, NamedTuple

import msgspec.inspect as inspect

from rig.settings.model import Settings

UNITS = {
    "deg_s3": "°/s³",
    "deg_s2": "°/s²",
    "deg_s": "°/s",
    "deg": "°",
    "mm_s3": "mm/s³",
    "mm_s2": "mm/s²",
    "mm_s": "mm/s",
    "mm": "mm",
    "us": "µs",
    "ms": "ms",
    "s": "s",
    "hz": "Hz",
    "mb": "MB",
    "kg": "kg",
    "n_m": "N·m",
    "n_m2": "N·m²",
    "a": "A",
    "v": "V",
    "ohm": "Ω",
    "gpa": "GPa",
    "mpa": "MPa",
}
"""Suffixes of names, longest first, and the units they stand for."""

OTHER_UNITS = (
    *("rad", "rad_s", "rad_s2", "deg_min", "deg_ms", "rpm", "m", "cm", "um", "nm", "inch", "in"),
    *("ft", "ns", "min", "minutes", "h", "hours", "sec", "seconds", "khz", "mhz", "kb", "gb"),
    *("m_s", "degrees", "degree", "meter", "metre", "millimetres", "millimeters"),
)
"""Suffixes that look like a unit but that no key has."""


class Key(NamedTuple):
    """One key."""

    section: str
    """Name of its table; empty at the top."""
    name: str
    default: Any
    description: str
    section_description: str
    kind: inspect.Type

    @property
    def path(self) -> str:
        """Full name as shown to people: `motion.rate_deg_s`."""
        return f"{self.section}.{self.name}" if self.section else self.name

    @property
    def unit(self) -> str:
        """The unit as people write it; empty for a bare number or a text."""
        return UNITS.get(split_unit(self.name)[1], "")

    @property
    def allowed(self) -> str:
        """Allowed values in words: `a number from 0.1 to 3 °/s`."""
        return _allowed(self.kind, self.unit)


def keys() -> Iterator[Key]:
    """All keys, in order, section by section."""
    top = inspect.type_info(Settings)
    assert isinstance(top, inspect.StructType)  # noqa: S101 - for the type checker
    for entry in top.fields:
        if isinstance(entry.type, inspect.StructType):
            about = (entry.type.cls.__doc__ or "").strip()
            for inner in entry.type.fields:
                yield _key(entry.name, inner, about)
        else:
            yield _key("", entry, "")


def split_unit(name: str) -> tuple[str, str]:
    """Split a name into quantity and unit: `rate_deg_s` → rate, deg_s."""
    for unit in sorted((*UNITS, *OTHER_UNITS), key=len, reverse=True):
        if name.endswith("_" + unit):
            return name[: -len(unit) - 1], unit
    return name, ""


def _key(section: str, entry: inspect.Field, about: str) -> Key:
    kind, description = entry.type, ""
    if isinstance(kind, inspect.Metadata):
        description = str((kind.extra_json_schema or {}).get("description", ""))
        kind = kind.type
    return Key(section, entry.name, entry.default, description, about, kind)


def _allowed(kind: inspect.Type, unit: str) -> str:
    if isinstance(kind, inspect.Metadata):
        return _allowed(kind.type, unit)
    if isinstance(kind, inspect.UnionType):
        some = next(t for t in kind.types if not isinstance(t, inspect.NoneType))
        return f"{_allowed(some, unit)}, or left out"
    if isinstance(kind, inspect.LiteralType):
        values = sorted(kind.values, key=lambda v: (isinstance(v, str), v))
        shown = [f'"{v}"' if isinstance(v, str) else str(v) for v in values]
        return f"{', '.join(shown[:-1])} or {shown[-1]}" + (f" {unit}" if unit else "")
    if isinstance(kind, inspect.BoolType):
        return "true or false"
    if isinstance(kind, inspect.StrType):
        return "a text in quotes" + (
            f" of {kind.min_length} to {kind.max_length} characters" if kind.max_length else ""
        )
    if isinstance(kind, inspect.IntType | inspect.FloatType):
        what = "a whole number" if isinstance(kind, inspect.IntType) else "a number"
        return f"{what}{_range(kind)}" + (f" {unit}" if unit else "")
    raise TypeError(f"no words for {kind}")


def _range(kind: inspect.IntType | inspect.FloatType) -> str:
    low = kind.ge if kind.ge is not None else kind.gt
    high = kind.le if kind.le is not None else kind.lt
    if low is None or high is None:
        raise TypeError("a number in the settings needs both its limits")
    if kind.gt is not None:
        return f" above {low:.15g}, up to {high:.15g}"
    return f" from {low:.15g} to {high:.15g}"
