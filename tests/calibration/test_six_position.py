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
        true = rotation(rig.rng.normal(0.0, tilt_deg, 3).tolist()) @ np.array(way, dtype=float)
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


@pytest.mark.parametrize(("tilt_deg", "is_taken"), [(36.0, True), (38.0, False)])
def test_an_axis_points_up_within_some_37_degrees(tilt_deg: float, is_taken: bool) -> None:
    """The cosine of 36.9° is 0.8; the sensor here has neither bias nor gain error."""
    rests = positions(InventedRig(bias_g=(0.0, 0.0, 0.0), gain=(1.0, 1.0, 1.0)), 0.0)
    held = rotation((0.0, 0.0, tilt_deg)) @ [0.0, -SCALE, 0.0]
    rests[3] = msgspec.structs.replace(rests[3], counts=tuple(held.tolist()))
    if is_taken:
        six_positions(rests, CLASSES["lsm6dsox"], SCALE)
        return
    with pytest.raises(BadInputError, match="y axis pointing down"):
        six_positions(rests, CLASSES["lsm6dsox"], SCALE)


def test_a_hand_that_shakes_is_seen() -> None:
    rests = positions(InventedRig())
    rests[4] = msgspec.structs.replace(rests[4], scatter_counts=(8.0, 400.0, 8.0))
    with pytest.raises(BadInputError, match="position 5 the board was not at rest"):
        six_positions(rests, CLASSES["lsm6dsox"], SCALE)


def test_axes_that_are_not_square_widen_what_six_positions_find() -> None:
    """Each bias rests on two positions, up and down: u = u_axes/√2, far above the noise here."""
    rests = positions(InventedRig(scatter_counts=1.0), 0.0)
    skewed = CLASSES["lsm6dsox"]._replace(u_axes=0.01)
    found = six_positions(rests, skewed, SCALE)
    u = np.sqrt(np.diag(found.covariance))
    assert u == pytest.approx([0.01 / np.sqrt(2.0)] * 6, rel=0.05)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_two_temperatures_must_be_5_k_apart(sign: float) -> None:
    first = InventedRig().rest(0.0)
    counts = (first.counts[0] + 0.01 * SCALE, *first.counts[1:])
    for rise_k, is_taken in ((5.0, True), (4.9, False)):
        second = msgspec.structs.replace(
            first, temperature_c=first.temperature_c + sign * rise_k, counts=counts
        )
        if is_taken:
            found = drift_of_two(first, second, SCALE)
            # 10 mg over ±5 K, and a tenth of it in doubt.
            assert found.drift_g_per_k == pytest.approx((sign * 2e-3, 0.0, 0.0), abs=1e-9)
            assert found.u_drift_g_per_k == pytest.approx(2e-4, rel=0.01)
        else:
            with pytest.raises(BadInputError, match="must be 5 K"):
                drift_of_two(first, second, SCALE)


def test_noise_is_in_the_uncertainty_of_the_drift() -> None:
    # A mean of 10 samples counts as one: 80 counts each, over 5 K.
    first = msgspec.structs.replace(InventedRig().rest(0.0), scatter_counts=(80.0, 1.0, 1.0), n=10)
    second = msgspec.structs.replace(first, temperature_c=first.temperature_c - 5.0)
    found = drift_of_two(first, second, SCALE)
    assert found.u_drift_g_per_k == pytest.approx(80.0 * np.sqrt(2.0) / SCALE / 5.0, rel=1e-3)


@pytest.mark.parametrize("name", ["cold", "warm"])
def test_both_captures_of_the_drift_are_looked_at(name: str) -> None:
    first = InventedRig().rest(0.0)
    rests = {
        "cold": first,
        "warm": msgspec.structs.replace(first, temperature_c=first.temperature_c + 10.0),
    }
    rests[name] = msgspec.structs.replace(rests[name], peak_counts=32767)
    with pytest.raises(BadInputError, match=f"the {name} capture the sensor is at the end"):
        drift_of_two(rests["cold"], rests["warm"], SCALE)
