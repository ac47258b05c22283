"""Print settings as a commented file that reads back as the same settings."""

import json
from typing import Any

from rig.settings.keys import Key, keys
from rig.settings.model import Settings

HEX_KEYS = ("imu_address", "climate_address")


def commented_toml(settings: Settings) -> str:
    """Every key with its meaning, allowed values and default as comments above it.

    An optional key without a value (the pin of a second beam, say) stands as a comment.
    """
    lines = ["# Settings of a tilt board. A key that is left out takes its default."]
    section = ""
    for key in keys():
        if key.section != section:
            section = key.section
            lines += ["", "", f"[{section}]", *(f"# {line}" for line in _about(key))]
        lines += ["", f"# {_comment(key)}", _assignment(key, settings)]
    return "\n".join(lines) + "\n"


def _about(key: Key) -> list[str]:
    return [line.strip() for line in key.section_description.splitlines()]


def _comment(key: Key) -> str:
    default = "" if key.default is None else f"; default {_value(key, key.default)}"
    allowed = key.allowed[0].upper() + key.allowed[1:]
    about = f"{key.description[0].upper()}{key.description[1:]}. " if key.description else ""
    return f"{about}{allowed}{default}."


def _assignment(key: Key, settings: Settings) -> str:
    table = getattr(settings, key.section) if key.section else settings
    value = getattr(table, key.name)
    return f"# {key.name} =" if value is None else f"{key.name} = {_value(key, value)}"


def _value(key: Key, value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if key.name in HEX_KEYS:
        return f"0x{value:02X}"
    return repr(value)
