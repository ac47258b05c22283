"""Whole runs on the twin of a board that a person raises."""

from typing import Any

import msgspec
import pytest

from rig.clock import At, Task
from rig.control.mover import StoppedError
from rig.control.pace import PaceKeeper
from rig.control.recorder import HELD_S
from rig.control.stop import StopRequest
from rig.devices.no_motor import NoMotor
from rig.errors import MachineFaultError
from rig.opening import OpenRig
from rig.settings.model import CycleSettings, MotionSettings, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import HandTruth, Scenario
from tests.control.conftest import Tell

SETTINGS = Settings(
    motion=MotionSettings(raised_by="hand"),
    cycle=CycleSettings(dwell_s=2.0, placing_timeout_s=30.0),
)
STEADY = HandTruth(pauses_per_s=0.0, jerks_per_s=0.0)
STATES = ["placing", "dwelling", "raising", "sliding", "lowering", "parked"]


def slides(mu_static: float = 0.2, hand: HandTruth = STEADY, **sections: Any) -> Scenario:
    drawn = changed(
        draw_scenario(3, face=plain_face(mu_static, mu_static - 0.03), law="slip_weakening"),
        **sections,
    )
    return msgspec.structs.replace(drawn, hand=hand)


def test_a_run_goes_through_its_states_and_finds_the_slide(tell: Tell) -> None:
    story = tell(slides(), settings=SETTINGS, repeat=2)
    assert story.error is None
    for i in range(2):
        assert story.states(i) == STATES
        row = story.analyses[i].result
        assert (row.flags, row.outcome, row.raised_by) == ([], "slid", "hand")
        assert row.onset_angle_deg is not None
        assert row.u_onset_angle_deg is not None
        off = row.onset_angle_deg - story.truths[i]["onset_angle_deg"]
        assert abs(off) < 3.0 * row.u_onset_angle_deg < 1.0
    header = story.runs[0].header
    assert header.raised_by == "hand"
    assert header.settings.imu.gyro_counts_per_deg_s is not None
    assert not story.runs[0].steps
    (home,) = story.events("home_reading")
    (started,) = story.events("raise_started")
    assert home.t_s < started.t_s
    assert started.detail["dwell_s"] > 2.0


def test_the_file_of_a_slow_raise_stays_small(tell: Tell) -> None:
    """30° at 0.5 °/s take a minute; all samples of it would be 460 kB."""
    story = tell(slides(0.58), settings=SETTINGS, rate_deg_s=0.5)
    (run,), row = story.runs, story.analyses[0].result
    assert row.valid
    assert row.onset_angle_deg == pytest.approx(30.0, abs=1.5)
    (broken,) = story.events("beam_broken")
    dense = [line.t_s for line in run.samples if line.dt_s < 0.01 and line.t_s < broken.t_s]
    assert dense[0] == pytest.approx(broken.t_s - HELD_S, abs=0.2)
    assert run.path.stat().st_size < 300_000


def test_what_the_rig_has_not_is_not_claimed(tell: Tell) -> None:
    """Neither the motor's pins nor the switches and the emergency stop."""
    claimed: set[int] = set()
    names: set[str] = set()

    def beside(rig: OpenRig) -> list[Task[None]]:
        def look() -> Task[None]:
            yield At(rig.machine.clock.time_s() + 3.0)
            assert rig.twin is not None
            claimed.update(rig.twin.world.pins)
            names.update(rig.machine.inputs.levels())
            assert isinstance(rig.machine.stepper, NoMotor)

        return [look()]

    tell(slides(), settings=SETTINGS, beside=beside)
    pins = SETTINGS.pins
    absent = {pins.step, pins.direction, pins.enable, pins.limit_lower, pins.limit_upper}
    assert claimed
    assert not claimed & {*absent, pins.emergency_stop}
    assert names == {"beam_1", "start_button", "stop_button"}


def test_a_motor_that_is_not_there_refuses_to_move() -> None:
    from rig.clock import VirtualClock

    with pytest.raises(RuntimeError, match="no motor"):
        NoMotor(VirtualClock(), SETTINGS).enable()


def test_the_person_is_told_the_pace(tell: Tell) -> None:
    said: list[str] = []

    def beside(rig: OpenRig) -> list[Task[None]]:
        def look() -> Task[None]:
            while True:
                yield At(rig.machine.clock.time_s() + 0.1)
                live = rig.machine.live
                if live.pace is not None:
                    said.append(live.wants)

        return [look()]

    hand = msgspec.structs.replace(STEADY, slowness=0.4)
    tell(slides(hand=hand), settings=SETTINGS, beside=beside)
    assert said[len(said) // 2].startswith("Faster.")
    assert said[-1] == "The bag slides: go on evenly."


@pytest.mark.parametrize(
    ("rate", "word"), [(0.8, "faster"), (0.9, "steady"), (1.1, "steady"), (1.2, "slower")]
)
def test_the_hint_comes_at_half_of_what_is_refused(rate: float, word: str) -> None:
    """Half of 36 % at 1 °/s."""
    keeper = PaceKeeper(1.0)
    for k in range(40):
        pace = keeper.see(0.05 * k, 0.05 * k * rate)
    assert pace.word == word
    assert pace.rate_deg_s == pytest.approx(rate)


def test_the_pace_is_that_of_the_last_moments() -> None:
    keeper = PaceKeeper(1.0)
    for k in range(40):
        keeper.see(0.05 * k, 0.0)
    for k in range(40, 60):
        pace = keeper.see(0.05 * k, 2.0 * 0.05 * (k - 39))
    assert pace.rate_deg_s == pytest.approx(2.0)


def test_a_bag_that_never_slides_is_no_slide(tell: Tell) -> None:
    story = tell(slides(1.2), settings=SETTINGS, rate_deg_s=3.0)
    assert story.states() == [state for state in STATES if state != "sliding"]
    assert "no_slide" in story.analyses[0].result.flags


def test_nobody_raises_the_board(tell: Tell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rig.twin.hand_world.HandWorld.lift", lambda *_: None)
    story = tell(slides(), settings=SETTINGS)
    assert isinstance(story.error, StoppedError)
    assert "Nobody raised the board within 30 s" in str(story.error)
    assert story.states()[-1] == "halted"


def test_nobody_lowers_the_board(tell: Tell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rig.twin.hand_world.HandWorld.let_down", lambda *_: None)
    story = tell(slides(), settings=SETTINGS)
    assert isinstance(story.error, StoppedError)
    assert "Nobody lowered the board" in str(story.error)


def test_a_stop_ends_the_run_and_the_next_one_begins_with_the_bag(tell: Tell) -> None:
    def beside(rig: OpenRig) -> list[Task[None]]:
        def stop() -> Task[None]:
            while rig.machine.live.state != "raising":
                yield At(rig.machine.clock.time_s() + 0.1)
            yield At(rig.machine.clock.time_s() + 3.0)
            rig.machine.events.put(StopRequest("the test"))

        return [stop()]

    story = tell(slides(), settings=SETTINGS, beside=beside)
    assert isinstance(story.error, StoppedError)
    assert story.states()[-2:] == ["raising", "halted"]
    assert "halted" in story.analyses[0].result.flags


def test_a_board_that_came_down_again_is_no_raise(
    tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The hand gives up half way: the raise ends, and the board is asked for on its rest."""

    def beside(rig: OpenRig) -> list[Task[None]]:
        def give_up() -> Task[None]:
            while (rig.machine.live.angle_deg or 0.0) < 6.0:
                yield At(rig.machine.clock.time_s() + 0.1)
            assert rig.twin is not None
            rig.twin.world.let_down()  # type: ignore[attr-defined]

        return [give_up()]

    story = tell(slides(0.4), settings=SETTINGS, beside=beside)
    assert story.error is None
    assert story.states() == [state for state in STATES if state != "sliding"]
    assert "no_slide" in story.analyses[0].result.flags


def test_a_sensor_that_moved_is_met_while_the_board_lies_flat(tell: Tell) -> None:
    def tilted(rig: OpenRig) -> list[Task[None]]:
        calibration = rig.machine.calibration
        assert calibration is not None
        rig.machine.calibration = msgspec.structs.replace(
            calibration, home_angle_deg=calibration.home_angle_deg - 0.5
        )
        return []

    story = tell(slides(), settings=SETTINGS, beside=tilted)
    assert isinstance(story.error, MachineFaultError)
    assert story.error.cause == "home_mismatch"
    assert story.states()[-2:] == ["dwelling", "halted"]


def test_the_run_ends_when_the_board_lies_on_its_rest(tell: Tell) -> None:
    at: list[float] = []

    def beside(rig: OpenRig) -> list[Task[None]]:
        def look() -> Task[None]:
            while rig.machine.live.state != "lowering":
                yield At(rig.machine.clock.time_s() + 0.1)
            while rig.machine.live.state == "lowering":
                at.append(rig.machine.live.angle_deg or 0.0)
                yield At(rig.machine.clock.time_s() + 0.01)

        return [look()]

    tell(slides(), settings=SETTINGS, beside=beside)
    assert 0.3 < at[-1] < 1.3  # a look at the sensor before it was within 1° of its rest
