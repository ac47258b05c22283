"""A level on the board at home, on paper."""

from pathlib import Path
from typing import Any

import pytest

from rig.calibration.home import HomeCheck, load_home_check
from rig.clock import Task
from rig.errors import BadInputError, MachineFaultError
from rig.procedures.level.check import level_check
from tests.calibration.example import calibration
from tests.calibration.invented_rig import InventedRig
from tests.procedures.paper_rig import OnPaper, PaperPerson, PaperRig

TILTED = InventedRig(
    bias_g=(0.0, 0.0, 0.0), gain=(1.0, 1.0, 1.0), across_deg=-0.4, noise_counts=0.0
)


def checked(rig: PaperRig, person: PaperPerson, folder: Path) -> HomeCheck:
    machine: Any = rig
    return rig.clock.run(level_check(machine, person, folder, 0.02))


def test_a_check_keeps_what_sensor_and_level_said(on_paper: OnPaper, tmp_path: Path) -> None:
    rig, person = on_paper(truth=TILTED)
    rig.calibration, person.own_error_deg = calibration(), 0.3
    check = checked(rig, person, tmp_path)
    assert check.checked_at.startswith("2026-11-25T08:00:0")
    assert check.checked_at.endswith("Z")
    assert check.calibration_made_at == calibration().made_at
    assert check.sensor_across_deg == pytest.approx(-0.4, abs=1e-3)
    assert check.level_across_deg == pytest.approx(-0.4, abs=1e-3)
    assert check.u_level_deg == pytest.approx(0.01 / 6.0**0.5)
    assert load_home_check(tmp_path) == rig.home_check == check
    assert rig.states == ["homing", "homing", "parked"]
    assert all(rig.rested_off)
    assert rig.ended == ["watcher"]


def test_without_a_calibration_nothing_moves(on_paper: OnPaper, tmp_path: Path) -> None:
    rig, person = on_paper()
    with pytest.raises(BadInputError, match="no calibration to check"):
        checked(rig, person, tmp_path)
    assert rig.states == []


def test_a_sensor_that_moved_leaves_no_check(on_paper: OnPaper, tmp_path: Path) -> None:
    rig, person = on_paper(truth=TILTED)
    rig.calibration = calibration()
    person.level_deg = lambda where, turned: 0.0  # type: ignore[method-assign]
    with pytest.raises(BadInputError, match="has moved since the calibration"):
        checked(rig, person, tmp_path)
    assert rig.home_check is None
    assert load_home_check(tmp_path) is None


def test_the_motor_is_off_whatever_happens(
    on_paper: OnPaper, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig, person = on_paper()
    rig.calibration = calibration()

    def fails(*_: Any) -> Task[None]:
        yield from ()
        raise MachineFaultError("limit_lower_missing", "It is not there.")

    monkeypatch.setattr("rig.procedures.level.check.home", fails)
    with pytest.raises(MachineFaultError):
        checked(rig, person, tmp_path)
    assert rig.is_off
    assert rig.ended == ["watcher"]
