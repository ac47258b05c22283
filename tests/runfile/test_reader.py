import json
import random
from pathlib import Path

import numpy as np
import pytest

from rig.errors import BadInputError
from rig.runfile.reader import RunFile, find_runs, read_run
from rig.runfile.schema import SCHEMA_FILE, schema_text
from rig.runfile.writer import RunWriter
from tests.runfile.example import END, LINES, header


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    writer = RunWriter(tmp_path / "whole.run.jsonl", header())
    for line in LINES:
        writer.write(line)
    writer.end(END.outcome, END.flags, END.samples_lost, END.bus_retries)
    return writer.path


def _count(run: RunFile) -> int:
    lines = len(run.events) + len(run.samples) + len(run.climate) + len(run.steps)
    return 1 + lines + (run.end is not None)


def test_what_was_written_is_read(whole: Path) -> None:
    run = read_run(whole)
    assert run.header == header()
    assert [*run.events[:1], *run.climate, *run.events[1:2], *run.samples, *run.steps] == LINES[:-1]
    assert run.end == END
    assert not run.interrupted
    assert run.unknown == run.problems == []


def test_samples_come_as_arrays(whole: Path) -> None:
    t_s, counts = read_run(whole).samples_arrays()
    assert counts.shape == (200, 3)
    assert counts.dtype == np.int32
    np.testing.assert_allclose(t_s[:3], [5.0, 5.005, 5.010])
    np.testing.assert_allclose(t_s[20:22], [5.1, 5.105])
    np.testing.assert_array_equal(counts[41], [2, -1, 16001])


def test_cut_at_any_byte_keeps_every_complete_line(whole: Path, tmp_path: Path) -> None:
    data = whole.read_bytes()
    first = data.index(b"\n")
    path = tmp_path / "cut.run.jsonl"
    random.seed(3)
    for cut in [*random.sample(range(first, len(data)), 200), first, len(data) - 2]:
        path.write_bytes(data[:cut])
        run = read_run(path)
        # A line that lost nothing but its line feed is complete.
        complete = data[:cut].count(b"\n") + (data[cut : cut + 1] == b"\n")
        assert _count(run) == complete
        if cut < len(data) - 1:
            assert run.interrupted
            assert any("no last line" in problem for problem in run.problems)


def test_cut_in_the_header_is_told(whole: Path, tmp_path: Path) -> None:
    data = whole.read_bytes()
    path = tmp_path / "cut.run.jsonl"
    for cut in range(1, data.index(b"\n") - 1, 17):
        path.write_bytes(data[:cut])
        with pytest.raises(BadInputError, match="cut off within its first line"):
            read_run(path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"\0" * 4096, "is empty"),
        (b"a,b\n1,2\n", "no run file"),
        (b'{"kind":"end"}\n', "no run file"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "no run file"),
        (b'{"kind":"header","format":"tilt-run","version":2}\n', "version 2"),
        (b'{"kind":"header","format":"tilt-run","version":1}\n', "damaged"),
        (b"[1]\n", "no run file"),
    ],
)
def test_what_is_no_run_file_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "x.run.jsonl"
    path.write_bytes(content)
    with pytest.raises(BadInputError, match=words) as caught:
        read_run(path)
    assert str(path) in str(caught.value)


def test_missing_file_and_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="Cannot read"):
        read_run(tmp_path / "none")
    with pytest.raises(BadInputError, match="is a folder"):
        read_run(tmp_path)
    with pytest.raises(BadInputError, match="no file or folder"):
        find_runs([tmp_path / "none"])


@pytest.mark.parametrize("damage", [b"\xff\0garbage", b"", b'{"kind":"steps","t_s":"soon"}'])
def test_a_damaged_line_is_left_out_and_told(whole: Path, tmp_path: Path, damage: bytes) -> None:
    lines = whole.read_bytes().split(b"\n")
    lines[6] = damage
    path = tmp_path / "damaged.run.jsonl"
    path.write_bytes(b"\n".join(lines))
    run = read_run(path)
    assert len(run.samples) == 9
    assert run.end == END
    assert len(run.problems) == 1
    assert "Line 7" in run.problems[0]


def test_a_lost_line_is_told(whole: Path, tmp_path: Path) -> None:
    lines = whole.read_bytes().split(b"\n")
    del lines[6]
    path = tmp_path / "lost.run.jsonl"
    path.write_bytes(b"\n".join(lines))
    assert "should have 16 lines" in read_run(path).problems[0]


def test_unknown_kinds_and_keys_are_kept(whole: Path, tmp_path: Path) -> None:
    lines = whole.read_bytes().split(b"\n")
    for index, key in ((0, "colour"), (2, "wind"), (3, "who"), (5, "gyro")):
        lines[index] = json.dumps(json.loads(lines[index]) | {key: 1}).encode()
    lines.insert(4, b'{"kind":"photo","file":"a.jpg"}')
    path = tmp_path / "later.run.jsonl"
    path.write_bytes(b"\n".join(lines))
    run = read_run(path)
    assert run.unknown == [
        {"kind": "header", "colour": 1},
        {"kind": "climate", "wind": 1},
        {"kind": "event", "who": 1},
        {"kind": "photo", "file": "a.jpg"},
        {"kind": "samples", "gyro": 1},
    ]
    assert len(run.samples) == 10


def test_only_run_files_are_found_in_folders(whole: Path, tmp_path: Path) -> None:
    day = tmp_path / "2026-11-25"
    day.mkdir()
    for name in ("b.run.jsonl", "a.run.jsonl", "a.truth.json", "notes.txt"):
        (day / name).write_bytes(whole.read_bytes())
    assert find_runs([day, day / "a.run.jsonl"]) == [day / "a.run.jsonl", day / "b.run.jsonl"]
    assert find_runs([day / "notes.txt"]) == [day / "notes.txt"]
    assert len(find_runs([tmp_path])) == 3


def test_the_shipped_schema_is_that_of_the_types() -> None:
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text()
