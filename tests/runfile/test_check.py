"""The last line shows whether what stands before it was changed."""

import random
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.runfile.reader import read_run
from rig.runfile.writer import RunWriter
from tests.runfile.example import END, LINES, header, unchecked


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "a.run.jsonl"
    with RunWriter(path, header()) as writer:
        for line in LINES:
            writer.write(line)
        writer.end(END.outcome, END.flags, END.samples_lost, END.bus_retries)
    return path


def test_a_file_as_written_is_read(path: Path) -> None:
    run = read_run(path)
    assert run.end is not None
    assert run.end.check is not None
    assert not run.problems


def test_no_changed_byte_before_the_last_line_is_taken(path: Path) -> None:
    """Refused, or told: never another number without a word."""
    whole = path.read_bytes()
    last = whole[:-1].rfind(b"\n") + 1
    draw = random.Random(3)
    for place in draw.sample(range(last), 150):
        data = bytearray(whole)
        data[place] ^= draw.randrange(1, 256)
        path.write_bytes(data)
        if place == last - 1:
            assert read_run(path).problems  # its line and the last have become one
            continue
        with pytest.raises(BadInputError):
            read_run(path)


def test_a_digit_of_a_sample_is_named_as_a_change(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"16000", b"16900", 1))
    with pytest.raises(BadInputError, match="was changed after it was written"):
        read_run(path)


def test_a_file_of_an_older_program_is_read(path: Path) -> None:
    run = read_run(unchecked(path))
    assert run.end is not None
    assert run.end.check is None


def test_a_file_that_was_cut_has_nothing_to_check(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])
    assert read_run(path).interrupted
