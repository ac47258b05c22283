"""Waiting for a board to be still: each limit from both sides."""

from typing import Any

import numpy as np
import pytest

from rig.calibration.captures import Rest
from rig.errors import BadInputError, MachineFaultError
from rig.procedures.level.steadiness import steady_rest
from tests.calibration.invented_rig import SCALE
from tests.procedures.paper_rig import RATE_HZ, PaperRig


def rested(rig: PaperRig) -> Rest:
    machine: Any = rig
    return rig.clock.run(steady_rest(machine, machine, "here"))


def test_a_still_board_is_looked_at_twice_and_then_captured_for_three_seconds() -> None:
    rig = PaperRig()
    rest = rested(rig)
    assert rest.n == 3.0 * RATE_HZ
    assert rig.clock.time_s() == pytest.approx(1.0 + 1.0 + 3.0, abs=0.02)
    assert rig.live.wants == ""
    assert rest.counts == pytest.approx(rig.truth.counts(0.0).tolist())


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize(("shake_g", "is_still"), [(0.0038, True), (0.0042, False)])
def test_a_board_that_shakes_is_not_still(axis: int, shake_g: float, is_still: bool) -> None:
    rig = PaperRig()
    row = np.zeros(3)

    def shake(number: int) -> Any:
        row[axis] = SCALE * shake_g * (-1.0) ** number
        return tuple(row.tolist())

    rig.shake = shake
    if is_still:
        rested(rig)
        return
    with pytest.raises(MachineFaultError, match=r"within 60 s \(here\): it shakes by 4.2 mg") as e:
        rested(rig)
    assert e.value.cause == "not_steady"
    assert 60.0 < rig.clock.time_s() <= 62.0


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("moves_deg", "is_still"), [(0.009, True), (0.011, False)])
def test_a_board_that_moves_between_two_looks_is_not_still(
    moves_deg: float, is_still: bool, sign: float
) -> None:
    """A look of 1 s has 104 samples; each shows the board that much further."""
    rig, seen = PaperRig(), 0

    def shake(number: int) -> Any:
        nonlocal seen
        seen += 1
        look = (seen - 1) // 104
        return (sign * SCALE * np.radians(moves_deg) * look / rig.truth.gain[0], 0.0, 0.0)

    rig.shake = shake
    if is_still:
        rested(rig)
        return
    with pytest.raises(MachineFaultError, match=r"it moved by 0.011° within 1 s"):
        rested(rig)


def test_a_silent_sensor_gives_no_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    for seconds, is_heard in ((10.0 / RATE_HZ, True), (9.0 / RATE_HZ, False)):
        monkeypatch.setattr("rig.procedures.level.steadiness.LOOK_S", seconds)
        if is_heard:
            rested(PaperRig())
        else:
            with pytest.raises(MachineFaultError, match="gave 9 samples") as caught:
                rested(PaperRig())
            assert caught.value.cause == "imu_silent"


def test_a_still_sensor_at_the_end_of_its_range_is_refused() -> None:
    rig = PaperRig()
    rig.shake = lambda _: (0.0, 0.0, 20000.0)
    with pytest.raises(BadInputError, match="the capture at here the sensor is at the end"):
        rested(rig)


@pytest.mark.parametrize(("known_c", "used_c"), [(31.5, 31.5), (None, 25.0)])
def test_a_rest_has_its_temperature(known_c: float | None, used_c: float) -> None:
    rig = PaperRig()
    rig.live.imu_temperature_c = known_c
    assert rested(rig).temperature_c == used_c
