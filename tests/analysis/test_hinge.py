"""A sensor that slipped about another axis than the hinge is seen by the raise itself."""

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from tests.fastsim.run import simulate_run, write_run
from tests.teeth import without


def measured(folder: Path, seed: int, mu: float, slip_deg: tuple[float, float, float]) -> RunResult:
    """A run with the calibration from before the sensor turned on the board by this much."""
    settings = Settings()
    scenario = without(draw_scenario(seed, face=plain_face(mu, mu - 0.05)))
    calibration = calibration_for(scenario, settings, seed)
    mounted = Rotation.from_rotvec(scenario.imu.mounting_deg, degrees=True)
    slipped = mounted * Rotation.from_rotvec(slip_deg, degrees=True)
    vector = tuple(float(v) for v in slipped.as_rotvec(degrees=True))
    moved = changed(scenario, imu={"mounting_deg": vector})
    lines, truth = simulate_run(settings, moved, seed, calibration=calibration, dwell_s=2.0)
    return analyse_run(read_run(write_run(folder, lines, truth))).result


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_half_a_degree_about_another_axis_is_a_fault_of_the_sensor(
    tmp_path: Path, seed: int
) -> None:
    # About the board's normal, which no home reading can show; and along the slide.
    for mu, slip in ((0.35, (0.0, 0.0, 0.5)), (0.35, (0.0, 0.0, -0.5)), (0.75, (0.5, 0.0, 0.0))):
        row = measured(tmp_path, seed, mu, slip)
        assert "angle_sensor_fault" in row.flags, (mu, slip)
        assert not row.valid


@pytest.mark.parametrize("seed", range(10, 22))
def test_a_sensor_that_stayed_is_not(tmp_path: Path, seed: int) -> None:
    mu = float(np.random.default_rng(seed).uniform(0.2, 0.8))
    assert "angle_sensor_fault" not in measured(tmp_path, seed, mu, (0.0, 0.0, 0.0)).flags


def test_a_turn_about_the_hinge_is_left_to_the_home_reading(tmp_path: Path) -> None:
    row = measured(tmp_path, 5, 0.4, (0.0, 0.5, 0.0))
    assert "angle_sensor_fault" not in row.flags
    assert "floor_tilt" in row.flags
