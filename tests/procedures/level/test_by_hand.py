"""The calibration of a board that a person raises, on the twin."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from rig.calibration.apply import along_slope_deg
from rig.calibration.file import load_calibration
from rig.calibration.model import Calibration
from rig.calibration.plan import LevelPlan
from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.mover import Mover, StoppedError
from rig.devices.imu import ImuBatch
from rig.errors import BadInputError, MachineFaultError
from rig.opening import OpenRig, open_twin
from rig.procedures.level.by_hand import HandLevelProcedure
from rig.procedures.level.check import level_check
from rig.procedures.level.hand_sweep import LOWER, RAISE, _findings, hand_sweep
from rig.procedures.level.progress import NAME, SweepFindings, load_progress
from rig.procedures.runs import FIRST_LOOK_S, start_watching
from rig.settings.model import MotionSettings, Settings
from rig.twin.bubble import TwinLevelPerson
from rig.twin.calibration import calibration_for
from rig.twin.draws import draw_scenario
from rig.twin.fitted import fitted_chip
from rig.twin.hand_world import HandWorld
from rig.twin.placed import incline_of
from rig.twin.sensor import Motion, Sensor, rotation
from tests.twin_of import twin_of

SETTINGS = Settings(motion=MotionSettings(raised_by="hand"))


def true_delay_ms(opened: OpenRig) -> float:
    scenario = twin_of(opened).world.scenario
    chip = fitted_chip(SETTINGS, scenario.imu)
    incline = incline_of(scenario)
    random = np.random.default_rng(0)
    rates = (chip.rate_hz, chip.lowpass_hz)
    return 1e3 * Sensor(scenario.imu, incline, *rates, still, random).filter_delay_s


def still(times_s: np.ndarray) -> Motion:
    """Never asked for."""
    raise AssertionError(times_s)


def rig_of(seed: int) -> tuple[OpenRig, TwinLevelPerson]:
    opened = open_twin(SETTINGS, draw_scenario(seed), seed)
    person = opened.level_person(seed)
    assert person is not None
    return opened, person


@pytest.mark.parametrize("reference", ["digital", "sine-bar"])
def test_prompts_lead_to_a_calibration_that_fits_the_truth(tmp_path: Path, reference: str) -> None:
    opened, person = rig_of(7)
    plan = LevelPlan(reference=reference)  # type: ignore[arg-type]
    asked: list[str] = []
    with opened:
        procedure = HandLevelProcedure(opened.machine, person, plan, tmp_path, fresh=True)
        machine = opened.machine
        enter = machine.enter

        def note(state: object) -> None:
            enter(state)  # type: ignore[arg-type]
            asked.append(str(state))

        machine.enter = note  # type: ignore[method-assign]
        path, made = opened.run(procedure.run())
        assert machine.calibration == made
    assert set(asked) == {"placing", "raising", "lowering", "parked"}
    assert asked[-5:] == ["placing", "raising", "lowering", "placing", "parked"]
    assert load_calibration(path) == made
    assert made.vibration is None
    assert abs(made.filter_delay_ms - true_delay_ms(opened)) < 3.0 * made.u_filter_delay_ms
    assert made.u_filter_delay_ms < 4.0, "less than the 6 ms of the settings"
    assert len(made.notes) == 1
    assert "no steps tell it" in made.notes[0]
    twin = twin_of(opened)
    imu = twin.world.scenario.imu
    # Where the true sensor would put gravity on a board of 25°, read by what was made of it.
    incline = incline_of(twin.world.scenario)
    turn = np.radians(25.0)
    up = np.array([incline.up_x, incline.up_y, incline.up_z])
    board = np.array(
        [
            up[0] * np.cos(turn) + up[2] * np.sin(turn),
            up[1],
            up[2] * np.cos(turn) - up[0] * np.sin(turn),
        ]
    )
    felt = rotation(imu.mounting_deg) @ board
    raw = felt / np.array(imu.gain) + np.array(imu.bias_g)
    gravity = np.array(made.gain) * (raw - np.array(made.bias_g))
    wanted = np.degrees(np.arctan2(board[0], board[2]))
    assert float(along_slope_deg(made, gravity)) == pytest.approx(wanted, abs=0.15)


def test_without_a_sweep_that_is_said(tmp_path: Path) -> None:
    opened, person = rig_of(7)
    plan = LevelPlan(reference="digital", sweep=False)
    with opened:
        _, made = opened.run(HandLevelProcedure(opened.machine, person, plan, tmp_path).run())
    assert (made.filter_delay_ms, made.u_filter_delay_ms) == (22.0, 6.0)
    assert "no sweep was made" in made.notes[-1]


def swept(opened: OpenRig, beside: Callable[[], Task[None]] | None = None) -> SweepFindings:
    """The sweep alone, by a calibration that fits."""
    machine = opened.machine
    scenario = twin_of(opened).world.scenario

    def sweep() -> Task[SweepFindings]:
        watchers = start_watching(machine)
        try:
            yield At(machine.clock.time_s() + FIRST_LOOK_S)
            found = yield from hand_sweep(
                machine, Mover(machine), calibration_for(scenario, SETTINGS, 7)
            )
        finally:
            for watcher in watchers:
                watcher.cancel()
        return found

    with opened:
        machine.calibration = None
        try:
            return opened.run(sweep(), beside=[] if beside is None else [beside()])
        finally:
            assert machine.calibration is None
            assert machine.live.pace is None


@pytest.mark.parametrize("what", ["lift", "let_down"])
def test_a_sweep_that_nobody_makes_or_ends_is_given_up(
    monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    monkeypatch.setattr("rig.procedures.level.hand_sweep.WAIT_S", 30.0)
    monkeypatch.setattr(f"rig.twin.hand_world.HandWorld.{what}", lambda *_: None)
    with pytest.raises(StoppedError, match="Nobody raised and lowered the board within 30 s"):
        swept(rig_of(7)[0])


def test_the_stop_button_ends_the_sweep() -> None:
    opened, _ = rig_of(7)
    world = twin_of(opened).world

    def beside() -> Task[None]:
        while opened.machine.live.state != "raising" or world.board_deg < 10.0:
            yield At(world.clock.time_s() + 0.05)
        world.press("stop_button", True)

    with pytest.raises(StoppedError):
        swept(opened, beside)
    assert 10.0 < world.board_deg < 15.0


def test_a_sensor_that_falls_silent_in_the_sweep_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _findings
    monkeypatch.setattr(
        "rig.procedures.level.hand_sweep._findings",
        lambda machine, made, batches: whole(machine, made, batches[:200] + batches[230:]),
    )
    with pytest.raises(MachineFaultError, match="silent in the sweep"):
        swept(rig_of(7)[0])


@pytest.mark.parametrize("turns_at", [20.0, 40.0])
def test_the_person_is_followed_wherever_they_turn_round(turns_at: float) -> None:
    """And sees the pace on the way up."""
    opened, _ = rig_of(7)
    live, world = opened.machine.live, twin_of(opened).world
    assert isinstance(world, HandWorld)
    paces: list[float] = []
    told: list[str] = []
    let_down = world.let_down
    world.let_down = lambda: None  # type: ignore[method-assign]

    def beside() -> Task[None]:
        while True:
            yield At(world.clock.time_s() + 0.05)
            if live.pace is not None:
                paces.append(live.pace.rate_deg_s)
            if live.wants not in told[-1:]:
                told.append(live.wants)
            if world.path.is_lifted and world.board_deg > turns_at:
                let_down()

    found = swept(opened, beside)
    assert abs(found.delay_ms - true_delay_ms(opened)) < 3.0 * found.u_delay_ms
    assert found.axis_off_deg < 0.5
    assert found.gyro_axis_off_deg is not None
    assert found.gyro_axis_off_deg < 1.5
    assert np.median(paces) == pytest.approx(1.5, abs=0.15)
    assert told == ["", "Hands off the board for a moment.", RAISE, LOWER]


def test_a_gyroscope_of_another_sensitivity_ends_it_and_all_captures_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = _findings

    def doubled(machine: Machine, made: Calibration, batches: list[ImuBatch]) -> SweepFindings:
        turned = [
            one._replace(gyro_counts=[(2 * x, 2 * y, 2 * z) for x, y, z in one.gyro_counts])
            for one in batches
        ]
        return whole(machine, made, turned)

    monkeypatch.setattr("rig.procedures.level.hand_sweep._findings", doubled)
    opened, person = rig_of(7)
    plan = LevelPlan(reference="digital")
    with opened, pytest.raises(BadInputError, match="is not what its data sheet says"):
        opened.run(HandLevelProcedure(opened.machine, person, plan, tmp_path).run())
    kept = load_progress(tmp_path / NAME)
    assert kept is not None
    assert kept.zero is not None
    assert (len(kept.span), kept.sweep) == (len(plan.points()), None)


def test_a_reading_that_the_sensor_does_not_bear_out_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened, person = rig_of(7)
    monkeypatch.setattr(person, "shown_deg", lambda point, turned: turned + 4.0)
    plan = LevelPlan(reference="digital")
    with opened, pytest.raises(BadInputError, match="sensor turned by 10"):
        opened.run(HandLevelProcedure(opened.machine, person, plan, tmp_path).run())


@pytest.mark.parametrize("off_deg", [0.03, 0.5])
def test_a_bubble_that_no_hand_centres_ends_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, off_deg: float
) -> None:
    opened, person = rig_of(7)
    monkeypatch.setattr(person, "bubble_deg", lambda *_: off_deg)
    with opened, pytest.raises(BadInputError, match="was not centred"):
        opened.run(HandLevelProcedure(opened.machine, person, LevelPlan(), tmp_path).run())


def test_the_level_check_asks_for_the_flat_board(tmp_path: Path) -> None:
    opened, person = rig_of(7)
    with opened:
        check = opened.run(level_check(opened.machine, person, tmp_path, 0.05))
    assert abs(check.level_along_deg - check.sensor_along_deg) < 0.3
