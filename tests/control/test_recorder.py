"""What the recorder keeps, and when."""

from itertools import pairwise

import pytest

from rig.control.recorder import Recorder
from rig.control.states import ALLOWED, STATES, check_transition
from rig.errors import MachineFaultError
from rig.runfile.model import End, Event, Flag, Line, Outcome, Samples

DT_S = 1 / 208


class Lines:
    """A writer that keeps the lines in memory and fails when told to."""

    def __init__(self) -> None:
        self.lines: list[Line] = []
        self.fail = False
        self.closed = False

    def write(self, line: Line) -> None:
        if self.fail:
            raise MachineFaultError("disk", "The disk is full.", "Free some space.")
        self.lines.append(line)

    def end(self, outcome: Outcome, flags: list[Flag], samples_lost: int, bus_retries: int) -> None:
        self.write(
            End(
                outcome=outcome,
                flags=list(flags),
                samples_lost=samples_lost,
                bus_retries=bus_retries,
                lines=len(self.lines),
            )
        )

    def close(self) -> None:
        self.closed = True

    def samples(self) -> list[Samples]:
        return [line for line in self.lines if isinstance(line, Samples)]


def batches(recorder: Recorder, start_s: float, seconds: float) -> None:
    """Feed a resting sensor's samples in batches of eight, as the sampling task does."""
    n = round(seconds / DT_S / 8)
    for i in range(n):
        recorder.samples(start_s + i * 8 * DT_S, DT_S, [(i, 0, 16384)] * 8, 24.0)


def go_to_raising(recorder: Recorder) -> None:
    for state in ("homing", "placing", "dwelling", "raising"):
        recorder.enter(state, 100.0)


def test_all_samples_of_the_raise_are_kept_in_order() -> None:
    lines = Lines()
    recorder = Recorder(lines, 100.0, 10.0)
    go_to_raising(recorder)
    batches(recorder, 101.0, 2.0)
    recorder.enter("lowering", 103.0)
    kept = lines.samples()
    assert sum(len(line.counts) for line in kept) == round(2.0 / DT_S / 8) * 8
    assert kept[0].t_s == pytest.approx(1.0)
    for before, after in pairwise(kept):
        assert after.t_s == pytest.approx(before.t_s + len(before.counts) * before.dt_s, abs=1e-5)


def test_outside_of_the_raise_ten_a_second_are_kept() -> None:
    lines = Lines()
    recorder = Recorder(lines, 100.0, 10.0)
    recorder.enter("homing", 100.0)
    batches(recorder, 100.0, 20.0)
    recorder.end("stopped", 0, 0)
    kept = sum(len(line.counts) for line in lines.samples())
    assert kept == pytest.approx(200, abs=2)


def test_a_hole_in_the_samples_starts_a_new_line() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    go_to_raising(recorder)
    recorder.samples(1.0, DT_S, [(1, 2, 3)] * 4, None)
    recorder.samples(2.0, DT_S, [(4, 5, 6)] * 4, None)
    recorder.end("fault", 190, 0)
    assert [line.t_s for line in lines.samples()] == [1.0, 2.0]


def test_flags_are_kept_once_and_the_end_closes_the_file() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    recorder.flag("edge_crept")
    recorder.flag("edge_crept")
    recorder.end("slid", 3, 2)
    recorder.event("late", 5.0)
    recorder.end("fault", 0, 0)
    assert len(lines.lines) == 1
    end = lines.lines[0]
    assert isinstance(end, End)
    assert (end.outcome, end.flags, end.samples_lost, end.bus_retries) == (
        "slid",
        ["edge_crept"],
        3,
        2,
    )


def test_a_disk_that_fails_is_told_once_and_then_left_alone() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    lines.fail = True
    with pytest.raises(MachineFaultError, match="full"):
        recorder.event("state", 1.0)
    assert lines.closed
    recorder.event("fault", 2.0)
    recorder.enter("halted", 2.0)
    recorder.end("fault", 0, 0)
    assert lines.lines == []


def test_event_times_count_from_the_start_of_the_run() -> None:
    lines = Lines()
    recorder = Recorder(lines, 50.0, 10.0)
    recorder.event("beam_broken", 62.123456789, beam=1)
    assert lines.lines == [Event(t_s=12.123457, event="beam_broken", detail={"beam": 1})]


@pytest.mark.parametrize("old", STATES)
@pytest.mark.parametrize("new", STATES)
def test_only_the_moves_in_the_table_are_allowed(old: str, new: str) -> None:
    if new == "halted" or new in ALLOWED[old]:
        check_transition(old, new)
    else:
        with pytest.raises(RuntimeError, match="may not go"):
            check_transition(old, new)


def test_out_of_halted_only_a_homing_leads() -> None:
    assert ALLOWED["halted"] == {"homing"}
