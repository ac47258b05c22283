"""The story file: what counts, what is cut off, and what a full disk leaves."""

import errno
import os
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.errors import MachineFaultError
from rig.procedures.requests import plan_series
from rig.procedures.series.log import (
    Begun,
    Closed,
    Cut,
    Ended,
    Entry,
    Planned,
    SeriesLog,
    SeriesOptions,
    Wear,
)
from rig.runfile.model import End, Event, Line
from rig.settings.model import Settings
from tests.runfile.example import header

AT = datetime(2026, 11, 25, 9, tzinfo=UTC)
STAMP = "2026-11-25T09:00:00.000Z"


def planned(name: str = "s1", n: int = 3) -> Planned:
    asked = plan_series(Settings(), n, source="rig", started=AT)
    return Planned(at=STAMP, series_id=name, requests=asked, options=SeriesOptions())


def begun(
    number: int, repeat: int, *, series: str = "s1", bag: str = "X", face: str = "grip"
) -> Begun:
    return Begun(
        at=STAMP,
        series_id=series,
        repeat=repeat,
        run_id=f"r{number}",
        run_file=f"r{number}.run.jsonl",
        bag=bag,
        face=face,
    )


def ended(number: int, outcome: Any = "slid", **wear: Any) -> Ended:
    return Ended(at=STAMP, run_id=f"r{number}", outcome=outcome, **({"slid": False} | wear))


def cut(number: int, **wear: Any) -> Cut:
    return Cut(at=STAMP, run_id=f"r{number}", state=None, t_s=None, **({"slid": False} | wear))


def logged(folder: Path, entries: Sequence[Entry]) -> SeriesLog:
    """A log with these lines, closed."""
    with SeriesLog(folder) as log:
        for entry in entries:
            log.add(entry)
    return log


def test_what_came_to_its_end_is_counted_and_every_slide_is_worn(tmp_path: Path) -> None:
    log = logged(
        tmp_path,
        [
            planned(n=4),
            begun(1, 1),
            ended(1, slid=True, pushes=1),
            begun(2, 2),
            ended(2, "stopped", brought_down=1, pushes=2),
            begun(3, 2),
            cut(3, slid=True, pushes=4),
            begun(4, 3),
            ended(4, "no_slide"),
            begun(5, 1, series="other"),
            ended(5, slid=True),
            begun(6, 4),
        ],
    )
    series = log.series(planned(n=4))
    assert series.counted == {1: "r1.run.jsonl", 3: "r4.run.jsonl"}
    assert [request.repeat for request in series.remaining] == [2, 4]
    assert series.slides == 3
    assert log.wear("X", "grip") == Wear(slides=4, pushes=7)


@pytest.mark.parametrize(("bag", "face"), [("X", "slick"), ("Y", "grip")])
def test_wear_is_of_one_face_of_one_bag(tmp_path: Path, bag: str, face: str) -> None:
    lines: list[Entry] = [
        begun(1, 1),
        ended(1, slid=True),
        begun(2, 2, bag=bag, face=face),
        ended(2, slid=True),
    ]
    log = logged(tmp_path, lines)
    assert log.wear("X", "grip") == log.wear(bag, face) == Wear(slides=1, pushes=0)


@pytest.mark.parametrize(
    ("entries", "left"),
    [
        ([], None),
        ([planned()], [1, 2, 3]),
        ([planned(), begun(1, 1), ended(1)], [2, 3]),
        ([planned(n=1), begun(1, 1), ended(1)], None),
        ([planned(), Closed(at=STAMP, series_id="s1", reason="enough")], None),
        ([planned(), Closed(at=STAMP, series_id="other", reason="enough")], [1, 2, 3]),
        # Only the newest can be resumed, also where an older one is open.
        ([planned("old"), planned(n=2)], [1, 2]),
        ([planned("old"), planned(), Closed(at=STAMP, series_id="s1", reason="x")], None),
    ],
)
def test_the_newest_series_with_runs_left_can_be_resumed(
    tmp_path: Path, entries: list[Entry], left: list[int] | None
) -> None:
    found = logged(tmp_path, entries).unfinished()
    assert (None if found is None else [r.repeat for r in found.remaining]) == left


def write_run(folder: Path, number: int, *lines: Line) -> None:
    data = b"".join(msgspec.json.encode(line) + b"\n" for line in (header(), *lines))
    (folder / f"r{number}.run.jsonl").write_bytes(data)


def test_what_was_not_told_is_read_from_the_run_files(tmp_path: Path) -> None:
    sliding = Event(t_s=5.0, event="state", detail={"state": "sliding"})
    push = Event(t_s=1.0, event="blade_push")
    down = Event(t_s=2.0, event="bag_brought_down")
    write_run(tmp_path, 1, push, sliding)
    write_run(
        tmp_path, 2, sliding, End(outcome="slid", flags=[], samples_lost=0, bus_retries=0, lines=2)
    )
    write_run(tmp_path, 4, push, down)
    told: list[Entry] = [begun(1, 1), begun(2, 2), begun(3, 3), begun(4, 4), begun(5, 5), ended(5)]
    logged(tmp_path, told)
    with SeriesLog(tmp_path) as log:
        cuts = log.settle(AT)
        assert log.settle(AT) == [], "it was told twice"
    assert [(one.run_id, end.state, end.slid, end.t_s) for one, end in cuts] == [
        ("r1", "sliding", True, 5.0),
        ("r3", None, False, None),
        ("r4", "parked", False, 2.0),
    ]
    assert [(end.pushes, end.brought_down) for _, end in cuts] == [(1, 0), (0, 0), (1, 1)]
    assert [(e.run_id, e.outcome, e.slid) for e in log.entries if isinstance(e, Ended)] == [
        ("r5", "slid", False),
        ("r2", "slid", True),
    ]


@pytest.mark.parametrize("how", ["short", "full", "lost"])
def test_a_line_that_did_not_get_to_the_disk_counts_for_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    write = os.write

    def fails(*_: Any) -> int:
        raise OSError(errno.ENOSPC if how == "full" else errno.EIO, "injected")

    with SeriesLog(tmp_path) as log:
        log.add(planned())
        with monkeypatch.context() as broken:
            if how == "short":
                broken.setattr(os, "write", lambda file, data: write(file, data[:-9]))
            elif how == "full":
                broken.setattr(os, "write", fails)
            else:
                broken.setattr(os, "fsync", fails)
            with pytest.raises(MachineFaultError, match="cannot be written") as caught:
                log.add(begun(1, 1))
        assert caught.value.cause == "disk"
        assert len(log.entries) == 1
        log.add(begun(2, 2))
    with SeriesLog(tmp_path) as log:
        ids = [entry.run_id for entry in log.entries if isinstance(entry, Begun)]
    assert ids == (["r1", "r2"] if how == "lost" else ["r2"])


def test_a_torn_last_line_does_not_spoil_the_next_one(tmp_path: Path) -> None:
    log = logged(tmp_path, [planned()])
    with log.path.open("ab") as file:
        file.write(b'{"kind":"run","at":"20')
    log = logged(tmp_path, [begun(1, 1)])
    with SeriesLog(tmp_path) as log:
        assert [type(entry) for entry in log.entries] == [Planned, Begun]
        assert log.problems == []


def test_a_line_that_was_changed_is_left_out_and_told(tmp_path: Path) -> None:
    log = logged(tmp_path, [planned(), begun(1, 1)])
    lines = log.path.read_bytes().replace(b'"repeat":1', b'"repeat":7')
    log.path.write_bytes(lines)
    with SeriesLog(tmp_path) as log:
        assert len(log.entries) == 2 - len(log.problems)
        assert len(log.problems) >= 1
        assert "was changed after it was written" in log.problems[0]
    log.path.write_bytes(b"\xff\xfe{\n" + lines)
    with SeriesLog(tmp_path) as log:
        assert len(log.problems) >= 1


def test_a_line_of_an_older_program_is_read(tmp_path: Path) -> None:
    path = logged(tmp_path, [planned()]).path
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b',"check":')] + b"}\n")
    with SeriesLog(tmp_path) as log:
        assert [type(entry) for entry in log.entries] == [Planned]


def test_closing_twice_is_harmless(tmp_path: Path) -> None:
    log = logged(tmp_path, [])
    log.close()
    logged(tmp_path, [planned()])
