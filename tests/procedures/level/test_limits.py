"""The guided calibration on paper: where the board goes, and what ends it on the way."""

import math
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.calibration.model import Calibration
from rig.calibration.plan import LevelPlan
from rig.errors import BadInputError, MachineFaultError, RigError
from rig.procedures.level.level import LevelProcedure, StoppedLevelError
from rig.procedures.level.person import LevelPerson
from rig.procedures.level.progress import NAME, LevelProgress, load_progress, save_progress
from rig.runfile.model import State
from rig.settings.model import Linkage, Settings
from tests.calibration.example import SENSOR, calibration
from tests.calibration.invented_rig import InventedRig
from tests.procedures.level.test_level import QUICK
from tests.procedures.paper_rig import Move, OnPaper, PaperPerson, PaperRig


def procedure(
    rig: PaperRig, person: LevelPerson, folder: Path, plan: LevelPlan = QUICK, **more: Any
) -> LevelProcedure:
    machine: Any = rig
    return LevelProcedure(machine, person, plan, folder, **more)


def calibrated(
    rig: PaperRig, person: LevelPerson, folder: Path, plan: LevelPlan = QUICK, **more: Any
) -> tuple[Path, Calibration]:
    return rig.clock.run(procedure(rig, person, folder, plan, **more).run())


def first_point(rig: PaperRig, person: PaperPerson, folder: Path, **more: Any) -> RigError:
    """What ends it at its first span point; `StoppedLevelError` if nothing is wrong there."""
    person.answers = ["on", "stop"]
    with pytest.raises(RigError) as caught:
        calibrated(rig, person, folder, **more)
    assert rig.is_off
    assert rig.ended == ["watcher"]
    return caught.value


def linked(**linkage: float) -> Settings:
    return Settings(linkage=Linkage(**linkage))


def test_each_point_is_reached_slowly_from_its_own_side(on_paper: OnPaper, tmp_path: Path) -> None:
    rig, person = on_paper()
    path, made = calibrated(rig, person, tmp_path)
    assert rig.moves == [
        Move(to_deg, 1.0)
        for to_deg in (
            0.0,
            *(11.4, 12.0, 21.4, 22.0, 33.4, 34.0),
            *(33.6, 33.0, 20.6, 20.0, 10.6, 10.0),
            # Off the lower switch, so that nothing rests on it.
            0.3,
        )
    ]
    assert rig.states[-1] == "parked"
    assert rig.is_off
    assert rig.ended == ["watcher"]
    assert rig.calibration == made
    assert made.home_angle_deg == pytest.approx(0.0, abs=0.1)
    # At home, three rests, the board lies on its stop.
    assert rig.rested_off[-3:] == [True] * 3
    assert not any(rig.rested_off[:-3])
    assert path.stem == made.made_at.replace("-", "").replace(":", "")
    assert sorted(file.suffix for file in tmp_path.iterdir()) == [".captures", ".json"]


@pytest.mark.parametrize(
    ("home_deg", "zero_deg", "end_deg"), [(-2.0, 0.0, 0.3), (1.0, 1.0, 1.3), (-0.2, 0.0, 0.3)]
)
def test_level_is_where_zero_is_read_unless_home_is_higher(
    on_paper: OnPaper, tmp_path: Path, home_deg: float, zero_deg: float, end_deg: float
) -> None:
    rig, person = on_paper(settings=linked(home_angle_deg=home_deg))
    calibrated(rig, person, tmp_path)
    assert rig.moves[0].to_deg == pytest.approx(zero_deg)
    assert rig.moves[-1].to_deg == pytest.approx(end_deg)


@pytest.mark.parametrize(("soft_limit_deg", "is_reached"), [(33.61, True), (33.59, False)])
def test_no_point_is_reached_from_above_the_highest_angle(
    on_paper: OnPaper, tmp_path: Path, soft_limit_deg: float, is_reached: bool
) -> None:
    """The way down to 33° begins 0.6° higher."""
    span = (msgspec.structs.replace(QUICK.span[3], turned=False), *QUICK.span)
    rig, person = on_paper(settings=linked(soft_limit_deg=soft_limit_deg))
    plan = msgspec.structs.replace(QUICK, span=span)
    error = first_point(rig, person, tmp_path, plan=plan)
    if is_reached:
        assert isinstance(error, StoppedLevelError)
    else:
        assert "can't move to 33.6°: it moves from 0° to 33.59°" in str(error)
        assert rig.moves == [Move(0.0, 1.0)]


def test_nothing_may_move_before_the_points_are_known_to_do(
    on_paper: OnPaper, tmp_path: Path
) -> None:
    rig, person = on_paper()
    with pytest.raises(BadInputError, match="Only 5"):
        calibrated(rig, person, tmp_path, msgspec.structs.replace(QUICK, span=QUICK.span[:5]))
    assert rig.states == []


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("off_deg", "rides_along"), [(3.4, True), (3.6, False)])
def test_the_sensor_must_turn_with_the_steps(
    on_paper: OnPaper, tmp_path: Path, off_deg: float, rides_along: bool, sign: float
) -> None:
    exact = InventedRig(bias_g=(0.0, 0.0, 0.0), gain=(1.0, 1.0, 1.0))
    rig, person = on_paper(truth=exact)
    rig.off_deg = sign * off_deg
    error = first_point(rig, person, tmp_path)
    if rides_along:
        assert isinstance(error, StoppedLevelError)
    else:
        assert isinstance(error, MachineFaultError)
        assert error.cause == "angle_mismatch"


def test_a_home_above_level_is_where_the_turn_counts_from(
    on_paper: OnPaper, tmp_path: Path
) -> None:
    rig, person = on_paper(settings=linked(home_angle_deg=2.9))
    rig.off_deg = -1.0
    assert isinstance(first_point(rig, person, tmp_path), StoppedLevelError)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_nudge_is_followed_up_to_three_degrees(
    on_paper: OnPaper, tmp_path: Path, sign: float
) -> None:
    rig, person = on_paper()
    person.nudges = [2.9 * sign, -2.9 * sign]
    assert isinstance(first_point(rig, person, tmp_path), StoppedLevelError)
    assert [move.to_deg for move in rig.moves[3:]] == pytest.approx(
        [12.0 + 2.9 * sign, 12.0], abs=0.01
    )
    rig, person = on_paper()
    person.nudges = [3.1 * sign]
    error = first_point(rig, person, tmp_path, fresh=True)
    assert f"is given as {3.1 * sign:+.1f}° off, more than 3°" in str(error)
    assert len(rig.moves) == 3


@pytest.mark.parametrize(("nudges", "is_patient"), [(14, True), (15, False)])
def test_a_bubble_is_followed_for_fifteen_looks(
    on_paper: OnPaper, tmp_path: Path, nudges: int, is_patient: bool
) -> None:
    rig, person = on_paper()
    person.nudges = [0.02 * (-1.0) ** i for i in range(nudges)]
    error = first_point(rig, person, tmp_path)
    if is_patient:
        assert isinstance(error, StoppedLevelError)
    else:
        assert "was not centred after 15 moves" in str(error)


def test_a_bubble_that_is_off_by_less_than_a_pulse_is_centred(
    on_paper: OnPaper, tmp_path: Path
) -> None:
    for part, n_moves in ((0.9, 3), (-0.9, 3), (1.5, 4), (-1.5, 4)):
        rig, person = on_paper()
        person.nudges = [part * float(rig.linkage.deg_per_pulse(12.0))]
        first_point(rig, person, tmp_path, fresh=True)
        assert len(rig.moves) == n_moves


def test_a_reading_far_from_the_steps_is_not_taken(on_paper: OnPaper, tmp_path: Path) -> None:
    rig, person = on_paper()
    person.nudges = [1.9]
    assert isinstance(first_point(rig, person, tmp_path), StoppedLevelError)
    rig, person = on_paper()
    person.nudges = [2.1]
    error = first_point(rig, person, tmp_path, fresh=True)
    assert "The reading at 'up 12' of 11.9999° does not fit the step count" in str(error)


@pytest.mark.parametrize(
    ("shown", "is_taken"),
    [(13.9, True), (14.1, False), (-12.0, False), (213.0, False), (math.inf, False)],
)
def test_a_digital_level_far_from_the_steps_is_not_taken(
    on_paper: OnPaper, tmp_path: Path, shown: float, is_taken: bool
) -> None:
    rig, person = on_paper()
    person.shown = shown
    plan = msgspec.structs.replace(QUICK, reference="digital")
    error = first_point(rig, person, tmp_path, plan=plan)
    assert isinstance(error, StoppedLevelError) is is_taken


def begun(folder: Path, **changes: Any) -> None:
    """A calibration that somebody began before."""
    values: dict[str, Any] = {"sensor": SENSOR, "started_at": "2026-11-24T08:00:00Z", "plan": QUICK}
    save_progress(folder / NAME, LevelProgress(**(values | changes)))


def test_what_another_sensor_began_is_not_resumed(on_paper: OnPaper, tmp_path: Path) -> None:
    begun(tmp_path, sensor=msgspec.structs.replace(SENSOR, identity="6c-0043"))
    rig, person = on_paper()
    with pytest.raises(BadInputError, match=r"begun with another sensor \(6c-0043\)"):
        calibrated(rig, person, tmp_path)
    assert rig.moves == []
    calibrated(rig, person, tmp_path, fresh=True)


def test_each_capture_is_kept_at_once_and_each_step_can_be_done_again(
    on_paper: OnPaper, tmp_path: Path
) -> None:
    def kept() -> tuple[bool, list[str]]:
        found = load_progress(tmp_path / NAME)
        assert found is not None
        return found.zero is not None, list(found.span)

    rig, person = on_paper()
    first_point(rig, person, tmp_path)
    assert kept() == (True, [])
    rig, person = on_paper()
    person.answers = ["on", "stop"]
    with pytest.raises(StoppedLevelError):
        calibrated(rig, person, tmp_path)
    assert person.steps == ["up 12", "up 22"]
    assert kept() == (True, ["up 12"])
    rig, person = on_paper()
    person.answers = ["redo", "on", "stop"]
    with pytest.raises(StoppedLevelError):
        calibrated(rig, person, tmp_path, redo="zero")
    assert person.steps == ["zero", "zero", "up 22"]
    rig, person = on_paper()
    person.answers = ["stop"]
    with pytest.raises(StoppedLevelError):
        calibrated(rig, person, tmp_path, redo="up 12")
    assert person.steps == ["up 12"]


def test_a_progress_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    assert load_progress(tmp_path / NAME) is None
    for data in (b"{", b"\xff", b"{}"):
        (tmp_path / NAME).write_bytes(data)
        with pytest.raises(BadInputError, match="--fresh"):
            load_progress(tmp_path / NAME)


def test_an_old_calibration_does_not_judge_the_new_one(on_paper: OnPaper, tmp_path: Path) -> None:
    rig, person = on_paper()
    rig.calibration, rig.live.angle_deg = calibration(), 12.3
    first_point(rig, person, tmp_path)
    assert rig.calibration is None
    assert rig.live.angle_deg is None


def test_the_watchers_look_for_a_third_of_a_second_before_the_board_homes(
    on_paper: OnPaper, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig, person = on_paper()
    began_s, entered_s, enter = rig.time_s(), [], rig.enter

    def noted(state: State) -> None:
        entered_s.append(rig.time_s())
        enter(state)

    monkeypatch.setattr(rig, "enter", noted)
    first_point(rig, person, tmp_path)
    assert rig.states[0] == "homing"
    assert entered_s[0] - began_s == pytest.approx(0.3)
