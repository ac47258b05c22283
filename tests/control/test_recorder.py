"""What the recorder keeps, and when."""

import threading
from collections.abc import Callable
from itertools import pairwise

import pytest

from rig.control.recorder import Recorder
from rig.control.states import BY_HAND, MOVING, STATES, check_transition
from rig.devices.climate import ClimateReading
from rig.errors import MachineFaultError
from rig.runfile.model import End, Event, Line, Samples, State
from tests.control.machine_bench import Lines

DT_S = 1 / 208


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


def test_while_the_bag_slides_all_samples_are_kept() -> None:
    lines = Lines()
    recorder = Recorder(lines, 100.0, 10.0)
    go_to_raising(recorder)
    recorder.enter("sliding", 100.0)
    batches(recorder, 101.0, 1.0)
    recorder.end("slid", 0, 0)
    assert sum(len(line.counts) for line in lines.samples()) == 208


def test_outside_of_the_raise_ten_a_second_are_kept() -> None:
    lines = Lines()
    recorder = Recorder(lines, 100.0, 10.0)
    recorder.enter("homing", 100.0)
    batches(recorder, 100.0, 20.0)
    recorder.end("stopped", 0, 0)
    kept = sum(len(line.counts) for line in lines.samples())
    assert kept == pytest.approx(200, abs=2)


def raised_by_hand() -> tuple[Lines, Recorder]:
    """A recorder that has taken 30 s of a raise, from 1 s on."""
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0, by_hand=True)
    for state in ("placing", "dwelling", "raising"):
        recorder.enter(state, 1.0)
    batches(recorder, 1.0, 30.0)
    return lines, recorder


WAYS_TO_END: dict[str, Callable[[Recorder], None]] = {
    "slide": lambda recorder: recorder.enter("sliding", 31.0),
    "stop": lambda recorder: recorder.enter("halted", 31.0),
    "end": lambda recorder: recorder.end("no_slide", 0, 0),
}


@pytest.mark.parametrize("way", WAYS_TO_END)
def test_in_a_raise_by_hand_all_samples_just_before_its_end_are_kept(way: str) -> None:
    """Those of 12 s, the 8 s that the analysis uses and some more; ten a second before that."""
    lines, recorder = raised_by_hand()
    WAYS_TO_END[way](recorder)
    dense = [line for line in lines.samples() if line.dt_s == pytest.approx(DT_S)]
    thin = [line for line in lines.samples() if line.dt_s == 0.1]
    assert sum(len(line.counts) for line in dense) == pytest.approx(12.0 / DT_S, abs=10)
    assert dense[0].t_s == pytest.approx(19.0, abs=0.1)
    assert sum(len(line.counts) for line in thin) == pytest.approx(18.0 * 10, abs=2)
    assert thin[-1].t_s + 0.1 * len(thin[-1].counts) <= dense[0].t_s + 0.1


def test_the_slide_of_a_raise_by_hand_is_kept_whole() -> None:
    lines, recorder = raised_by_hand()
    recorder.enter("sliding", 31.0)
    before = sum(len(line.counts) for line in lines.samples())
    batches(recorder, 31.0, 2.0)
    recorder.enter("lowering", 33.0)
    assert sum(len(line.counts) for line in lines.samples()) - before == 2 * 208


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


def one_by_one(recorder: Recorder, times_s: list[float]) -> None:
    for time_s in times_s:
        recorder.samples(time_s, DT_S, [(1, 2, 3)], None)


@pytest.mark.parametrize(
    ("late", "n_lines"), [(0.24, 1), (0.26, 2), (-0.24, 1), (-0.26, 2), (1.0, 2)]
)
def test_a_sample_that_is_a_quarter_of_its_gap_early_or_late_starts_a_new_line(
    late: float, n_lines: int
) -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    go_to_raising(recorder)
    one_by_one(recorder, [1.0, 1.0 + DT_S, 1.0 + (2.0 + late) * DT_S])
    recorder.enter("lowering", 200.0)
    assert len(lines.samples()) == n_lines
    assert sum(len(line.counts) for line in lines.samples()) == 3


def test_a_line_holds_a_quarter_of_a_second_of_the_raise() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    go_to_raising(recorder)
    one_by_one(recorder, [1.0 + i * DT_S for i in range(160)])
    # Of 208 a second; the rest is not due yet.
    assert [len(line.counts) for line in lines.samples()] == [52, 52, 52]


def test_outside_of_the_raise_a_line_holds_two_seconds() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    recorder.enter("homing", 0.0)
    batches(recorder, 0.0, 7.0)
    kept = lines.samples()
    assert len(kept) == 3
    for line in kept:
        assert len(line.counts) * line.dt_s == pytest.approx(2.0, abs=0.11)


def test_what_was_sampled_is_written_before_the_next_state() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    go_to_raising(recorder)
    recorder.samples(1.0, DT_S, [(1, 2, 3)], None)
    recorder.enter("sliding", 100.0)
    *_, samples, state = lines.lines
    assert isinstance(samples, Samples)
    assert isinstance(state, Event)
    recorder.samples(2.0, DT_S, [(4, 5, 6)], None)
    recorder.end("slid", 0, 0)
    *_, samples, end = lines.lines
    assert isinstance(samples, Samples)
    assert isinstance(end, End)


def test_a_state_that_may_not_follow_is_not_written() -> None:
    lines = Lines()
    recorder = Recorder(lines, 0.0, 10.0)
    with pytest.raises(RuntimeError, match="may not go"):
        recorder.enter("raising", 1.0)
    assert recorder.state == "parked"
    assert lines.lines == []


AIR = ClimateReading(22.0, 50.0, 1005.0)
WAYS: dict[str, Callable[[Recorder], None]] = {
    "event": lambda recorder: recorder.event("something", 1.0),
    "enter": lambda recorder: recorder.enter("homing", 1.0),
    "flag": lambda recorder: recorder.flag("creep"),
    "samples": lambda recorder: recorder.samples(1.0, DT_S, [(1, 2, 3)], None),
    "climate": lambda recorder: recorder.climate(1.0, AIR, None, None),
    "steps": lambda recorder: recorder.steps(1.0, 7, 0.0),
    "end": lambda recorder: recorder.end("slid", 0, 0),
}


@pytest.mark.parametrize("way", WAYS)
def test_while_one_task_writes_all_others_wait(way: str) -> None:
    """A line is written by one thread; another one that comes meanwhile must not get in."""
    is_writing, may_end, has_begun = (threading.Event() for _ in range(3))

    class Slow(Lines):
        def write(self, line: Line) -> None:
            is_writing.set()
            may_end.wait(10.0)
            super().write(line)

    recorder = Recorder(Slow(), 0.0, 10.0)

    def come_in() -> None:
        has_begun.set()
        WAYS[way](recorder)

    first = threading.Thread(target=recorder.event, args=("first", 0.0))
    second = threading.Thread(target=come_in)
    first.start()
    is_writing.wait(10.0)
    is_writing.clear()
    second.start()
    has_begun.wait(10.0)
    got_in = is_writing.wait(0.03) or not second.is_alive() or recorder.state != "parked"
    may_end.set()
    first.join()
    second.join()
    assert not got_in


FOLLOWS = {
    "parked": {"homing"},
    "homing": {"placing"},
    "placing": {"dwelling"},
    "dwelling": {"raising"},
    "raising": {"sliding", "lowering"},
    "sliding": {"raising", "lowering"},
    "lowering": {"parked"},
    "halted": {"homing"},
}


@pytest.mark.parametrize("old", STATES)
@pytest.mark.parametrize("new", STATES)
def test_only_what_follows_and_a_halt_is_allowed(old: State, new: State) -> None:
    if new == "halted" or new in FOLLOWS[old]:
        check_transition(old, new)
    else:
        with pytest.raises(RuntimeError, match="may not go"):
            check_transition(old, new)


@pytest.mark.parametrize("old", STATES)
@pytest.mark.parametrize("new", STATES)
def test_by_hand_nothing_homes(old: State, new: State) -> None:
    follows = {**FOLLOWS, "parked": {"placing"}, "halted": {"placing"}}
    if new == "halted" or new in follows[old]:
        check_transition(old, new, BY_HAND)
    else:
        with pytest.raises(RuntimeError, match="may not go"):
            check_transition(old, new, BY_HAND)


def test_a_driver_may_be_on_where_something_moves() -> None:
    assert set(STATES) - MOVING == {"parked", "dwelling", "halted"}
