"""What the desk does with wishes, buttons, faults and signals while no run is under way."""

from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from rig.clock import Task
from rig.control.faults.table import remedy
from rig.control.mover import StoppedError
from rig.control.stop import StopRequest
from rig.errors import BadInputError, MachineFaultError, RigError
from rig.panel.desk import ResetWish, ResumeWish
from rig.panel.form import SeriesForm, requests_of
from rig.panel.view import Notice
from rig.procedures.runs import MadeRun
from rig.procedures.series.log import Begun, Closed, Ended, SeriesLog
from rig.settings.model import Settings
from tests.panel.paper import NOW
from tests.panel.story import Story, busy, idle

FAULT = MachineFaultError("disk", "The disk is full.")
OTHER = MachineFaultError("imu_silent", "The sensor is silent.")
ROW = SimpleNamespace(
    onset_angle_deg=20.0, u_onset_angle_deg=0.2, slide_number=None, outcome="slid", flags=[],
    valid=True,
)  # fmt: skip


class Maker:
    """Makes no run; ends as it is told to."""

    def __init__(self) -> None:
        self.ends: list[Exception | None] = []
        self.asked: list[tuple[int, bool]] = []
        """Runs that were left, and whether the first one begins at once."""
        self.reason: str | None = None
        self.hooks: Any = None
        self._series: Any = None

    def __call__(self, machine: Any, log: Any, series: Any, hooks: Any) -> "Maker":
        self._series, self.hooks = series, hooks
        return self

    def make(self, *, start_now: bool, is_last: bool) -> Task[list[Any]]:
        self.asked.append((len(self._series.remaining), start_now))
        end = self.ends.pop(0) if self.ends else None
        if end is not None:
            raise end
        yield from ()
        return []


@pytest.fixture
def maker(monkeypatch: pytest.MonkeyPatch) -> Maker:
    maker = Maker()
    monkeypatch.setattr("rig.panel.desk.SeriesMaker", maker)
    return maker


def notice(story: Story) -> Notice:
    assert story.now.notice is not None
    return story.now.notice


# -- what is kept, and what a reset needs ---------------------------------------------------------


def test_nothing_begins_while_a_fault_is_kept_also_with_the_emergency_stop_released(
    story: Story, maker: Maker
) -> None:
    def script(story: Story) -> Task[None]:
        maker.ends = [FAULT]
        story.series(2)
        yield from story.until(lambda s: s.is_latched)
        story.series(2)
        story.desk.wish(ResumeWish())
        yield from story.wait(0.5)
        assert story.now.is_latched
        assert story.now.state == "halted"
        assert notice(story).what == "The disk is full."
        story.desk.wish(ResetWish())
        yield from story.until(lambda s: not s.is_latched)
        story.desk.wish(ResumeWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert maker.asked == [(2, True), (2, False)]


def test_the_first_fault_is_kept_and_its_notice(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        yield from story.wait(0.5)
        story.desk._keep(FAULT)  # noqa: SLF001
        story.desk._keep(OTHER)  # noqa: SLF001
        yield from story.wait(0.5)

    story.tell(script)
    assert story.machine.latched is FAULT
    assert notice(story) == Notice(
        "fault", "The machine stopped itself", "The disk is full.", remedy("disk")
    )
    assert story.said == [f"The machine stopped itself: The disk is full. {remedy('disk')}"] * 2


def test_a_reset_without_a_fault_does_nothing(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        story.desk.wish(ResetWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert story.now.notice is None
    assert not story.machine.homes_slowly


@pytest.mark.parametrize("is_down", [True, False])
def test_a_reset_needs_a_released_emergency_stop(story: Story, is_down: bool) -> None:
    def script(story: Story) -> Task[None]:
        yield from story.wait(0.5)
        story.desk._keep(FAULT)  # noqa: SLF001
        story.press("emergency_stop", is_down)
        story.desk.wish(ResetWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert story.now.is_latched is is_down
    assert story.now.state == "halted"
    assert notice(story).title == ("Emergency stop" if is_down else "Reset")
    assert story.machine.homes_slowly is not is_down, "nobody knows how the board stands"


def test_a_reset_with_a_dead_sensor_keeps_the_fault_and_says_so(story: Story) -> None:
    def script(story: Story) -> Task[None]:
        yield from story.wait(0.5)
        story.desk._keep(FAULT)  # noqa: SLF001
        assert story.opened.twin is not None
        story.opened.twin.bus.chips.pop(story.machine.settings.bus.imu_address)
        story.desk.wish(ResetWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert story.machine.latched is FAULT
    assert notice(story).kind == "fault"
    assert notice(story).what != "The disk is full."


@pytest.mark.parametrize("wish", ["series", "resume"])
def test_nothing_begins_with_the_emergency_stop_down(story: Story, maker: Maker, wish: str) -> None:
    def script(story: Story) -> Task[None]:
        maker.ends = [RigError("once")]
        story.series(1)
        yield from story.wait(0.5)
        story.press("emergency_stop", True)
        yield from story.wait(0.1)
        if wish == "series":
            story.series(1)
        else:
            story.desk.wish(ResumeWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert maker.asked == [(1, True)]
    assert notice(story).title == "Emergency stop"
    assert notice(story).action == "Release it first. Nothing was moved."
    assert not story.now.is_latched


# -- how a series ends ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("end", "kind", "what", "is_latched"),
    [
        (None, "note", "0 runs made.", False),
        (StoppedError("Stopped by the page on device 1."), "stop", "Stopped by the page", False),
        (BadInputError("No calibration."), "fault", "No calibration.", False),
        (FAULT, "fault", "The disk is full.", True),
    ],
)
def test_however_a_series_ends_the_machine_is_served_on(
    story: Story, maker: Maker, end: Any, kind: str, what: str, is_latched: bool
) -> None:
    def script(story: Story) -> Task[None]:
        maker.ends = [end]
        story.series(2, is_ready=False)
        yield from story.wait(0.5)
        assert not story.now.is_busy
        assert story.now.unfinished == "Heron 1, slick: 0 of 2 runs made."
        assert notice(story).kind == kind
        assert notice(story).what.startswith(what)
        assert story.now.is_latched is is_latched
        story.desk.wish(ResetWish())
        yield from story.wait(0.5)
        story.desk.wish(ResumeWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert maker.asked == [(2, False), (2, False)]


def test_why_a_series_ended_early_is_said(story: Story, maker: Maker) -> None:
    def script(story: Story) -> Task[None]:
        maker.reason = "Three runs in a row were bad."
        story.series(1)
        yield from story.wait(0.5)

    story.tell(script)
    assert notice(story).what == "0 runs made. Three runs in a row were bad."


def test_a_signal_in_a_series_ends_the_program(story: Story, maker: Maker) -> None:
    def script(story: Story) -> Task[None]:
        maker.ends = [StoppedError("Stopped by SIGTERM.", ends_program=True)]
        story.series(1)
        yield from story.wait(0.5)
        raise AssertionError("the program goes on")

    story.tell(script)


def test_a_signal_at_rest_ends_the_program_and_another_stop_does_not(story: Story) -> None:
    reached: list[str] = []

    def script(story: Story) -> Task[None]:
        story.desk.stop("the page on device 1")
        yield from story.wait(0.5)
        assert story.now.notice is None, "nothing was stopped"
        reached.append("after the stop of a page")
        story.machine.events.put(StopRequest("SIGTERM", ends_program=True))
        yield from story.wait(0.5)
        reached.append("after the signal")

    story.tell(script)
    assert reached == ["after the stop of a page"]


def test_a_start_from_the_page_begins_nothing_at_rest(story: Story, maker: Maker) -> None:
    """It is for a bag that was put back; a press of the button on the rig would resume here."""

    def script(story: Story) -> Task[None]:
        maker.ends = [RigError("once")]
        story.series(2)
        yield from story.wait(0.5)
        story.desk.start()
        yield from story.wait(0.5)

    story.tell(script)
    assert maker.asked == [(2, True)]


def test_while_a_series_is_made_it_is_said_to_be(story: Story, maker: Maker) -> None:
    seen: list[tuple[bool, Any]] = []

    def make(*, start_now: bool, is_last: bool) -> Task[list[Any]]:
        yield from story.wait(1.0)
        seen.append((story.now.is_busy, story.now.notice))
        return []

    def script(story: Story) -> Task[None]:
        maker.make = make  # type: ignore[method-assign]
        story.desk._say(Notice("note", "Old", "news"))  # noqa: SLF001
        story.series(1)
        yield from story.until(busy)
        yield from story.until(idle)

    story.tell(script)
    assert seen == [(True, None)], "busy, and old news is gone"


def test_what_a_series_tells_is_shown_and_said(
    story: Story, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[Path] = []
    monkeypatch.setattr(story.opened, "write_truth", written.append)
    (request,) = requests_of(SeriesForm(runs="1", bag="Heron 1"), Settings(), "twin", NOW)
    path = story.folder / "one.run.jsonl"

    def make(*, start_now: bool, is_last: bool) -> Task[list[Any]]:
        maker.hooks.begun(request, path)
        yield from story.wait(0.5)
        assert story.now.course is not None
        assert (story.now.course.request, story.now.course.n_done) == (request, 0)
        maker.hooks.notice("Wipe the board.")
        maker.hooks.made(MadeRun(path, "slid"), ROW)
        yield from story.wait(0.5)
        assert notice(story) == Notice("note", "Please", "Wipe the board.")
        assert story.now.course.n_done == 1
        return []

    def script(story: Story) -> Task[None]:
        maker.make = make  # type: ignore[method-assign]
        story.series(1)
        yield from story.until(busy)
        yield from story.until(idle)

    story.tell(script)
    assert story.said[:2] == [f"Run 1 begins: {path}", "Please: Wipe the board."]
    assert written == [path]
    assert [dot.angle_deg for dot in story.now.dots] == [20.0]


# -- going on -------------------------------------------------------------------------------------


def test_with_nothing_left_there_is_nothing_to_go_on_with(story: Story, maker: Maker) -> None:
    def script(story: Story) -> Task[None]:
        story.desk.wish(ResumeWish())
        yield from story.wait(0.5)

    story.tell(script)
    assert maker.asked == []
    assert notice(story).title == "Nothing is left"


def push(story: Story) -> Task[None]:
    """A press of the start button on the rig."""
    yield from story.wait(0.2)
    story.press("start_button", True)
    yield from story.wait(0.2)
    story.press("start_button", False)
    yield from story.wait(0.3)


def test_the_button_on_the_rig_resets_and_then_goes_on_with_what_is_unfinished(
    story: Story, maker: Maker
) -> None:
    def script(story: Story) -> Task[None]:
        yield from push(story)
        assert (maker.asked, story.now.notice) == ([], None), "there is nothing to begin"
        maker.ends = [FAULT]
        story.series(2)
        yield from story.until(lambda s: s.is_latched)
        yield from push(story)
        yield from story.until(lambda s: not s.is_latched)
        assert len(maker.asked) == 1, "a reset moves nothing"
        yield from push(story)

    story.tell(script)
    assert maker.asked == [(2, True), (2, False)]


# -- beats and sensors ----------------------------------------------------------------------------


def test_a_sign_of_life_is_given_every_20_ms(story: Story) -> None:
    beats: list[float] = []

    def script(story: Story) -> Task[None]:
        story.machine.on_beat = lambda: beats.append(story.machine.clock.time_s())
        yield from story.wait(1.0)

    story.tell(script)
    gaps_s = [after - before for before, after in pairwise(beats)]
    assert max(gaps_s) == pytest.approx(0.02)


def test_a_sensor_that_fails_again_after_a_kept_fault_is_told_no_second_time(
    story: Story,
) -> None:
    def script(story: Story) -> Task[None]:
        yield from story.wait(0.5)
        story.desk._keep(FAULT)  # noqa: SLF001
        assert story.opened.twin is not None
        story.opened.twin.bus.chips.pop(story.machine.settings.bus.imu_address)
        yield from story.wait(5.0)

    story.tell(script)
    assert len(story.said) == 1
    assert story.machine.latched is FAULT


# -- what was before ------------------------------------------------------------------------------


def planned(folder: Path, story: Story, maker: Maker, runs: int) -> str:
    """Leave a planned series in the folder; its id."""

    def script(story: Story) -> Task[None]:
        story.series(runs)
        yield from story.wait(0.5)

    story.tell(script)
    assert maker.asked == [(runs, True)]
    with SeriesLog(folder) as log:
        (entry,) = log.entries
    return entry.series_id  # type: ignore[union-attr]


def begun(log: SeriesLog, series_id: str, repeat: int) -> str:
    """Put a run of it down as begun; its id."""
    run_id = f"run-{repeat:02d}"
    at, file = "2026-03-01T10:00:00Z", f"{run_id}.run.jsonl"
    log.add(
        Begun(
            at=at, series_id=series_id, repeat=repeat, run_id=run_id, run_file=file,
            bag="Heron 1", face="slick",
        )
    )  # fmt: skip
    return run_id


def test_a_run_that_was_cut_off_is_told_of_and_the_board_is_homed_slowly(
    tmp_path: Path, maker: Maker
) -> None:
    series_id = planned(tmp_path, Story(tmp_path), maker, 2)
    with SeriesLog(tmp_path) as log:
        begun(log, series_id, 1)
    story = Story(tmp_path).tell(lambda story: story.wait(0.5))
    assert notice(story).title == "A run was cut off"
    assert notice(story).what.startswith("Run 1 ended before its file was begun, when this")
    assert "the next start homes slowly" in notice(story).what
    assert story.machine.homes_slowly
    assert story.now.unfinished == "Heron 1, slick: 0 of 2 runs made."
    again = Story(tmp_path).tell(lambda story: story.wait(0.5))
    assert again.now.notice is None, "it is told once"
    assert not again.machine.homes_slowly


@pytest.mark.parametrize("fails", [False, True])
def test_the_last_24_slides_of_the_last_series_are_shown_again(
    tmp_path: Path, maker: Maker, monkeypatch: pytest.MonkeyPatch, fails: bool
) -> None:
    series_id = planned(tmp_path, Story(tmp_path), maker, 30)
    with SeriesLog(tmp_path) as log:
        for repeat in range(1, 27):
            run_id = begun(log, series_id, repeat)
            log.add(Ended(at="2026-03-01T10:01:00Z", run_id=run_id, outcome="slid", slid=True))
    shown: list[str] = []

    def read(path: Path) -> Path:
        if fails:
            raise BadInputError("no run file")
        return path

    def analyse(path: Path) -> Any:
        shown.append(path.name)
        return SimpleNamespace(result=ROW)

    monkeypatch.setattr("rig.panel.desk.read_run", read)
    monkeypatch.setattr("rig.panel.desk.analyse_run", analyse)
    story = Story(tmp_path).tell(lambda story: story.wait(0.5))
    expected = [] if fails else [f"run-{repeat:02d}.run.jsonl" for repeat in range(3, 27)]
    assert shown == expected
    assert len(story.now.dots) == len(expected)
    assert story.now.unfinished == "Heron 1, slick: 26 of 30 runs made."


def test_a_story_file_that_cannot_be_written_is_a_kept_fault(
    story: Story, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def settle(self: SeriesLog, at: Any) -> Any:
        raise FAULT

    def script(story: Story) -> Task[None]:
        yield from story.wait(0.5)
        monkeypatch.setattr(SeriesLog, "settle", settle)
        story.desk._settle()  # noqa: SLF001
        yield from story.wait(0.5)

    story.tell(script)
    assert story.now.is_latched


def test_a_series_that_was_closed_is_not_offered(tmp_path: Path, maker: Maker) -> None:
    series_id = planned(tmp_path, Story(tmp_path), maker, 2)
    with SeriesLog(tmp_path) as log:
        log.add(Closed(at="2026-03-01T10:01:00Z", series_id=series_id, reason="made up"))
    story = Story(tmp_path).tell(lambda story: story.wait(0.5))
    assert story.now.unfinished == ""
