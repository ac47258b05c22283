"""The desk on the twin in virtual time: series, stops, faults, resets, and what is shown."""

from pathlib import Path

import pytest

from rig.clock import Task
from rig.panel.desk import ResetWish, ResumeWish, SeriesWish
from rig.panel.form import SeriesForm, requests_of
from rig.procedures.runs import NEXT_SERIES
from rig.procedures.series.log import Planned, SeriesLog, SeriesOptions
from rig.runfile.model import State
from tests.panel.paper import NOW
from tests.panel.story import Story, busy, idle


def test_a_series_is_made_and_shown(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        yield from story.until(lambda s: s.angle_deg is not None)
        story.series(3)
        yield from story.until(busy)
        yield from story.until(idle)
        yield from story.wait(2)

    story.tell(script)
    assert story.outcomes == ["slid"] * 3
    last = story.now
    assert [dot.number for dot in last.dots] == [1, 2, 3]
    assert all(9.0 < (dot.angle_deg or 0.0) < 14.0 for dot in last.dots)
    assert last.course is not None
    assert (last.course.n_done, last.course.n_all) == (3, 3)
    assert last.notice is not None
    assert last.notice.title == "The series is done"
    assert last.state == "parked"
    states = list(dict.fromkeys(snap.state for snap in story.seen))
    assert states[:6] == ["parked", "homing", "dwelling", "raising", "sliding", "lowering"]
    lefts = [s.course.left_s for s in story.seen if s.course and s.course.left_s is not None]
    assert lefts[0] > lefts[-1]


def evening(story: Story) -> None:
    """Two series of a run, each of a bag of its own."""
    settings = story.machine.settings
    first, then = (
        SeriesWish(
            requests_of(SeriesForm(runs="1", bag=bag, face="slick"), settings, "twin", NOW),
            SeriesOptions(bad_in_a_row=bad),
            is_ready=bag == "Heron 1",
        )
        for bag, bad in (("Heron 1", 2), ("Heron 2", 3))
    )
    story.desk.wish(first._replace(then=[then]))


def test_series_of_an_evening_are_made_one_after_another(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.helps = False
        evening(story)
        yield from story.until(lambda s: s.waits_for_start)
        assert story.now.course is not None
        assert story.now.course.request is not None
        assert story.now.course.request.bag == "Heron 2"
        assert story.outcomes == ["slid", None]
        yield from story.wait(20)
        assert story.now.waits_for_start, "it began without a start"
        story.desk.start()
        yield from story.until(idle)

    assert story.tell(script).outcomes == ["slid"] * 2
    with SeriesLog(story.folder) as log:
        planned = [entry for entry in log.entries if isinstance(entry, Planned)]
    assert [one.options.bad_in_a_row for one in planned] == [2, 3], "each by its own options"


def test_between_two_series_of_an_evening_it_never_says_rest(
    story: Story, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The board homes by itself for the next one; only the last one leaves it parked."""
    said: list[str] = []
    enter = story.machine.enter

    def entered(state: State) -> None:
        enter(state)
        if state == "parked":
            said.append(story.machine.live.wants)

    monkeypatch.setattr(story.machine, "enter", entered)

    def script(story: Story) -> Task[None]:
        evening(story)
        yield from story.until(lambda s: s.is_busy)
        yield from story.until(idle)

    story.tell(script)
    assert said[-2:] == [NEXT_SERIES, ""], "after the last one it rests"


def test_the_twin_takes_each_bag_of_an_evening(
    story: Story, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that slides count for the bag that a person chose, and what was invented is said."""
    taken: list[tuple[object, ...]] = []

    def take(*bag: object) -> list[str]:
        taken.append(bag)
        return [f"Invented for {bag[0]}."]

    monkeypatch.setattr(story.opened, "take_bag", take)

    def script(story: Story) -> Task[None]:
        evening(story)
        yield from story.until(busy)
        yield from story.until(idle)

    story.tell(script)
    assert taken == [("Heron 1", "slick", None), ("Heron 2", "slick", None)]
    assert "Invented for Heron 2." in story.said


def test_a_stop_ends_the_evening(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        evening(story)
        yield from story.until(lambda s: s.state == "raising")
        story.desk.stop("the page on device 1")
        yield from story.until(idle)
        yield from story.wait(60)
        assert story.now.state == "halted"

    assert story.tell(script).outcomes == ["stopped"]


def test_the_time_left_is_about_right_once_a_run_is_made(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.series(3)
        yield from story.until(lambda s: s.course and s.course.n_done == 2)
        yield from story.until(idle)

    story.tell(script)
    known = [s for s in story.seen if s.is_busy and s.course and s.course.n_done == 2]
    end_s = next(s.time_s for s in story.seen if s.course and s.course.n_done == 3)
    for snap in known:
        assert snap.course is not None
        assert snap.course.left_s == pytest.approx(end_s - snap.time_s, abs=12.0)


def test_a_start_from_the_page_counts_where_one_is_waited_for(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.helps = False
        story.desk.start()  # nobody waits for one: it counts for nothing
        story.series(1, is_ready=False)
        yield from story.until(lambda s: s.waits_for_start)
        yield from story.wait(5)
        assert story.now.waits_for_start, "the start from before was kept"
        story.desk.start()
        yield from story.until(lambda s: s.state == "raising")
        yield from story.until(idle)

    assert story.tell(script).outcomes == ["slid"]


def test_a_stop_ends_the_series_and_it_can_go_on(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.series(2)
        yield from story.until(lambda s: s.state == "raising" and (s.angle_deg or 0) > 3)
        story.desk.stop("the page on device 1")
        yield from story.until(idle)
        yield from story.wait(1)
        assert story.now.state == "halted"
        assert not story.now.is_latched
        assert story.now.notice is not None
        assert story.now.notice.what == "Stopped by the page on device 1."
        assert story.now.unfinished == "Heron 1, slick: 0 of 2 runs made."
        held_deg = story.now.angle_deg
        yield from story.wait(5)
        assert story.now.angle_deg == pytest.approx(held_deg, abs=0.2)
        story.desk.wish(ResumeWish())
        yield from story.until(busy)
        yield from story.until(idle, 900)
        yield from story.wait(1)

    story.tell(script)
    assert story.outcomes == ["stopped", "slid", "slid"]
    assert story.now.unfinished == ""


def test_a_stop_with_nothing_to_stop_does_nothing(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        for _ in range(3):
            story.desk.stop("the page on device 1")
        yield from story.wait(1)
        story.series(1)
        yield from story.until(lambda s: s.state == "raising")
        yield from story.until(idle)

    assert story.tell(script).outcomes == ["slid"]


def test_after_an_emergency_stop_a_reset_is_needed_and_the_stop_must_be_released(
    story: Story,
) -> None:
    def script(story: Story) -> Task[None]:
        story.series(1)
        yield from story.until(lambda s: s.state == "raising" and (s.angle_deg or 0) > 3)
        story.press("emergency_stop", True)
        yield from story.until(lambda s: s.is_latched)
        yield from story.until(idle)
        assert story.now.state == "halted"
        assert not story.machine.stepper.enabled
        story.series(1)
        yield from story.wait(2)
        assert not story.now.is_busy, "a fault is latched"
        story.desk.wish(ResetWish())
        yield from story.wait(2)
        assert story.now.is_latched, "the stop is still down"
        story.press("emergency_stop", False)
        yield from story.wait(1)
        assert story.now.is_latched, "releasing the stop resets nothing"
        story.desk.wish(ResetWish())
        yield from story.until(lambda s: not s.is_latched)
        yield from story.wait(3)
        assert story.now.state == "halted", "a reset moves nothing"
        story.desk.wish(ResumeWish())
        yield from story.until(lambda s: s.state == "raising")
        yield from story.until(idle)

    assert story.tell(script).outcomes == ["fault", "slid"]


def test_nothing_begins_while_the_emergency_stop_is_down(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.press("emergency_stop", True)
        yield from story.wait(0.5)
        story.series(1)
        yield from story.wait(2)

    story.tell(script)
    assert story.outcomes == []
    assert story.now.notice is not None
    assert "Release it first" in story.now.notice.action


def test_wishes_during_a_series_are_passed_over(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.series(1)
        yield from story.until(lambda s: s.state == "raising")
        story.series(5)
        story.desk.wish(ResetWish())
        story.desk.start()
        yield from story.until(idle)
        yield from story.wait(5)

    story.tell(script)
    assert story.outcomes == ["slid"]


def test_a_sensor_that_fails_at_rest_is_a_fault_with_what_to_do(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        yield from story.until(lambda s: s.angle_deg is not None)
        assert story.opened.twin is not None
        story.opened.twin.bus.chips.pop(story.machine.settings.bus.imu_address)
        yield from story.until(lambda s: s.is_latched)
        yield from story.wait(3)

    story.tell(script)
    assert story.now.notice is not None
    assert story.now.notice.kind == "fault"
    assert story.now.notice.action
    assert story.now.angle_deg is None, "an old angle is not shown as if it were new"


def test_a_new_process_offers_what_the_last_one_left(tmp_path: Path) -> None:
    first, second = Story(tmp_path), Story(tmp_path)

    def break_off(story: Story) -> Task[None]:
        story.series(2)
        yield from story.until(lambda s: s.course and s.course.n_done == 1)
        yield from story.until(lambda s: s.state == "raising")

    def look(story: Story) -> Task[None]:
        yield from story.wait(5)
        assert story.now.state == "parked", "a restart moves nothing"
        assert story.now.unfinished == "Heron 1, slick: 1 of 2 runs made."
        assert [dot.number for dot in story.now.dots] == [1]
        story.desk.wish(ResumeWish())
        yield from story.until(busy)
        yield from story.until(idle)

    first.tell(break_off)
    assert first.outcomes == ["slid", "stopped"]
    assert sorted(map(str, second.tell(look).outcomes)) == ["slid", "slid", "stopped"]
