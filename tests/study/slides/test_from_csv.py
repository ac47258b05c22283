"""A file of readings that cannot be read at all."""

import os
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.slides.from_csv import readings_from
from tests.study.folder_example import make_study


def refusal(path: Path, folder: Path) -> str:
    with pytest.raises(BadInputError) as caught:
        readings_from(path, make_study(folder / "s"), str, str)
    return str(caught.value)


def test_a_file_that_cannot_be_opened_is_told_with_the_reason(tmp_path: Path) -> None:
    missing = tmp_path / "gone.csv"
    assert refusal(missing, tmp_path) == f"{missing} cannot be read: {os.strerror(2)}."


def test_a_file_in_another_encoding_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "latin.csv"
    path.write_bytes("bag,Möwe\n".encode("latin-1"))
    assert refusal(path, tmp_path) == f"{path} is not UTF-8 text; save it in that encoding."
