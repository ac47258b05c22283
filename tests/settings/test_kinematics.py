import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.settings.kinematics import Kinematics
from rig.settings.model import Linkage as Pivots
from rig.settings.model import Screw

linkages = st.builds(
    lambda a, b, level, home, lead: Kinematics(
        Pivots(base_pivot_mm=a, cradle_pivot_mm=b, level_angle_deg=level, home_angle_deg=home),
        Screw(lead_mm=lead),
    ),
    st.floats(300, 1500),
    st.floats(200, 1500),
    st.floats(15, 60),
    st.floats(-5, 5),
    st.floats(1, 8),
)
angles = st.floats(-5, 60)


@given(linkages, angles)
def test_angle_and_count_round_trip(linkage: Kinematics, angle: float) -> None:
    assert linkage.angle_deg(linkage.count_at(angle)) == pytest.approx(angle, abs=1e-9)
    assert linkage.angle_from_length_deg(linkage.length_mm(angle)) == pytest.approx(angle, abs=1e-9)


@given(linkages, angles)
def test_slope_is_the_derivative_of_the_length(linkage: Kinematics, angle: float) -> None:
    h = 1e-4
    difference = (linkage.length_mm(angle + h) - linkage.length_mm(angle - h)) / (2 * h)
    assert linkage.mm_per_deg(angle) == pytest.approx(difference, rel=1e-6)
    rate = linkage.pulse_rate_hz(angle, 2.0)
    assert rate * linkage.deg_per_pulse(angle) == pytest.approx(2.0)
    assert linkage.pulse_rate_hz(angle, -2.0) == rate


@given(linkages, angles, angles)
def test_steepest_is_the_maximum_over_the_range(
    linkage: Kinematics, one: float, other: float
) -> None:
    low, high = sorted((one, other))
    found = linkage.steepest_deg(low, high)
    assert low <= found <= high
    everywhere = linkage.mm_per_deg(np.linspace(low, high, 301))
    assert linkage.mm_per_deg(found) >= everywhere.max() * (1 - 1e-12)


def test_count_is_zero_at_home_and_grows_with_the_angle() -> None:
    linkage = Kinematics(Pivots(home_angle_deg=-0.5), Screw())
    assert linkage.count_at(-0.5) == 0
    assert linkage.count_at(1.0) > 0
    assert linkage.counts_per_mm == 100  # 200 steps × 2 for a lead of 4 mm


def test_a_number_gives_a_number_and_an_array_an_array() -> None:
    linkage = Kinematics(Pivots(), Screw())
    counts = np.array([0.0, 1000.0, 30000.0])
    from_array = linkage.angle_deg(counts)
    one_by_one = [linkage.angle_deg(float(count)) for count in counts]
    assert all(isinstance(angle, float) for angle in one_by_one)
    np.testing.assert_allclose(from_array, one_by_one, rtol=1e-13, atol=1e-12)


def test_reading_the_settings_imports_no_numpy() -> None:
    code = (
        "import sys; from rig.settings.load import load_settings; load_settings(None);"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
