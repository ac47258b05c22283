import unicodedata

import pytest

from rig.errors import BadInputError
from rig.files.names import LONGEST, nearest, safe_name


@pytest.mark.parametrize("name", ["Heron 1", "å", "18 mm birch", "#3", "Übung (grün)", "鷺"])
def test_names_of_any_language_are_taken(name: str) -> None:
    assert safe_name(name) == name


def test_a_name_has_one_spelling() -> None:
    assert safe_name(unicodedata.normalize("NFD", "Möwe")) == unicodedata.normalize("NFC", "Möwe")
    assert safe_name(" Heron 1 ") == "Heron 1"


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("x\n", "a control character (U+000A)"),
        ("\x1b[31mred", "a control character (U+001B)"),
        ("abc\u202edef", "an invisible character (U+202E)"),
        ("a\u200bb", "an invisible character (U+200B)"),
        ("a\ud800", "half a character (U+D800)"),
        ("a\u2028b", "a line break (U+2028)"),
        ("a\ue000b", "a character that only some fonts have (U+E000)"),
        ("a\u0378b", "a character that is not assigned (U+0378)"),
    ],
)
def test_what_cannot_be_seen_is_refused(name: str, why: str) -> None:
    with pytest.raises(BadInputError) as caught:
        safe_name(name, "bag")
    assert why in str(caught.value)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("name", ["", "   ", "\u00a0", "\u3000", "\u0301"])
def test_a_name_must_be_seen(name: str) -> None:
    with pytest.raises(BadInputError, match="can be seen"):
        safe_name(name)


def test_length_and_first_character() -> None:
    assert safe_name("x" * LONGEST) == "x" * LONGEST
    with pytest.raises(BadInputError, match="has 61 characters"):
        safe_name("x" * (LONGEST + 1))
    with pytest.raises(BadInputError, match="begin with a slash"):
        safe_name("/etc")


def test_the_nearest_name_is_found_in_large_and_small_letters() -> None:
    assert nearest("t1", ["Heron 1", "T1"]) == "T1"
    assert nearest("HERON1", ["Heron 1", "T1"]) == "Heron 1"
    assert nearest("Plover", ["Heron 1", "T1"]) is None
