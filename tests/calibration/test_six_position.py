import msgspec
import numpy as np
import pytest

from rig.calibration.captures import Rest
from rig.calibration.fit import fit_calibration
from rig.calibration.sensors import CLASSES
from rig.calibration.six_position import drift_of_two, six_positions
from rig.errors import BadInputError
from tests.calibration.invented_rig import SCALE, InventedRig, rotation

SIX = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]


def positions(rig: InventedRig, tilt_deg: float = 4.0) -> list[Rest]:
    """Each axis up and down, as well as a hand can."""
    found = []
    for way in SIX:
        true = rotation(rig.rng.normal(0.0, tilt_deg, 3)) @ np.array(way, dtype=float)
        mean = SCALE * (true / np.array(rig.gain) + np.array(rig.bias_g))
        found.append(msgspec.structs.replace(rig.rest(0.0), counts=tuple(mean.tolist())))
    return found


def test_bias_and_gain_without_any_reference() -> None:
    rig = InventedRig()
    found = six_positions(positions(rig), CLASSES["lsm6dsox"], SCALE)
    u = np.sqrt(np.diag(found.covariance))
    assert found.bias_g == pytest.approx(rig.bias_g, abs=2e-4)
    assert found.gain == pytest.approx(rig.gain, abs=2e-4)
    assert np.all(u < 3e-4)


def test_it_sharpens_the_fit() -> None:
    rig = InventedRig()
    prior = six_positions(positions(rig), CLASSES["lsm6dsox"], SCALE)
    zero, span = rig.zero(), rig.span()
    plain = fit_calibration(zero, span, CLASSES["lsm6dsox"], SCALE)
    sharp = fit_calibration(zero, span, CLASSES["lsm6dsox"], SCALE, prior)
    assert np.all(np.diag(sharp.covariance) <= np.diag(plain.covariance) * 1.0001)
    assert sharp.covariance[1, 1] < 0.01 * plain.covariance[1, 1]


def test_a_missing_position_is_named() -> None:
    rests = positions(InventedRig())
    with pytest.raises(BadInputError, match="y axis pointing down"):
        six_positions(rests[:3] + rests[4:], CLASSES["lsm6dsox"], SCALE)
    with pytest.raises(BadInputError, match="x axis pointing up"):
        six_positions([], CLASSES["lsm6dsox"], SCALE)


def test_drift_between_two_temperatures() -> None:
    cold = InventedRig().rest(0.0)
    warm = msgspec.structs.replace(
        cold, temperature_c=45.0, counts=(cold.counts[0] + 0.002 * SCALE, *cold.counts[1:])
    )
    found = drift_of_two(cold, warm, SCALE)
    assert found.drift_g_per_k == pytest.approx((1e-4, 0.0, 0.0), abs=1e-12)
    assert found.u_drift_g_per_k == pytest.approx(1e-5, rel=0.2)
    near = msgspec.structs.replace(warm, temperature_c=26.0)
    with pytest.raises(BadInputError, match="must be 5 K"):
        drift_of_two(cold, near, SCALE)
