"""The sections of the page: ready words, and what each watcher may press."""

from typing import Any

import msgspec
import pytest

from rig.panel.course import Course
from rig.panel.form import SeriesForm, requests_of
from rig.panel.render import (
    actions,
    course_title,
    notice_in,
    notice_section,
    sections,
    slides_section,
    time_left,
    what_runs,
)
from rig.panel.seats import Seat
from rig.panel.view import Notice
from rig.panel.words import COMES_NEXT
from rig.settings.model import Settings
from tests.panel.paper import NOW, snapshot

PRESSED = ("emergency_stop",)
REQUEST = requests_of(SeriesForm(runs="2", bag="Heron 1"), Settings(), "twin", NOW)[1]


def test_every_value_comes_in_its_units() -> None:
    snap = snapshot(angle_deg=-0.126, cross_slope_deg=0.254, step_angle_deg=12.3)
    found = sections(snap, "metric")
    assert found["angle"] == {
        "text": "−0.1°", "tilt": -0.13, "steps": "12.30°", "across": "0.25°",
        "by_motor": True,
    }  # fmt: skip
    assert found["air"] == {
        "temperature": "23.0 °C", "humidity": "51 %RH", "pressure": "1013 hPa", "chip": "25.0 °C",
    }  # fmt: skip
    assert sections(snap, "us")["air"] == {
        "temperature": "73.4 °F", "humidity": "51 %RH", "pressure": "29.92 inHg", "chip": "77.0 °F",
    }  # fmt: skip


def test_what_is_not_known_is_not_shown_as_a_value() -> None:
    found = sections(snapshot(angle_deg=None, cross_slope_deg=None, step_angle_deg=None), "metric")
    known = {"by_motor": True}
    assert found["angle"] == {"text": "–", "tilt": None, "steps": "–", "across": "–"} | known


def test_a_state_says_what_it_means_or_what_the_machine_wants() -> None:
    plain = sections(snapshot(), "us")["state"]
    assert (plain["word"], plain["tone"], plain["asks"]) == ("Raising", "measure", False)
    assert plain["text"].startswith("The board rises")
    wants = sections(snapshot(state="placing", wants="Place it 25.4 mm above."), "us")["state"]
    assert wants == {
        "word": "Placing", "tone": "wait", "text": "Place it 25.4 mm above.",
        "asks": True, "run": {"bag": "Heron [red]1", "face": "slick", "again": True},
    }  # fmt: skip


def test_the_bag_comes_with_the_state_that_asks_for_it() -> None:
    def run_of(**changes: Any) -> Any:
        return sections(snapshot(state="placing", **changes), "metric")["state"]["run"]

    again = {"bag": "Heron 1", "face": "", "again": True}
    assert run_of(course=Course(3, 1, None, REQUEST)) == again
    assert run_of(course=Course(3, 0, None, REQUEST)) == again | {"again": False}
    assert run_of(course=Course(3, 2, None, REQUEST, n_before=2)) == again | {"again": False}
    unknown = {"bag": "", "face": "", "again": False}
    assert run_of(course=Course(3, 0, None, None)) == run_of(course=None) == unknown
    assert run_of(is_busy=False) is None


def test_between_two_series_a_board_at_rest_is_about_to_move() -> None:
    between = sections(snapshot(state="parked"), "metric")["state"]
    assert (between["tone"], between["text"]) == ("move", COMES_NEXT)
    by_hand = sections(snapshot(state="parked", by_hand=True), "metric")["state"]
    rest = sections(snapshot(state="parked", is_busy=False), "metric")["state"]
    assert {by_hand["tone"], rest["tone"]} == {"rest"}
    assert "until someone starts it" in rest["text"]


@pytest.mark.parametrize(
    ("broken", "inputs", "found"),
    [
        ((False,), (), {"text": "Free", "broken": False, "inputs": "none"}),
        ((True,), (), {"text": "Broken", "broken": True, "inputs": "none"}),
        (
            (False, True),
            ("limit_lower", "start"),
            {"text": "1 free, 2 broken", "broken": True, "inputs": "limit lower, start"},
        ),
    ],
)
def test_beams_and_inputs(broken: Any, inputs: Any, found: Any) -> None:
    assert sections(snapshot(beams_broken=broken, inputs=inputs), "metric")["beam"] == found


def test_a_stop_that_is_down_is_told_without_an_event_and_hides_no_fault() -> None:
    fault = Notice("fault", "The machine stopped itself", "It hangs.", "Help it.")
    note = Notice("note", "Reset", "The board stays where it is.")
    stop = notice_in(snapshot(inputs=PRESSED))
    assert stop is not None
    assert (stop.kind, stop.title) == ("fault", "Emergency stop")
    assert notice_in(snapshot(inputs=PRESSED, notice=note)) == stop
    assert notice_in(snapshot(inputs=PRESSED, notice=fault)) == fault
    assert notice_in(snapshot(inputs=("start",), notice=note)) == note
    assert notice_in(snapshot()) is None


def test_a_notice_in_words() -> None:
    assert notice_section(None) == {"kind": "", "title": "", "what": "", "action": ""}
    notice = Notice("stop", "Stopped", "It lies 25.4 mm away.", "Put it 12.7 mm back.")
    assert notice_section(notice) == {
        "kind": "stop", "title": "Stopped", "what": "It lies 25.4 mm away.",
        "action": "Put it 12.7 mm back.",
    }  # fmt: skip


def test_before_a_series_none_is_shown() -> None:
    found = sections(snapshot(course=None), "metric")["course"]
    assert found == {"shown": False, "title": "", "text": "", "share": 0.0, "left": ""}


def test_how_far_a_series_is() -> None:
    found = sections(snapshot(), "metric")["course"]
    assert found == {
        "shown": True, "title": "Run 2 of 3", "share": 0.333, "left": "about 60 s left",
        "text": "Heron [red]1, slick face, 1 °/s, gap 8.0 mm",
    }  # fmt: skip
    stopped = sections(snapshot(is_busy=False), "metric")["course"]
    assert (stopped["title"], stopped["left"]) == ("1 of 3 runs made", "")
    nothing = sections(snapshot(course=Course(0, 0, None, None)), "metric")["course"]
    assert (nothing["share"], nothing["left"]) == (1.0, "")


def test_titles_of_a_series() -> None:
    assert course_title(Course(3, 0, None, None), is_busy=True) == "0 of 3 runs made"
    assert course_title(Course(3, 3, 0.0, REQUEST), is_busy=True) == "3 of 3 runs made"
    assert course_title(Course(1, 0, 0.0, REQUEST), is_busy=False) == "0 of 1 run made"
    unnumbered = msgspec.structs.replace(REQUEST, repeat=None)
    assert course_title(Course(3, 0, 0.0, unnumbered), is_busy=True) == "Run 1 of 3"


def test_time_left_is_told_while_there_is_some() -> None:
    assert time_left(Course(3, 1, 0.1, REQUEST)) == "about 5 s left"
    assert time_left(Course(3, 1, 0.0, REQUEST)) == time_left(Course(3, 1, None, REQUEST)) == ""


def test_what_a_run_is_made_with() -> None:
    form = SeriesForm(runs="1", bag="Heron 1", face="grip", board="shed", rate="0.5", gap="1in")
    full = requests_of(form, Settings(), "twin", NOW)[0]
    assert what_runs(Course(1, 0, None, full)) == (
        "Heron 1, grip face, on shed, 0.5 °/s, gap 25.4 mm"
    )
    assert what_runs(Course(1, 0, None, full), "us").endswith(", gap 1.000 in")
    bare = requests_of(SeriesForm(runs="1", rate="0.5"), Settings(), "twin", NOW)[0]
    assert what_runs(Course(1, 0, None, bare)) == "a bag without a name, 0.5 °/s, gap 8.0 mm"
    assert what_runs(Course(1, 0, None, None)) == ""


def test_slides_are_those_of_the_dots() -> None:
    assert [dot["number"] for dot in slides_section(snapshot())["dots"]] == ["1", "2"]


# -- what may be pressed --------------------------------------------------------------------------

WATCHER, FREE = Seat("watcher", "", ""), Seat("paired", "device 1", "")
BESIDE, HOLDER = (
    Seat("paired", "device 1", "device 2"),
    Seat("controller", "device 1", "device 1"),
)
IDLE = snapshot(is_busy=False, unfinished="1 of 3 runs are made.")


@pytest.mark.parametrize(
    ("place", "is_enabled"),
    [(WATCHER, False), (FREE, True), (BESIDE, False), (HOLDER, True)],
)
def test_who_may_press_what(place: Seat, is_enabled: bool) -> None:
    is_paired = place.role != "watcher"
    may = {"shown": is_paired, "enabled": is_enabled}
    waiting = actions(snapshot(waits_for_start=True), place)
    assert waiting["start"] == may
    assert not waiting["series"]["shown"], "a series is under way"
    idle = actions(IDLE, place)
    assert idle["series"] == may
    assert idle["resume"] == {**may, "text": "1 of 3 runs are made."}
    assert not idle["start"]["shown"]
    assert not idle["reset"]["shown"]
    latched = actions(snapshot(is_busy=False, is_latched=True, unfinished="1 of 3"), place)
    reset = {**may, "text": "First see to the cause. Resetting moves nothing."}
    assert latched["reset"] == reset
    assert not latched["series"]["shown"]
    assert not latched["resume"]["shown"]


def test_nothing_but_a_reset_is_offered_while_the_emergency_stop_is_down_and_that_not_yet() -> None:
    idle = actions(IDLE._replace(inputs=PRESSED), HOLDER)
    assert not idle["series"]["shown"]
    assert not idle["resume"]["shown"]
    latched = actions(IDLE._replace(inputs=PRESSED, is_latched=True), HOLDER)
    assert latched["reset"] == {
        "shown": True, "enabled": False, "text": "Release the emergency stop first.",
    }  # fmt: skip


def test_there_is_nothing_to_go_on_with_unless_something_is_unfinished() -> None:
    assert not actions(IDLE._replace(unfinished=""), HOLDER)["resume"]["shown"]


@pytest.mark.parametrize(
    ("place", "pairs", "takes", "text"),
    [
        (WATCHER, True, False, "You watch, and can stop. To start, pair this device."),
        (
            Seat("watcher", "", "device 2"),
            True,
            False,
            "Device 2 has the controls. You watch, and can stop. To start, pair this device.",
        ),
        (FREE, False, False, "This is device 1. The controls are free."),
        (BESIDE, False, True, "This is device 1. Device 2 has the controls; you can stop."),
        (HOLDER, False, False, "This is device 1; it has the controls."),
    ],
)
def test_each_watcher_is_told_where_it_stands(
    place: Seat, pairs: bool, takes: bool, text: str
) -> None:
    found = actions(IDLE, place)
    assert (found["role"], found["pair"], found["take"], found["text"]) == (
        place.role, pairs, takes, text,
    )  # fmt: skip
