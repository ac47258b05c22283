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
    assert refusal(path, tmp_path) == (
        f"{path}: line 1 is not UTF-8 text; save the file in that encoding."
    )


def test_lines_of_one_bag_face_minutes_apart_are_one_series(tmp_path: Path) -> None:
    """As one command with several --angle notes them: T1 twice, for 11 minutes lie between."""
    path = tmp_path / "evening.csv"
    lines = [
        ("18:00", "T1", "20.1"),
        ("18:05", "T1", "20.3"),
        ("18:15", "T1", "20.2"),
        ("18:26", "T1", "20.6"),
        ("18:27", "T2", "22.0"),
        ("18:28", "T1", "20.4"),
    ]
    text = "at,reader,bag,face,board,angle_deg\n" + "".join(
        f"2026-05-01T{at}:00Z,Ada,{bag},slick,A,{angle}\n" for at, bag, angle in lines
    )
    path.write_text(text, "utf-8")
    found = readings_from(path, make_study(tmp_path / "s"), str, lambda _: "an evening")
    assert [(one.bag, one.angles_deg) for one in found] == [
        ("T1", (20.1, 20.3, 20.2)),
        ("T1", (20.6,)),
        ("T2", (22.0,)),
        ("T1", (20.4,)),
    ]
    assert found[0].at == "2026-05-01T18:00:00Z"
