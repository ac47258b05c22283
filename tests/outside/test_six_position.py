"""Six positions against a direct solution and against the two-position rule."""

import numpy as np
import pytest
from scipy.optimize import root

from rig.calibration.captures import Rest
from rig.calibration.sensors import CLASSES
from rig.calibration.six_position import six_positions
from tests.calibration.invented_rig import SCALE, rotation

WAYS = np.array([(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)], dtype=float)
BIAS = np.array([0.021, -0.034, 0.008])
GAIN = np.array([1.013, 0.987, 1.004])


def rests(tilt_deg: float) -> tuple[list[Rest], np.ndarray]:
    rng = np.random.default_rng(4)
    true = np.array([rotation(rng.normal(0.0, tilt_deg, 3).tolist()) @ way for way in WAYS])
    raw = true / GAIN + BIAS + rng.normal(0.0, 3e-5, (6, 3))
    made = [
        Rest(
            counts=tuple((SCALE * row).tolist()),
            scatter_counts=(8.0, 8.0, 8.0),
            peak_counts=17500,
            n=400,
            temperature_c=25.0,
        )
        for row in raw
    ]
    return made, raw


def test_six_equations_for_six_unknowns() -> None:
    """The g-norm equations solved as they stand, by a root finder."""
    made, raw = rests(5.0)
    found = six_positions(made, CLASSES["lsm6dsox"], SCALE)

    def equations(p: np.ndarray) -> np.ndarray:
        return np.sum((p[3:] * (raw - p[:3])) ** 2, axis=1) - 1.0

    direct = root(equations, np.array([0.0] * 3 + [1.0] * 3), tol=1e-13)
    assert direct.success
    assert [*found.bias_g, *found.gain] == pytest.approx(direct.x.tolist(), abs=1e-8)


def test_two_positions_of_each_axis() -> None:
    """Offset (up + down)/2 and sensitivity (up − down)/2, as ST's data sheets say (4.6.1).

    That rule takes each axis to be exactly vertical, so it is compared there.
    """
    made, raw = rests(0.0)
    found = six_positions(made, CLASSES["lsm6dsox"], SCALE)
    for axis in range(3):
        up, down = raw[2 * axis, axis], raw[2 * axis + 1, axis]
        assert found.bias_g[axis] == pytest.approx((up + down) / 2.0, abs=2e-5)
        # The other axes' mismatch enters only as the square of their small readings.
        assert found.gain[axis] == pytest.approx(2.0 / (up - down), abs=2e-5)
