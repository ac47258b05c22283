"""`rig check` on a board that a person raises."""

import pytest

from rig.clock import At, Task
from rig.opening import open_twin
from rig.procedures.runs import FIRST_LOOK_S, start_watching
from rig.procedures.selftest.moves import Finding
from rig.procedures.selftest.selftest import self_test
from rig.settings.model import MotionSettings, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.scenario import GyroTruth, Scenario

HAND = Settings(motion=MotionSettings(raised_by="hand"))


def findings(scenario: Scenario) -> dict[str, Finding]:
    rig = open_twin(HAND, scenario, 3)

    def test() -> Task[list[Finding]]:
        start_watching(rig.machine)
        yield At(rig.machine.clock.time_s() + FIRST_LOOK_S)
        return (yield from self_test(rig.machine, move=True))

    with rig:
        return {found.name: found for found in rig.run(test())}


def test_what_makes_no_sense_is_left_out_with_a_sentence() -> None:
    found = findings(draw_scenario(3))
    assert all(one.is_good for one in found.values())
    assert not {"emergency stop", "upper switch", "lower switch", "homing"} & set(found)
    assert "raised by hand" in found["board"].text
    assert found["gyroscope"].text.startswith("at rest up to ")


@pytest.mark.parametrize(
    "gyro",
    [GyroTruth(bias_deg_s=(0.0, 40.0, 0.0)), GyroTruth(noise_deg_s_rthz=0.1)],
    ids=["bias", "noise"],
)
def test_a_gyroscope_that_is_not_at_rest_is_bad(gyro: GyroTruth) -> None:
    found = findings(changed(draw_scenario(3), imu={"gyro": gyro}))
    assert not found["gyroscope"].is_good
    assert "does the board lie still" in found["gyroscope"].text
