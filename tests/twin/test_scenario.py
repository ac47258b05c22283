"""What is true of a rig is never changed in place."""

import pytest

from rig.settings.model import Settings
from rig.twin.draws import draw_placing, draw_scenario
from rig.twin.scenario import Scenario

SECTIONS = ("", "face", "bag", "board", "beam", "blade", "imu", "air")


@pytest.mark.parametrize("section", SECTIONS)
def test_a_truth_stays_as_it_is(section: str) -> None:
    scenario = draw_scenario(1)
    part = getattr(scenario, section) if section else scenario
    name = part.__struct_fields__[0]
    with pytest.raises(AttributeError, match="immutable"):
        setattr(part, name, getattr(part, name))


def test_a_placing_stays_as_it_is() -> None:
    placing = draw_placing(1, Scenario(), Settings(), 1)
    with pytest.raises(AttributeError, match="immutable"):
        placing.number = 2  # type: ignore[misc]


def test_a_rig_without_draws_has_no_faults() -> None:
    board, imu, air, beam = (getattr(Scenario(), name) for name in ("board", "imu", "air", "beam"))
    errors = [board.floor_along_deg, board.floor_across_deg, board.hinge_cross_deg]
    errors += [board.base_pivot_error_mm, board.cradle_pivot_error_mm, beam.spacing_error_mm]
    errors += [*imu.mounting_deg, *imu.bias_g, *imu.shear, *imu.drift_g_per_k, imu.rate_error]
    errors += [air.temperature_drift_k_h, air.humidity_drift_pct_h, air.board_offset_k]
    errors += [air.sensor_temperature_error_k, air.sensor_humidity_error_pct]
    errors += [Scenario().bag.rebound_mm, Scenario().blade.thickness_error_mm]
    errors += [Scenario().blade.start_mm, Scenario().slides_before]
    assert errors == [0] * len(errors)
    assert imu.gain == (1.0, 1.0, 1.0)
    assert (beam.is_blind, beam.sun, board.jam_deg) == (False, "none", None)
