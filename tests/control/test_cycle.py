"""Whole runs on the twin: what is written, and what comes out."""

from collections.abc import Callable
from typing import Any

import pytest

from rig.clock import At, Task
from rig.control.faults.table import told
from rig.control.stop import StopRequest
from rig.errors import MachineFaultError
from rig.opening import OpenRig
from rig.runfile.model import INVALIDATING
from rig.settings.model import CycleSettings, Pins, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Scenario
from tests.control.conftest import Tell
from tests.runfile.example import end_of
from tests.twin_of import twin_of

SHORT = Settings(cycle=CycleSettings(dwell_s=1.0, placing_timeout_s=60.0))
Beside = Callable[[OpenRig], list[Task[None]]]
FULL_CYCLE = ["homing", "placing", "dwelling", "raising", "sliding", "lowering", "parked"]


def slides(mu_static: float = 0.3, mu_kinetic: float = 0.26, **sections: Any) -> Scenario:
    return changed(draw_scenario(3, face=plain_face(mu_static, mu_kinetic)), **sections)


def test_a_run_goes_through_all_states_and_finds_the_slide(tell: Tell) -> None:
    story = tell(slides(), settings=SHORT)
    assert story.error is None
    assert story.states() == FULL_CYCLE
    result = story.analyses[0].result
    assert result.valid
    assert result.outcome == "slid"
    assert result.flags == []
    truth = story.truths[0]
    assert result.onset_angle_deg is not None
    assert result.u_onset_angle_deg is not None
    error_deg = result.onset_angle_deg - truth["onset_angle_deg"]
    # The twin slides by Coulomb's law, the early edge of the mixture that the analysis assumes.
    assert abs(error_deg) < 2.0 * result.u_onset_angle_deg < 0.4
    assert result.mu_kinetic == pytest.approx(truth["mu_kinetic"], abs=0.02)
    # What one would read off at the break is late by the time that the bag needs for the gap.
    assert result.angle_at_break_deg is not None
    assert result.onset_angle_deg is not None
    assert result.angle_at_break_deg > result.onset_angle_deg


def test_the_raise_goes_on_at_its_rate_until_the_bag_has_cleared(tell: Tell) -> None:
    story = tell(slides(), settings=SHORT)
    cleared = story.events("beam_clear")[0].t_s
    run = story.runs[0]
    linkage = story.rig.machine.linkage
    raising = [s for s in run.steps if story.events("raise_started")[0].t_s + 1.0 < s.t_s < cleared]
    first, last = raising[0], raising[-1]
    risen = linkage.angle_deg(float(last.count)) - linkage.angle_deg(float(first.count))
    assert risen / (last.t_s - first.t_s) == pytest.approx(1.0, rel=2e-3)


def test_without_now_each_run_waits_for_the_start_button(tell: Tell) -> None:
    story = tell(slides(), settings=SHORT, repeat=2, start_now=False)
    assert story.error is None
    assert [end_of(run).outcome for run in story.runs] == ["slid", "slid"]
    for i in range(2):
        placing, dwelling = (e.t_s for e in story.events("state", i)[1:3])
        assert dwelling - placing > 1.0


def test_a_bag_that_never_slides_is_no_slide(tell: Tell) -> None:
    story = tell(slides(1.2, 1.1), settings=SHORT, rate_deg_s=3.0)
    assert story.states() == [s for s in FULL_CYCLE if s != "sliding"]
    result = story.analyses[0].result
    assert result.outcome == "no_slide"
    assert "no_slide" in result.flags
    assert not result.valid
    assert result.mu_static is None


def test_nobody_at_the_button_ends_the_series(tell: Tell) -> None:
    def person_leaves(rig: OpenRig) -> list[Task[None]]:
        def hold() -> Task[None]:
            while True:
                twin_of(rig).world.press("start_button", False)
                yield At(rig.machine.clock.time_s() + 0.005)

        return [hold()]

    settings = Settings(cycle=CycleSettings(dwell_s=1.0, placing_timeout_s=5.0))
    story = tell(slides(), settings=settings, start_now=False, beside=person_leaves)
    assert "Nobody pressed start" in str(story.error)
    assert end_of(story.runs[0]).outcome == "stopped"


def _later(seconds: float, act: Callable[[OpenRig], object]) -> Beside:
    def beside(rig: OpenRig) -> list[Task[None]]:
        def task() -> Task[None]:
            yield At(rig.machine.clock.time_s() + seconds)
            act(rig)

        return [task()]

    return beside


@pytest.mark.parametrize("seconds", [2.0, 9.0, 14.0], ids=["homing", "dwelling", "raising"])
def test_a_stop_request_ends_the_run_in_order(tell: Tell, seconds: float) -> None:
    stop = _later(
        seconds, lambda rig: rig.machine.events.put(StopRequest("SIGTERM", ends_program=True))
    )
    settings = Settings(cycle=CycleSettings(dwell_s=3.0))
    story = tell(slides(0.5, 0.45), settings=settings, beside=stop)
    assert "SIGTERM" in str(story.error)
    run = story.runs[0]
    assert end_of(run).outcome == "stopped"
    assert story.states()[-1] == "halted"
    assert not story.analyses[0].result.valid


def test_the_stop_button_ends_the_run_in_order(tell: Tell) -> None:
    press = _later(14.0, lambda rig: twin_of(rig).world.press("stop_button", True))
    story = tell(slides(0.5, 0.45), settings=SHORT, beside=press)
    assert "stop button" in str(story.error)
    assert end_of(story.runs[0]).outcome == "stopped"


def test_no_pulse_follows_the_emergency_stop(tell: Tell) -> None:
    pressed: list[float] = []
    counts: list[int] = []

    def press(rig: OpenRig) -> None:
        pressed.append(rig.machine.clock.time_s())
        twin_of(rig).world.press("emergency_stop", True)
        counts.append(rig.machine.stepper.count)

    story = tell(slides(0.5, 0.45), settings=SHORT, beside=_later(14.0, press))
    assert isinstance(story.error, MachineFaultError)
    assert story.error.cause == "emergency_stop"
    at_s, count = story.rig.machine.stepper.latest
    assert count == counts[0], "a pulse was made after the stop level was set"
    assert at_s <= pressed[0]
    assert story.events("estop")
    assert end_of(story.runs[0]).outcome == "fault"


def test_a_jammed_board_is_found_out_by_the_angle_sensor(tell: Tell) -> None:
    story = tell(slides(0.5, 0.45, board={"jam_deg": 12.0}), settings=SHORT)
    assert isinstance(story.error, MachineFaultError)
    assert story.error.cause == "no_progress"
    assert "step_loss" in end_of(story.runs[0]).flags
    assert not story.analyses[0].result.valid


def test_a_broken_beam_before_the_raise_stops_the_run(tell: Tell) -> None:
    story = tell(slides(beam={"warp_break_deg": -2.0}), settings=SHORT)
    assert isinstance(story.error, MachineFaultError)
    assert story.error.cause == "beam_broken_before_raise"
    assert "beam_fault" in end_of(story.runs[0]).flags


def test_a_home_reading_far_from_the_calibration_asks_for_a_level(tell: Tell) -> None:
    def tilt_floor(rig: OpenRig) -> tuple[()]:
        world = twin_of(rig).world
        world.scenario = changed(world.scenario, board={"floor_along_deg": 1.0})
        return ()

    scenario = slides()
    story = tell(scenario, settings=SHORT, beside=tilt_floor)
    assert isinstance(story.error, MachineFaultError)
    assert story.error.cause == "home_mismatch"
    assert "rig level" in told(story.error)


def test_any_exception_leaves_driver_off_and_file_closed(
    tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(rig: OpenRig) -> tuple[()]:
        def fail() -> None:
            raise ZeroDivisionError("a mistake in the program")

        monkeypatch.setattr(rig.machine.imu, "verify", fail)
        return ()

    with pytest.raises(ZeroDivisionError):
        tell(slides(), settings=SHORT, beside=breaks)


def test_two_beams_give_four_edges(tell: Tell) -> None:
    settings = Settings(pins=Pins(beam_2=4), cycle=CycleSettings(dwell_s=1.0))
    story = tell(slides(), settings=settings)
    edges = [(e.event, e.detail["beam"]) for e in story.runs[0].events if "beam" in e.event]
    assert sorted(edges) == [
        ("beam_broken", 1),
        ("beam_broken", 2),
        ("beam_clear", 1),
        ("beam_clear", 2),
    ]
    result = story.analyses[0].result
    assert result.onset_method == "four_edge"
    assert result.onset_angle_deg is not None
    assert result.u_onset_angle_deg is not None
    error_deg = result.onset_angle_deg - story.truths[0]["onset_angle_deg"]
    assert abs(error_deg) < 2.0 * result.u_onset_angle_deg < 0.4
    # Three standard deviations of the twin's own hand and slump.
    assert result.gap_mm == pytest.approx(story.truths[0]["gap_mm"], abs=3.9)


ODD: dict[str, dict[str, Any]] = {
    "slump larger than the gap": {"bag": {"slump_mm": 9.5, "gap_mm": 8.0}},
    "stalled in mid-slide": {"bag": {"stall_at_mm": 60.0, "stall_gain": 1.5}},
    "on the catch before the clear edge": {"bag": {"catch_travel_mm": 90.0}},
    "skewed": {"bag": {"skew_deg": 10.0}},
    "warped board grazes the beam": {"beam": {"warp_break_deg": 9.0, "warp_clear_deg": 11.0}},
    "warped board stays in the beam": {"beam": {"warp_break_deg": 9.0}},
    "sun: the beam never breaks": {"beam": {"sun": "stuck_clear"}},
    "sun: the beam never clears": {"beam": {"sun": "stuck_broken"}},
    "sun: the beam flickers": {"beam": {"sun": "flicker"}},
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("seed", [3, 4])
def test_an_odd_slide_is_right_or_flagged_never_wrong(tell: Tell, name: str, seed: int) -> None:
    story = tell(slides(**ODD[name]), settings=SHORT, seed=seed)
    result = story.analyses[0].result
    if result.valid and result.onset_angle_deg is not None:
        error = result.onset_angle_deg - story.truths[0]["onset_angle_deg"]
        assert result.u_onset_angle_deg is not None
        assert abs(error) < max(0.15, 3.0 * result.u_onset_angle_deg), f"{name}: {error:+.2f}°"
    else:
        assert result.flags, f"{name}: neither a result nor a flag"
        assert INVALIDATING & set(result.flags)


def test_a_board_that_was_cranked_down_to_its_stop_is_homed(tell: Tell) -> None:
    story = tell(slides(0.2, 0.17, board={"start_angle_deg": -0.9}), settings=SHORT)
    assert story.error is None
    assert story.analyses[0].result.valid
