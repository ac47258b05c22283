"""Names and texts that go into a file: they can be seen, compared and written."""

from typing import TypeVar

import msgspec

from rig.errors import BadInputError
from rig.files.names import safe_name

NAMES = ("bag", "face", "board", "reader", "operator", "session", "recipe")
"""Fields of the journal's lines that hold a name that a person gave."""

T = TypeVar("T", bound=msgspec.Struct)


def with_safe_names(entry: T) -> T:
    """The entry with each name as `safe_name` gives it.

    Raises:
        BadInputError: a name has something in it that can't be seen.
    """
    given = {name: getattr(entry, name, None) for name in NAMES}
    safe = {name: safe_name(text, name) for name, text in given.items() if text}
    return writable(msgspec.structs.replace(entry, **safe))


def writable(entry: T) -> T:
    """The entry itself; raises BadInputError if a text in it can't be written."""
    try:
        msgspec.json.encode(entry)
    except UnicodeEncodeError:
        raise BadInputError(
            "What was typed has bytes that are not UTF-8 text; type it again."
        ) from None
    return entry
