"""A sensor whose time is off, in a quick start whose rest before the measured raise is short."""

import math

import msgspec
import pytest

from rig.analysis.friction import analyse_run
from rig.twin.calibration import calibration_for
from tests.bench.coverage import in_memory
from tests.bench.onset_teeth import SETTINGS, only, world
from tests.fastsim.run import simulate_run


@pytest.mark.parametrize("seed", [7053, 7107])
def test_noise_that_the_filter_joins_is_not_called_late(seed: int) -> None:
    scenario = only(world(seed), None)
    quick_deg = math.degrees(math.atan(scenario.face.mu_static_dry)) - 3.0
    flags = []
    for late_ms in (0.0, 300.0):
        calibration = calibration_for(scenario, SETTINGS, seed)
        wrong = msgspec.structs.replace(
            calibration, filter_delay_ms=calibration.filter_delay_ms + late_ms
        )
        lines, _ = simulate_run(
            SETTINGS, scenario, seed, rate_deg_s=0.3, approach_deg=quick_deg, calibration=wrong
        )
        flags.append("angle_sensor_fault" in analyse_run(in_memory(lines)).result.flags)
    assert flags == [False, True]
