import random

from rig.devices.imu_checks import is_frozen, is_norm_absurd, is_saturated, mean_norm_g

LEVEL = (0, 0, 16384)


def test_live_noise_is_not_frozen():
    rng = random.Random(3)
    counts = [tuple(round(rng.gauss(v, 8)) for v in LEVEL) for _ in range(50)]
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
    assert mean_norm_g([(0, 9830, 13107)] * 3, 16384) - 1.0 < 1e-4
    assert not is_norm_absurd([LEVEL], 16384)
    assert is_norm_absurd([(0, 0, 0)], 16384)
    assert is_norm_absurd([(16384, 0, 16384)], 16384)
