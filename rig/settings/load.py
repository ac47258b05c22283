"""Find and read `rig.toml`; each mistake becomes one sentence that says how to fix it."""

import difflib
import os
import re
import tomllib
from pathlib import Path
from typing import Any

import msgspec

from rig.errors import BadInputError
from rig.files.places import configuration_folder
from rig.files.text import read_text
from rig.settings.checks import check
from rig.settings.keys import Key, keys, split_unit
from rig.settings.model import Settings

NAME = "rig.toml"
SYSTEM = Path("/etc/rig")


def find_settings(given: Path | None) -> Path | None:
    """Find the settings file to use.

    Args:
        given: the file named by a person; returned whether or not it exists.

    Returns:
        `given`, or the first existing file of `./rig.toml`, `rig/rig.toml` in the user's
        configuration folder, and `/etc/rig/rig.toml`; None for the built-in settings.
    """
    if given is not None:
        return given
    places = (Path(NAME), configuration_folder() / NAME, SYSTEM / NAME)
    return next((place for place in places if os.path.isfile(place)), None)


def load_settings(path: Path | None) -> Settings:
    """Read and check a settings file; missing keys take their defaults.

    Args:
        path: the file, or None for the built-in settings.

    Raises:
        BadInputError: it cannot be read, or a key or value is not valid.
    """
    if path is None:
        settings = Settings()
        check(settings, "the built-in settings")
        return settings
    data = _parse(path)
    _check_names(data, path)
    try:
        settings = msgspec.convert(data, Settings)
    except msgspec.ValidationError as error:
        raise BadInputError(_describe(str(error), data, path)) from None
    check(settings, str(path))
    return settings


def _parse(path: Path) -> dict[str, Any]:
    text = read_text(
        path, f"There is no settings file {path}; `rig settings` prints one to start from."
    )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInputError(f"{path} is not valid TOML: {_where_in_text(error, text)}.") from None
    except (ValueError, RecursionError) as error:  # a huge number or very deep nesting
        raise BadInputError(f"{path} is not valid TOML: {error}.") from None


def _where_in_text(error: tomllib.TOMLDecodeError, text: str) -> str:
    """The parser's message; an error at the end of the document gets the last line's number."""
    message = str(error)
    last = text.rstrip("\n").count("\n") + 1
    return message.replace("(at end of document)", f"(at line {last}, the end of the file)")


def _check_names(data: dict[str, Any], path: Path) -> None:
    known = list(keys())
    sections = {key.section for key in known if key.section}
    for name, value in data.items():
        if name in sections:
            inner = [key for key in known if key.section == name]
            for entry in value if isinstance(value, dict) else ():
                if not any(key.name == entry for key in inner):
                    raise BadInputError(_unknown(entry, name, inner, known, path))
        elif name not in {key.name for key in known if not key.section}:
            if isinstance(value, dict):
                near = difflib.get_close_matches(name, sections, 1)
                hint = f"did you mean [{near[0]}]?" if near else f"there are {_list(sections)}."
                raise BadInputError(f"{path}: there is no section [{name}]; {hint}")
            raise BadInputError(
                _unknown(name, "", [k for k in known if not k.section], known, path)
            )


def _unknown(name: str, section: str, inner: list[Key], known: list[Key], path: Path) -> str:
    """Message for an unknown key: wrong unit, wrong section, or misspelt."""
    start = f"{path}: there is no key `{f'{section}.{name}' if section else name}`;"
    quantity, _ = split_unit(name)
    for key in inner:
        if split_unit(key.name) == (quantity, split_unit(key.name)[1]) and key.unit:
            return f"{start} the unit must be {key.unit}: give `{key.path}`, {key.allowed}."
    elsewhere = [key.path for key in known if key.name == name]
    if elsewhere:
        return f"{start} did you mean `{elsewhere[0]}`?"
    near = difflib.get_close_matches(name, [key.name for key in inner], 1)
    if near:
        return f"{start} did you mean `{next(k.path for k in inner if k.name == near[0])}`?"
    return f"{start} `rig settings` prints all keys."


def _list(names: set[str]) -> str:
    return ", ".join(f"[{name}]" for name in sorted(names))


def _describe(message: str, data: dict[str, Any], path: Path) -> str:
    """Message for a value that is not allowed, from the validator's own."""
    match = re.search(r"`\$\.([\w.]+)`$", message)
    where = match[1] if match else ""
    value: Any = data
    for part in where.split(".") if where else ():
        value = value[part]
    key = next((key for key in keys() if key.path == where), None)
    if key is None:
        return f"{path}: `{where}` must be a section: write [{where}] on a line of its own."
    return f"{path}: `{where}` is {_show(value)}; allowed is {key.allowed}."


def _show(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'the text "{value[:40]}"' if value else "empty"
    if isinstance(value, int | float):
        return str(value)
    return "a table" if isinstance(value, dict) else f"a {type(value).__name__}"
