"""A calibration of another sensor says nothing of a run."""

from pathlib import Path

import msgspec
import pytest

from rig.analysis.load import analyse
from rig.errors import BadInputError
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from tests.fastsim.run import simulate_run, write_run


def test_a_calibration_of_another_sensor_is_refused(tmp_path: Path) -> None:
    lines, truth = simulate_run(Settings(), draw_scenario(1), 1, dwell_s=2.0)
    path = write_run(tmp_path, lines, truth)
    (run,) = analyse([path]).runs
    own = run.run.header.calibration
    assert own is not None
    assert analyse([path], own).runs[0].result == run.result
    other = msgspec.structs.replace(
        own, sensor=msgspec.structs.replace(own.sensor, identity="6c-+42")
    )
    with pytest.raises(BadInputError, match="the calibration is of lsm6dsox 6c-\\+42"):
        analyse([path], other)
