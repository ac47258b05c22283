"""The schema depends on the types alone, neither on Python's version nor on msgspec's."""

import textwrap
from typing import Any

import msgspec
import pytest

from rig.runfile.model import Event
from rig.runfile.schema import schema_text


def test_indentation_of_docstrings_stays_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python up to 3.12 keeps it; written here as a string, no version takes it away."""
    expected = schema_text()
    first, _, rest = (Event.__doc__ or "").partition("\n")
    indented = f"{first}\n{textwrap.indent(textwrap.dedent(rest), ' ' * 12)}\n            "
    monkeypatch.setattr(Event, "__doc__", indented)
    assert schema_text() == expected


def test_order_of_alternatives_is_not_that_of_msgspec(monkeypatch: pytest.MonkeyPatch) -> None:
    expected = schema_text()
    made = msgspec.json.schema

    def turned(kind: Any) -> Any:
        return _turned(made(kind))

    monkeypatch.setattr(msgspec.json, "schema", turned)
    assert schema_text() == expected


def _turned(node: Any) -> Any:
    """A copy with all alternatives in reverse order."""
    if isinstance(node, dict):
        return {
            key: [*map(_turned, reversed(value))] if key == "anyOf" else _turned(value)
            for key, value in node.items()
        }
    return [*map(_turned, node)] if isinstance(node, list) else node
