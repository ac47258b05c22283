"""Names that a person gives to bags, faces, boards and the like, safe in files and on screens."""

import difflib
import unicodedata
from collections.abc import Iterable

from rig.errors import BadInputError

LONGEST = 60

_UNSAFE = {
    "Cc": "a control character",
    "Cf": "an invisible character",
    "Cs": "half a character",
    "Co": "a character that only some fonts have",
    "Cn": "a character that is not assigned",
    "Zl": "a line break",
    "Zp": "a line break",
}


def composed(text: str) -> str:
    """The text in its composed form (NFC), in which names are compared."""
    return unicodedata.normalize("NFC", text)


def safe_name(text: str, what: str = "name") -> str:
    """The name in its composed form (NFC), blanks at its ends left out.

    Args:
        text: as it was typed.
        what: what it names, for the sentence about a mistake.

    Raises:
        BadInputError: it is empty or too long, begins with a slash, or has a character that can't
            be seen or printed.
    """
    name = composed(text).strip(" ")
    for character in name:
        kind = _UNSAFE.get(unicodedata.category(character))
        if kind is not None:
            raise BadInputError(
                f"The {what} {_shown(text)} has {kind} (U+{ord(character):04X}) in it; type it"
                " again without it."
            )
    if not any(unicodedata.category(one)[0] in "LNPS" for one in name):
        raise BadInputError(f"A {what} needs a character that can be seen; give it one.")
    if len(name) > LONGEST:
        raise BadInputError(
            f"The {what} {_shown(name[:20])}… has {len(name)} characters; {LONGEST} are the most."
        )
    if name[0] in "/\\":
        raise BadInputError(f"The {what} {_shown(text)} must not begin with a slash.")
    return name


def nearest(name: str, names: Iterable[str]) -> str | None:
    """The most likely intended name, whatever the case of its letters."""
    known = {one.casefold(): one for one in names}
    near = difflib.get_close_matches(name.casefold(), known, 1)
    return known[near[0]] if near else None


def _shown(text: str) -> str:
    """A name within a sentence, whatever is in it."""
    return ascii(text) if not text.isprintable() else f"{text!r}"
