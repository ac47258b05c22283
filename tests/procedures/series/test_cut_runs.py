"""What a run file tells of its end, wherever it was cut."""

from collections.abc import Sequence
from pathlib import Path

import msgspec
import pytest

from rig.procedures.series.cut_runs import RunEnd, how_it_ended
from rig.runfile.model import End, Event, Line, Samples, State, Steps
from tests.runfile.example import header


def state(t_s: float, name: State) -> Event:
    return Event(t_s=t_s, event="state", detail={"state": name})


STORY: list[Line] = [
    state(0.0, "homing"),
    Event(t_s=1.0, event="blade_push"),
    Event(t_s=2.0, event="bag_brought_down"),
    Event(t_s=3.0, event="blade_push"),
    state(4.0, "raising"),
    Steps(t_s=6.0, count=40, jitter_us=1.0),
    state(7.0, "sliding"),
    Samples(t_s=9.0, dt_s=0.005, counts=[(0, 0, 16000)]),
]


def told(folder: Path, lines: Sequence[Line]) -> RunEnd:
    path = folder / "x.run.jsonl"
    path.write_bytes(b"".join(msgspec.json.encode(line) + b"\n" for line in [header(), *lines]))
    return how_it_ended(path)


@pytest.mark.parametrize(
    ("n_lines", "end"),
    [
        (0, RunEnd(None, "parked", 0.0, False)),
        (2, RunEnd(None, "homing", 1.0, False, 1)),
        (4, RunEnd(None, "homing", 3.0, False, 2, 1)),
        (6, RunEnd(None, "raising", 6.0, False, 2, 1)),
        (7, RunEnd(None, "sliding", 7.0, True, 2, 1)),
        (8, RunEnd(None, "sliding", 9.0, True, 2, 1)),
    ],
)
def test_a_file_tells_how_far_its_run_came(tmp_path: Path, n_lines: int, end: RunEnd) -> None:
    assert told(tmp_path, STORY[:n_lines]) == end


def test_a_bag_that_slid_has_slid_also_when_the_board_is_lowered_again(tmp_path: Path) -> None:
    end = End(outcome="slid", flags=[], samples_lost=0, bus_retries=0, lines=10)
    found = told(tmp_path, [*STORY, state(10.0, "lowering"), end])
    assert found == RunEnd("slid", "lowering", 10.0, True, 2, 1)


@pytest.mark.parametrize("data", [None, b"", b'{"kind":"header"'])
def test_a_file_that_never_came_to_be_tells_nothing(tmp_path: Path, data: bytes | None) -> None:
    path = tmp_path / "x.run.jsonl"
    if data is not None:
        path.write_bytes(data)
    assert how_it_ended(path) == RunEnd(None, None, None, False)
