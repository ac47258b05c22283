"""The calibration of a board that a person raises, on the twin."""

from pathlib import Path

import numpy as np
import pytest

from rig.calibration.apply import along_slope_deg
from rig.calibration.file import load_calibration
from rig.calibration.plan import LevelPlan
from rig.errors import BadInputError
from rig.opening import OpenRig, open_twin
from rig.procedures.level.by_hand import HandLevelProcedure
from rig.procedures.level.check import level_check
from rig.settings.model import MotionSettings, Settings
from rig.twin.bubble import TwinLevelPerson
from rig.twin.draws import draw_scenario
from tests.twin_of import twin_of

SETTINGS = Settings(motion=MotionSettings(raised_by="hand"))


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
    assert set(asked) == {"placing", "parked"}
    assert load_calibration(path) == made
    assert made.vibration is None
    assert (made.filter_delay_ms, made.u_filter_delay_ms) == (22.0, 6.0)
    assert "no sweep was made" in made.notes[-1]
    twin = twin_of(opened)
    imu = twin.world.scenario.imu
    # Where the true sensor would put gravity on a board of 25°, read by what was made of it.
    from rig.twin.placed import incline_of
    from rig.twin.sensor import rotation

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
