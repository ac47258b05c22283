"""Trace files: whole, checked, never written over."""

from pathlib import Path

import msgspec
import pytest

from rig.errors import BadInputError
from rig.study.phone.trace import FOLDER, TraceSamples, keep_trace, kept_trace, read_trace
from tests.fastsim.phone import lift
from tests.study.phone.lifted import phone, trace_of

KEY = "0123456789ab"


@pytest.fixture(scope="module")
def trace():
    one = phone(3)
    return trace_of(one.zero(), lift(one, 15.0, 3.0)[0], 3.0)


def test_a_trace_reads_as_it_was_kept(tmp_path: Path, trace) -> None:
    path = keep_trace(tmp_path, KEY, trace)
    assert path.parent == tmp_path / FOLDER
    assert read_trace(path) == trace
    assert b'"raised_by":"hand"' in path.read_bytes()


def test_a_key_that_is_sent_again_writes_no_second_file(tmp_path: Path, trace) -> None:
    path = keep_trace(tmp_path, KEY, trace)
    before = path.read_bytes()
    later = msgspec.structs.replace(trace.header, at="2026-05-30T11:00:00Z")
    assert keep_trace(tmp_path, KEY, msgspec.structs.replace(trace, header=later)) == path
    assert path.read_bytes() == before
    assert [one.name for one in (tmp_path / FOLDER).glob("*.jsonl")] == [path.name]
    assert kept_trace(tmp_path, KEY) == path
    assert kept_trace(tmp_path, "another12345") is None


def test_a_changed_byte_is_noticed(tmp_path: Path, trace) -> None:
    path = keep_trace(tmp_path, KEY, trace)
    data = path.read_bytes()
    place = data.index(b"9.")
    path.write_bytes(data[:place] + b"8" + data[place + 1 :])
    with pytest.raises(BadInputError, match="was changed after it was written"):
        read_trace(path)


def test_a_cut_trace_is_told(tmp_path: Path, trace) -> None:
    path = keep_trace(tmp_path, KEY, trace)
    path.write_bytes(path.read_bytes()[:-60])
    with pytest.raises(BadInputError):
        read_trace(path)


@pytest.mark.parametrize(
    "samples",
    [
        {"t_s": [0.0, 1.0], "acceleration_m_s2": [[0.0, 0.0, 9.8]]},
        {"t_s": [1.0, 0.0], "acceleration_m_s2": [[0.0, 0.0, 9.8]] * 2},
        {"t_s": [0.0], "acceleration_m_s2": [[0.0, 0.0, 900.0]]},
    ],
)
def test_readings_that_cannot_be_are_refused(samples) -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(samples, TraceSamples)
