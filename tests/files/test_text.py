"""Text files as people and spreadsheet programs save them."""

from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.files.text import read_text


def test_a_byte_order_mark_is_no_letter(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("\ufeffbag;Möwe\r\n".encode())
    assert read_text(path) == "bag;Möwe\r\n"


def test_what_cannot_be_read_is_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with pytest.raises(BadInputError, match=rf"{path} cannot be read: No such file"):
        read_text(path)
    with pytest.raises(BadInputError, match="There is none yet"):
        read_text(path, "There is none yet.")
    with pytest.raises(BadInputError, match="cannot be read: Is a directory"):
        read_text(tmp_path, "There is none yet.")


def test_bytes_that_are_no_text_are_named_by_their_line(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("bag\nMöwe\n".encode("latin-1"))
    with pytest.raises(BadInputError, match="line 2 is not UTF-8 text; save the file"):
        read_text(path)
