"""The smoother against curves that are known."""

import numpy as np
import pytest

from rig.study.phone.smooth import smooth


def curve(seed: int, noise_deg: float = 1.0):
    """A raise that wanders, a noisy accelerometer, a gyroscope with scale and drift off."""
    random = np.random.default_rng(seed)
    t = np.cumsum(random.uniform(0.01, 0.024, 900))
    t -= t[0]
    true = 1.2 * t + 0.6 * np.sin(1.3 * t) + 0.2 * np.sin(5.0 * t)
    turned = 1.01 * (true - true[0]) + 0.03 * t
    return t, true, true + random.normal(0, noise_deg, len(t)), turned


def test_it_is_nearer_than_the_accelerometer_and_keeps_what_the_gyroscope_saw() -> None:
    errors, stated = [], []
    for seed in range(40):
        t, true, seen, turned = curve(seed)
        at = t[-1] - np.array([0.0, 0.25, 0.5])
        found = smooth(t, seen, turned, at)
        errors.append(found.angle_deg - np.interp(at, t, true))
        stated.append(found.u_deg)
    rms, u = np.sqrt(np.mean(np.square(errors))), np.sqrt(np.mean(np.square(stated)))
    assert rms < 0.2
    assert 0.7 < rms / u < 1.3


def test_without_a_gyroscope_it_follows_a_steady_hand() -> None:
    random = np.random.default_rng(3)
    t = np.arange(0.0, 12.0, 0.0167)
    true = 1.5 * t + 0.3 * np.sin(1.1 * t)
    found = smooth(t, true + random.normal(0, 0.5, len(t)), None, t[-40:-15])
    assert found.angle_deg == pytest.approx(true[-40:-15], abs=0.3)
    assert found.u_deg.mean() > 0.05


def test_knocks_hardly_move_it() -> None:
    t, true, seen, turned = curve(5)
    clean = smooth(t, seen, turned, t[-1:])
    seen[300:330] += 20.0
    assert smooth(t, seen, turned, t[-1:]).angle_deg == pytest.approx(clean.angle_deg, abs=0.15)
    assert np.interp(t[-1:], t, true) == pytest.approx(clean.angle_deg, abs=0.5)
