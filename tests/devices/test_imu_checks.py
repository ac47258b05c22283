import random

import pytest

from rig.devices.imu_checks import is_frozen, is_norm_absurd, is_saturated, mean_norm_g

LEVEL = (0, 0, 16384)


def test_live_noise_is_not_frozen():
    rng = random.Random(3)
    counts = []
    for _ in range(50):
        x, y, z = (round(rng.gauss(v, 8)) for v in LEVEL)
        counts.append((x, y, z))
    assert not is_frozen(counts)


def test_the_same_again_and_again_is_frozen():
    assert is_frozen([(5, 5, 5), *[LEVEL] * 12])
    assert not is_frozen([LEVEL] * 11)
    assert not is_frozen([*[LEVEL] * 12, (1, 0, 16384)])


def test_saturation_either_way():
    assert is_saturated([LEVEL, (0, -32768, 0)])
    assert is_saturated([(32701, 0, 0)])
    assert not is_saturated([(32700, -32700, 0)])


def test_norm():
    assert mean_norm_g([(0, 9830, 13107)] * 3, 16384) == pytest.approx(1.0, abs=1e-4)
    assert not is_norm_absurd([LEVEL], 16384)
    assert is_norm_absurd([(0, 0, 0)], 16384)
    assert is_norm_absurd([(16384, 0, 16384)], 16384)


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("norm_g", "absurd"), [(0.74, True), (0.76, False), (1.24, False), (1.26, True)]
)
def test_a_quarter_of_g_off_is_absurd(norm_g: float, absurd: bool, axis: int, sign: int) -> None:
    sample = [0, 0, 0]
    sample[axis] = sign * round(norm_g * 16384)
    assert is_norm_absurd([(sample[0], sample[1], sample[2])] * 2, 16384) is absurd


def test_noise_does_not_hide_where_the_mean_points() -> None:
    """It is the length of the mean, not the mean of the lengths, that is 1 g at rest."""
    shaken = [(0, 12000, 16384), (0, -12000, 16384)]
    assert mean_norm_g(shaken, 16384) == pytest.approx(1.0)
