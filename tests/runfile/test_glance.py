"""The two ends of a run file, without what lies between."""

import io
from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInputError
from rig.runfile import glance as module
from rig.runfile.glance import glance
from rig.runfile.reader import read_run
from rig.runfile.writer import RunWriter
from tests.runfile.example import END, LINES, header


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with RunWriter(tmp_path / "a.run.jsonl", header()) as writer:
        for line in LINES * 100:
            writer.write(line)
        writer.end(END.outcome, END.flags, END.samples_lost, END.bus_retries)
    return writer.path


def test_it_agrees_with_the_whole_file(path: Path) -> None:
    whole = read_run(path)
    assert glance(path) == (whole.header, whole.end)
    path.write_bytes(path.read_bytes()[:-1])
    assert glance(path).end == whole.end, "a last line without its line feed counts"


def test_it_reads_two_blocks_of_a_long_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[int] = []

    class Counting(io.FileIO):
        def read(self, size: int | None = -1) -> bytes:
            data = super().read(-1 if size is None else size)
            taken.append(len(data))
            return data

    def opened(path: Path, mode: str) -> Any:
        return Counting(path, mode)

    monkeypatch.setattr(Path, "open", opened)
    glance(path)
    assert path.stat().st_size > 10 * module.BLOCK
    assert taken == [module.BLOCK] * 2


def test_a_header_longer_than_a_block_is_read_whole(tmp_path: Path) -> None:
    long = header(operator="x" * (module.BLOCK + 100))
    with RunWriter(tmp_path / "a.run.jsonl", long) as writer:
        writer.end("slid", [], 0, 0)
    assert glance(writer.path).header == long


@pytest.mark.parametrize("cut", [1, 40, 2000])
def test_a_run_that_was_cut_off_has_no_end(path: Path, cut: int) -> None:
    path.write_bytes(path.read_bytes()[: -1 - cut])
    assert glance(path).end is None


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"a,b\n", "not a run file"),
        (b'{"kind":"header","format":"ti', "cut off within its first line"),
        (b'{"kind":"header","format":"tilt-run","version":2}\n', "version 2"),
    ],
)
def test_what_is_no_run_file_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "x.run.jsonl"
    path.write_bytes(content)
    with pytest.raises(BadInputError, match=words):
        glance(path)
    with pytest.raises(BadInputError, match="Cannot read"):
        glance(tmp_path / "none")
