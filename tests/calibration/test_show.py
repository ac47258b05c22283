"""A calibration as text."""

import pytest

from rig.calibration.show import calibration_text, u_over_range
from tests.calibration.example import calibration, diagonal


def test_residuals_beyond_the_chart_stay_at_its_edge() -> None:
    shown = calibration(residuals_deg=(0.3, -0.3, 0.05), angles_deg=(10.0, 20.0, 30.0))
    lines = [line for line in calibration_text(shown).splitlines() if line.endswith(("o", "|"))]
    places = [line.index("o") - line.rindex("°") - 3 for line in lines]
    assert places == [40, 0, 30]


def test_uncertainty_over_the_range_takes_sensor_and_level_together() -> None:
    # 1 mg along x is 0.0573° at level and half of that at 60°; the level's 0.02° is always there.
    model = calibration(covariance=diagonal(1e-3, 0, 0, 0, 0, 0, 0.02, 0))
    found = dict(u_over_range(model))
    assert found[0.0] == pytest.approx(0.06069, abs=1e-5)
    assert found[45.0] == pytest.approx(0.04518, abs=1e-5)
