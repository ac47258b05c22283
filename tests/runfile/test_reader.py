import json
import random
import runpy
from pathlib import Path

import numpy as np
import pytest

from rig.errors import BadInputError
from rig.runfile import schema
from rig.runfile.model import INVALIDATING, Event, Line, Samples, Steps
from rig.runfile.reader import RunFile, find_runs, read_run
from rig.runfile.schema import SCHEMA_FILE, schema_text
from rig.runfile.writer import RunWriter
from tests.runfile.example import END, LINES, header, unchecked


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    writer = RunWriter(tmp_path / "whole.run.jsonl", header())
    for line in LINES:
        writer.write(line)
    writer.end(END.outcome, END.flags, END.samples_lost, END.bus_retries)
    return unchecked(writer.path)


def _count(run: RunFile) -> int:
    lines = len(run.events) + len(run.samples) + len(run.climate) + len(run.steps)
    return 1 + lines + (run.end is not None)


def test_what_was_written_is_read(whole: Path) -> None:
    run = read_run(whole)
    assert run.header == header()
    assert [*run.events[:1], *run.climate, *run.events[1:2], *run.samples, *run.steps] == LINES[:-1]
    assert run.end == END
    assert not run.interrupted
    assert run.unknown == []
    assert run.problems == []


def test_samples_come_as_arrays(whole: Path) -> None:
    t_s, counts = read_run(whole).samples_arrays()
    assert counts.shape == (200, 3)
    assert counts.dtype == np.int32
    np.testing.assert_allclose(t_s[:3], [5.0, 5.005, 5.010])
    np.testing.assert_allclose(t_s[20:22], [5.1, 5.105])
    np.testing.assert_array_equal(counts[41], [2, -1, 16001])


def test_other_samples_give_other_arrays(whole: Path) -> None:
    run = read_run(whole)
    before = run.samples_arrays()
    assert run.samples_arrays() is before
    run.samples = list(run.samples)
    assert len(run.samples_arrays().t_s) == 200
    run.samples[3] = Samples(t_s=5.3, dt_s=0.005, counts=[(7, 8, 9)])
    t_s, counts = run.samples_arrays()
    assert (len(t_s), counts[60].tolist()) == (181, [7, 8, 9])


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
        (b"a,b\n1,2\n", "not a run file"),
        (b'{"kind":"end"}\n', "not a run file"),
        (b'{"kind":"end","format":"tilt-run","version":1}\n', "not a run file"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "not a run file"),
        (b'{"kind":"header","format":"tilt-run","version":2}\n', "version 2"),
        (b'{"kind":"header","format":"tilt-run","version":0}\n', "version 0"),
        (b'{"kind":"header","format":"tilt-run"}\n', "version None"),
        (b'{"kind":"header","format":"other","version":1}\n', "not a run file"),
        (b'{"kind":"header","format":"tilt-run","rig":"\xff","version":1}\n', "damaged"),
        (b'{"kind":"header","format":"tilt-r\nmore\n', "damaged"),
        (b'{"kind":"header","format":"tilt-run","version":1}\n', "damaged"),
        (b"[1]\n", "not a run file"),
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


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"run_id": ""}, "run_id"),
        ({"source": "elsewhere"}, "source"),
        ({"placing": "foot"}, "placing"),
        ({"approach": "from_above"}, "approach"),
        ({"bag": 7}, "bag"),
        ({"repeat": 1.5}, "repeat"),
        ({"rate_deg_s": None}, "rate_deg_s"),
    ],
)
def test_a_header_with_a_wrong_value_is_refused(
    whole: Path, change: dict[str, object], words: str
) -> None:
    first, _, rest = whole.read_bytes().partition(b"\n")
    whole.write_bytes(json.dumps(json.loads(first) | change).encode() + b"\n" + rest)
    with pytest.raises(BadInputError, match=rf"first line of .* is damaged.*{words}"):
        read_run(whole)


@pytest.mark.parametrize("change", [{"dwell_s": 0.0}, {"run_id": "x"}])
def test_a_header_at_the_end_of_its_range_is_read(whole: Path, change: dict[str, object]) -> None:
    first, _, rest = whole.read_bytes().partition(b"\n")
    whole.write_bytes(json.dumps(json.loads(first) | change).encode() + b"\n" + rest)
    assert read_run(whole).header == header(**change)


@pytest.mark.parametrize("key", ["run_id", "started_at", "rig", "settings", "source", "software"])
def test_a_header_without_what_the_analysis_needs_is_refused(whole: Path, key: str) -> None:
    first, _, rest = whole.read_bytes().partition(b"\n")
    fields = json.loads(first)
    del fields[key]
    whole.write_bytes(json.dumps(fields).encode() + b"\n" + rest)
    with pytest.raises(BadInputError, match=f"missing required field `{key}`"):
        read_run(whole)


@pytest.mark.parametrize(
    "damage",
    [
        b"\xff\0garbage",
        b"",
        b" \0\0\r",
        b"[1]",
        b'{"t_s":1.0}',
        b'{"kind":7}',
        b'{"kind":"steps","t_s":"soon"}',
        b'{"kind":"steps","t_s":1.0,"count":2.5,"jitter_us":0}',
        b'{"kind":"samples","t_s":5.3,"dt_s":0.005,"counts":[[1,2]]}',
        b'{"kind":"samples","t_s":5.3,"counts":[[1,2,3]]}',
        b'{"kind":"event","t_s":5.3,"event":"estop","who":"\xff"}',
        b'{"kind":"event","t_s":5.3,"event":"estop","\xff":1}',
        b'{"kind":"event","t_s":5.3,"event":"estop","detail":{"who":"\xff"}}',
        pytest.param(
            b'{"kind":"event","t_s":5.3,"event":"estop","detail":'
            + b"[" * 3000
            + b"]" * 3000
            + b"}",
            id="deep detail",
        ),
        pytest.param(
            b'{"kind":"event","t_s":5.3,"event":"estop","odd":' + b"[" * 3000 + b"]" * 3000 + b"}",
            id="deep unknown key",
        ),
        pytest.param(
            b'{"kind":"later","odd":' + b"[" * 3000 + b"]" * 3000 + b"}", id="deep unknown kind"
        ),
        b'{"kind":"event","t_s":5.3,"event":"\\ud800","detail":{}}',
        b'{"kind":"steps","t_s":1e999,"count":2,"jitter_us":0}',
        b'{"kind":"steps","t_s":1,"count":' + b"9" * 5000 + b',"jitter_us":0}',
        b'{"kind":"steps","t_s":1.0,"count":2,"jitter_us":0,"why":"\xff"}',
        b'{"kind":"climate","t_s":1.0,"temperature_c":20,"pressure_hpa":1000}',
        b'{"kind":"end","outcome":"flew","flags":[],"samples_lost":0,"bus_retries":0,"lines":5}',
        b'{"kind":"end","outcome":"slid","flags":["odd"],"samples_lost":0,"bus_retries":0,"lines":5}',
    ],
)
def test_a_damaged_line_is_left_out_and_told(whole: Path, tmp_path: Path, damage: bytes) -> None:
    lines = whole.read_bytes().split(b"\n")
    lines[6] = damage
    path = tmp_path / "damaged.run.jsonl"
    path.write_bytes(b"\n".join(lines))
    run = read_run(path)
    assert len(run.samples) == 9
    assert (len(run.events), len(run.climate), len(run.steps)) == (3, 1, 1)
    assert run.end == END
    assert run.unknown == []
    assert len(run.problems) == 1
    assert "Line 7 of damaged.run.jsonl is damaged" in run.problems[0]


@pytest.mark.parametrize("line", [b"", b"\0\0\0", b" \0\r"])
def test_a_line_of_zeros_is_called_empty(whole: Path, line: bytes) -> None:
    """As some file systems leave it after a power cut."""
    lines = whole.read_bytes().split(b"\n")
    lines[6] = line
    whole.write_bytes(b"\n".join(lines))
    assert read_run(whole).problems == [
        "Line 7 of whole.run.jsonl is damaged and left out: it is empty."
    ]


@pytest.mark.parametrize("n", [0, -2], ids=["header", "end"])
def test_a_second_first_or_last_line_is_left_out_and_told(
    whole: Path, tmp_path: Path, n: int
) -> None:
    lines = whole.read_bytes().split(b"\n")
    other = lines[n].replace(b"slid", b"fault").replace(b"bench", b"other")
    lines.insert(-1, other)
    path = tmp_path / "twice.run.jsonl"
    path.write_bytes(b"\n".join(lines))
    run = read_run(path)
    assert (run.header, run.end) == (header(), END)
    assert f"a second {'header' if n == 0 else 'last line'}" in run.problems[0]


def test_a_last_line_without_its_line_feed_counts(whole: Path) -> None:
    whole.write_bytes(whole.read_bytes()[:-1])
    run = read_run(whole)
    assert run.end == END
    assert run.problems == []


@pytest.mark.parametrize("cut", [1, 40])
def test_a_torn_last_line_is_told_with_its_length(whole: Path, cut: int) -> None:
    lines = whole.read_bytes().split(b"\n")[:-2]
    torn = lines.pop()[:cut]
    whole.write_bytes(b"\n".join([*lines, torn]))
    run = read_run(whole)
    assert run.interrupted
    assert run.problems[0] == (
        f"The last line of whole.run.jsonl is cut off after {cut} bytes and left out."
    )
    assert len(run.problems) == 2


@pytest.mark.parametrize(
    ("kept", "where"),
    [
        (1, "before its first state"),
        (2, "in state dwelling at 0.00 s"),
        (3, "in state dwelling at 0.00 s"),
        (4, "in state raising at 5.00 s"),
        (14, "in state raising at 5.90 s"),
        (15, "in state raising at 5.90 s"),
        (16, "in state raising at 5.90 s"),
    ],
)
def test_an_interrupted_run_says_how_far_it_came(whole: Path, kept: int, where: str) -> None:
    """The state it was in, and the newest time of events, samples and steps."""
    lines = whole.read_bytes().split(b"\n")
    whole.write_bytes(b"\n".join([*lines[:kept], b""]))
    run = read_run(whole)
    assert run.interrupted
    assert run.problems == [f"whole.run.jsonl has no last line: it was cut off {where}."]


def write(path: Path, *lines: Line) -> RunFile:
    with RunWriter(path, header()) as writer:
        for line in lines:
            writer.write(line)
    return read_run(path)


def test_samples_that_came_out_of_order_are_put_in_order_with_their_counts(tmp_path: Path) -> None:
    """After a loss the chip's clock is fitted again, so batches may overlap."""
    run = write(
        tmp_path / "a.run.jsonl",
        Samples(t_s=2.0, dt_s=0.5, counts=[(4, 40, 400), (5, 50, 500)]),
        Samples(t_s=1.0, dt_s=0.5, counts=[(1, 10, 100), (2, 20, 200), (3, 30, 300)]),
        Samples(t_s=2.25, dt_s=0.5, counts=[(6, 60, 600)]),
    )
    t_s, counts = run.samples_arrays()
    assert t_s.tolist() == [1.0, 1.5, 2.0, 2.0, 2.25, 2.5]
    # The two at 2 s stay as they were written.
    assert counts[:, 0].tolist() == [1, 2, 4, 3, 6, 5]
    assert (counts[:, 2] == 100 * counts[:, 0]).all()


def test_samples_of_the_same_time_stay_in_the_order_of_their_lines(tmp_path: Path) -> None:
    lines = [Samples(t_s=1.0, dt_s=0.5, counts=[(number, 0, 0)] * 100) for number in range(3)]
    _, counts = write(tmp_path / "a.run.jsonl", *lines).samples_arrays()
    assert counts[:, 0].tolist() == [0, 1, 2] * 100


def test_steps_that_came_out_of_order_are_put_in_order(tmp_path: Path) -> None:
    times = ((3.0, 300), (1.0, 100), (2.0, 200), (2.0, 201))
    steps = [Steps(t_s=t_s, count=count, jitter_us=0.0) for t_s, count in times]
    t_s, counts = write(tmp_path / "a.run.jsonl", *steps).steps_arrays()
    assert t_s.tolist() == [1.0, 2.0, 2.0, 3.0]
    assert counts.tolist() == [100, 200, 201, 300]


def test_a_run_without_samples_has_empty_arrays(tmp_path: Path) -> None:
    run = write(tmp_path / "a.run.jsonl")
    assert [part.shape for part in run.samples_arrays()] == [(0,), (0, 3)]
    assert [part.shape for part in run.steps_arrays()] == [(0,), (0,)]


def test_the_first_event_of_a_name_counts(tmp_path: Path) -> None:
    first, again = (Event(t_s=t_s, event="beam_broken") for t_s in (6.0, 6.1))
    run = write(tmp_path / "a.run.jsonl", Event(t_s=1.0, event="raise_started"), first, again)
    assert run.first_event("beam_broken") == first
    assert run.first_event("beam_clear") is None


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


def test_the_module_writes_the_schema_beside_itself(tmp_path: Path) -> None:
    module = tmp_path / "schema.py"
    module.write_text(Path(schema.__file__).read_text("utf-8"), "utf-8")
    runpy.run_path(str(module), run_name="__main__")
    assert (tmp_path / SCHEMA_FILE.name).read_text("utf-8") == schema_text()


def test_just_these_flags_keep_a_run_out_of_the_results() -> None:
    """As the README lists them; all others are warnings."""
    assert INVALIDATING == {
        "no_slide",
        "moved_before_raise",
        "beam_fault",
        "angle_sensor_fault",
        "step_loss",
        "halted",
        "settling",
        "slid_early",
        "slumped",
        "pace_off",
        "jerked",
    }
