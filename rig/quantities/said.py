"""Sentences with quantities in them, worded for a reader when they are shown.

Names within a sentence are never looked at: a board may well be called `18 mm birch`.
"""

from typing import NamedTuple

from rig.quantities.shown import Kind, System, system


class Amount(NamedTuple):
    """A quantity within a sentence, in the metric unit."""

    value: float
    kind: Kind
    digits: int = 0
    has_unit: bool = True
    """False for the first end of a range, whose other end has it."""

    def text(self, units: System) -> str:
        """As a reader with these units wants it."""
        shown = system(units)[self.kind]
        if self.has_unit:
            return shown.text(self.value, self.digits)
        return shown.figure(self.value, f".{self.digits}f")


class Said(str):
    """A sentence that knows its quantities; as a plain text (in files, as JSON) it is metric.

    Args:
        template: the sentence with `{}` for each part.
        parts: amounts, and names and figures that are the same in all units.
    """

    __slots__ = ("_parts", "_template")
    _template: str
    _parts: tuple[object, ...]

    def __new__(cls, template: str, *parts: object) -> "Said":
        """Make the metric text and keep what it was made of."""
        made = super().__new__(cls, _filled(template, parts, "metric"))
        made._template, made._parts = template, parts
        return made

    def __reduce__(self) -> tuple[type["Said"], tuple[object, ...]]:
        return Said, (self._template, *self._parts)

    def text(self, units: System) -> str:
        """The sentence in these units."""
        return _filled(self._template, self._parts, units)


def worded(text: str, units: System) -> str:
    """A text in these units; one without quantities stays as it is."""
    return text.text(units) if isinstance(text, Said) else text


def _filled(template: str, parts: tuple[object, ...], units: System) -> str:
    return template.format(
        *(part.text(units) if isinstance(part, Amount) else part for part in parts)
    )
