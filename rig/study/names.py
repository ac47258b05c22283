"""Names in the journal: whoever writes a line, they can be seen and compared."""

from typing import TypeVar

import msgspec

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
    return msgspec.structs.replace(entry, **safe)
