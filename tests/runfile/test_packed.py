"""A sound file is read in one go, and that gives the same as reading it line by line."""

from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import BadInputError
from rig.runfile.model import End, Event, Line, Samples, Steps
from rig.runfile.packed import Packed, arrays_of
from rig.runfile.reader import parse_run
from tests.runfile.example import header

PATH = Path("a.run.jsonl")
COUNT = st.integers(-32768, 32767)
BATCHES = st.lists(
    st.builds(
        Samples,
        t_s=st.floats(0.0, 9.0),
        dt_s=st.just(0.005),
        counts=st.lists(st.tuples(COUNT, COUNT, COUNT), min_size=1, max_size=5),
        imu_temperature_c=st.none() | st.floats(0.0, 40.0),
    ),
    min_size=1,
    max_size=6,
)


def text(lines: list[Line]) -> bytes:
    """A file of a header and these lines."""
    return b"".join(msgspec.json.encode(line) + b"\n" for line in (header(), *lines))


@given(batches=BATCHES)
def test_lines_and_arrays_are_as_they_were_written(batches: list[Samples]) -> None:
    run = parse_run(PATH, text([*batches]))
    assert isinstance(run.samples, Packed)
    assert list(run.samples) == batches
    assert run.samples[-2:] == batches[-2:]
    for one, other in zip(run.samples_arrays(), arrays_of(batches), strict=True):
        np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize(
    ("was", "now"),
    [
        (b"[[1,2,3]", b"[ [1,2,3]"),
        (b"[1,2,3]", b"[1,2, 3]"),
        (b"[[1,2,3],[4,5,6]]", b"[]"),
        (b'"dt_s"', b'"later":1,"dt_s"'),
        (b']],"imu', b']],"gyro_counts":[[7,8,9],[1,1,1]],"imu'),
    ],
)
def test_an_unusual_file_is_read_line_by_line(was: bytes, now: bytes) -> None:
    lines = [Samples(t_s=1.0, dt_s=0.005, counts=[(1, 2, 3), (4, 5, 6)])] * 2
    run = parse_run(PATH, text([*lines]).replace(was, now, 1))
    assert isinstance(run.samples, list)
    assert (len(run.samples), run.samples[1]) == (2, lines[1])


@pytest.mark.parametrize("counts", [b"[[1,2,3],[4,5]]", b"[[1,2],[3,4,5,6]]", b"[[1,2,3],4,5,6]"])
def test_samples_of_another_number_of_axes_are_damaged(counts: bytes) -> None:
    line = Samples(t_s=1.0, dt_s=0.005, counts=[(1, 2, 3), (4, 5, 6)])
    run = parse_run(PATH, text([line, line]).replace(b"[[1,2,3],[4,5,6]]", counts, 1))
    assert list(run.samples) == [line]
    assert any("Line 2 of a.run.jsonl is damaged" in problem for problem in run.problems)


def test_arrays_of_steps_are_of_the_lines_as_they_are() -> None:
    lines = [Steps(t_s=i / 4, count=i, jitter_us=1.0) for i in (0, 2, 1)]
    run = parse_run(PATH, text([*lines]))
    assert run.steps_arrays()[1].tolist() == [0, 1, 2]
    del run.steps[0]
    assert run.steps_arrays()[1].tolist() == [1, 2]


def test_the_chips_temperature_is_that_of_the_nearest_time() -> None:
    lines = [
        Samples(t_s=float(i), dt_s=0.005, counts=[(1, 2, 3)], imu_temperature_c=warm)
        for i, warm in enumerate((20.0, None, 22.0))
    ]
    run = parse_run(PATH, text([*lines]))
    assert [run.chip_temperature_c(at) for at in (-1.0, 0.9, 1.1)] == [20.0, 20.0, 22.0]
    run.samples = list(run.samples)
    assert run.chip_temperature_c(1.1) == 22.0
    run.samples = lines[1:2]
    assert run.chip_temperature_c(1.1) is None


def test_a_file_with_two_last_lines_or_two_headers_is_not_sound() -> None:
    end = End(outcome="slid", flags=[], samples_lost=0, bus_retries=0, lines=2)
    for lines in ([end, end], [header()], [Event(t_s=0.0, event="placed", detail={"gap_mm": 1})]):
        run = parse_run(PATH, text([*lines]))
        assert isinstance(run.samples, Packed) == (lines[0] not in (end, header()))


@pytest.mark.parametrize("count", [b"32768", b"-32769", b"9" * 30])
def test_a_count_beyond_sixteen_bits_is_refused_with_its_place(count: bytes) -> None:
    line = Samples(t_s=1.0, dt_s=0.005, counts=[(1, 2, 3)])
    with pytest.raises(BadInputError, match=r"line 2: counts is .* only -32768 to 32767"):
        parse_run(PATH, text([line]).replace(b"[1,2,3]", b"[1,2," + count + b"]"))
