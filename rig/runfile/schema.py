"""The JSON Schema of a run file's lines, generated from the types."""

import inspect
from pathlib import Path
from typing import Any

import msgspec

from rig.runfile.model import FORMAT, VERSION, Line

SCHEMA_FILE = Path(__file__).with_name("run.schema.json")


def _settled(node: Any, key: str = "") -> Any:
    """A copy that depends on the types alone.

    Python keeps the indentation of docstrings up to 3.12, and msgspec changes the order of
    alternatives from version to version. A line may have further keys: the types forbid them only
    so that the reader notices.
    """
    if isinstance(node, dict):
        shut = "additionalProperties" if "kind" in node.get("properties", ()) else ""
        return {name: _settled(value, name) for name, value in node.items() if name != shut}
    if isinstance(node, list):
        settled = [_settled(item) for item in node]
        return sorted(settled, key=str) if key == "anyOf" else settled
    return inspect.cleandoc(node) if key == "description" else node


def run_schema() -> dict[str, Any]:
    """The schema that each line of a run file keeps to."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"A line of a {FORMAT} file, version {VERSION}",
        **_settled(msgspec.json.schema(Line)),
    }


def schema_text() -> str:
    """The text of the shipped schema file."""
    return msgspec.json.format(msgspec.json.encode(run_schema()), indent=1).decode() + "\n"


if __name__ == "__main__":
    SCHEMA_FILE.write_text(schema_text(), encoding="utf-8")
