import numpy as np
import pytest

from rig.study.model.importance import Lattice
from rig.study.model.weights import effective, pareto_fit, resampled, smoothed


@pytest.mark.parametrize("k", [-0.3, 0.1, 0.5, 0.9])
def test_the_shape_of_a_generalised_pareto_distribution_is_found(k: float) -> None:
    p = (np.arange(4000) + 0.5) / 4000
    excess = 2.0 * np.expm1(-k * np.log1p(-p)) / k
    shape, scale = pareto_fit(excess)
    assert shape == pytest.approx(k, abs=0.03)
    assert scale == pytest.approx(2.0, rel=0.05)


def test_weights_of_a_proposal_with_too_thin_tails_are_not_trusted() -> None:
    x = np.random.default_rng(1).normal(size=3000)
    good = -0.5 * (x / 0.8) ** 2 + 0.5 * x**2
    bad = -1.5 * np.log1p(x**2 / 2.0) + 0.5 * (x / 0.5) ** 2
    assert smoothed(good)[1] < 0.3
    assert smoothed(bad)[1] > 0.7


def test_smoothing_keeps_equal_weights_equal() -> None:
    weights, k = smoothed(np.full(500, -3.0))
    assert k == 0.0
    np.testing.assert_allclose(weights, 1.0 / 500)
    assert effective(weights) == pytest.approx(500.0)
    assert effective(np.array([1.0, 0.0])) == 1.0


def test_smoothing_limits_one_weight_that_is_far_above_all() -> None:
    log_weights = np.random.default_rng(2).normal(size=1000)
    log_weights[7] = 12.0
    weights, k = smoothed(log_weights)
    assert k > 0.5
    assert weights.sum() == pytest.approx(1.0)
    assert weights[7] < np.exp(12.0) / np.exp(log_weights).sum()


def test_resampling_follows_the_weights() -> None:
    weights = np.array([0.5, 0.0, 0.3, 0.2])
    counts = np.bincount(resampled(weights, 1000), minlength=4)
    np.testing.assert_array_equal(counts, [500, 0, 300, 200])


def test_the_lattice_fills_a_cube_evenly() -> None:
    lattice = Lattice(6, np.random.default_rng(1))
    points = np.vstack([lattice.next(200), lattice.next(300)])
    assert len(np.unique(points, axis=0)) == 500
    for column in points.T:
        counts = np.histogram(column, 10, (0.0, 1.0))[0]
        assert abs(counts - 50).max() <= 5  # chance alone gives a sd of 6.7
