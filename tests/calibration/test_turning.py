"""What a gyroscope tells of a sweep by hand, on paths that are made up here."""

from typing import NamedTuple

import numpy as np
import pytest

from rig.calibration.turning import turning
from rig.errors import BadInputError
from tests.calibration.invented_rig import rotation

DT_S = 1.0 / 208.0
LAG_MS = 19.0
CORNER_HZ = 66.8


class Sweep(NamedTuple):
    """A board that goes up and down unevenly, and how two sensors see that."""

    t_s: np.ndarray
    angle_deg: np.ndarray
    turns_deg_s: np.ndarray


def sweep(
    seed: int,
    *,
    top_deg: float = 30.0,
    gain: float = 1.0,
    noisy: float = 1.0,
    radius_m: float = 0.6,
    mounting_deg: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> Sweep:
    """Lag 19 ms; bias, drift of the bias, and what the accelerometer feels by its radius."""
    rng = np.random.default_rng(seed)
    fine = np.arange(-1.0, 48.0, 0.001)
    up_s = top_deg / 1.5
    pace = 1.5 * ((fine > 2.0) & (fine < 2.0 + up_s)).astype(float)
    pace -= 1.5 * ((fine > 3.5 + up_s) & (fine < 3.5 + 2.0 * up_s)).astype(float)
    window = np.hanning(701)
    pace = np.convolve(pace, window / window.sum(), "same")
    pace *= 1.0 + 0.1 * np.sin(12.0 * fine + seed) + 0.08 * np.sin(1.7 * fine)
    angle = np.concatenate([[0.0], np.cumsum((pace[1:] + pace[:-1]) / 2.0)]) * 0.001
    bent = np.gradient(pace, 0.001)
    felt = angle - np.sin(np.radians(angle)) * radius_m * bent / 9.81
    t = np.arange(0.0, 5.0 + 2.0 * up_s, DT_S)
    seen = np.interp(t - 0.001 * LAG_MS, fine, felt) + rng.normal(0.0, 0.03 * noisy, t.size)
    bias = 0.7 + 0.002 * np.cumsum(rng.normal(0.0, 1.0, t.size)) * np.sqrt(DT_S)
    turns = -np.outer(gain * np.interp(t, fine, pace), [0.0, 1.0, 0.0])
    turns += bias[:, None] + rng.normal(0.0, 0.06 * noisy, (t.size, 3))
    return Sweep(t, seen, turns @ rotation(mounting_deg).T)


@pytest.mark.parametrize("noisy", [1.0, 2.0])
def test_the_lag_scatters_as_stated(noisy: float) -> None:
    """20 draws: their mean has a standard error of 0.22 u, their rms score one of 16 %."""
    found = [turning(*sweep(seed, noisy=noisy), CORNER_HZ) for seed in range(20)]
    scores = np.array([(one.lag_ms - LAG_MS) / one.u_lag_ms for one in found])
    assert abs(scores.mean()) < 0.7
    assert 0.6 < np.sqrt(np.mean(scores**2)) < 1.4
    assert np.mean([one.u_lag_ms for one in found]) == pytest.approx(1.0 * noisy, rel=0.5)


def test_where_the_sensor_lies_does_not_matter() -> None:
    """At 1.2 m from the hinge it feels four times what the lag itself does."""
    found = [turning(*sweep(3, radius_m=radius), CORNER_HZ) for radius in (0.0, 0.6, 1.2)]
    for one in found:
        assert abs(one.lag_ms - LAG_MS) < 3.0 * one.u_lag_ms


@pytest.mark.parametrize("mounting", [(0.0, 0.0, 0.0), (0.0, 0.0, 180.0), (30.0, -50.0, 80.0)])
def test_the_gyroscopes_axis_and_gain(mounting: tuple[float, float, float]) -> None:
    found = turning(*sweep(4, gain=1.03, mounting_deg=mounting), CORNER_HZ)
    truth = rotation(mounting) @ [0.0, 1.0, 0.0]
    assert np.degrees(np.arccos(min(1.0, float(np.dot(found.axis, truth))))) < 0.5
    assert found.gain == pytest.approx(1.03, abs=0.015)
    assert found.shake_deg == pytest.approx(0.03, rel=0.1)


@pytest.mark.parametrize("gain", [0.89, 1.11, -1.0])
def test_a_gyroscope_that_contradicts_gravity_is_refused(gain: float) -> None:
    wrong = sweep(4, gain=gain)
    if gain < 0.0:  # about another axis altogether, as of a wrong order of axes
        wrong = wrong._replace(turns_deg_s=0.0 * wrong.turns_deg_s)
    with pytest.raises(BadInputError, match="is not what its data sheet says"):
        turning(*wrong, CORNER_HZ)
    turning(*sweep(4, gain=0.95), CORNER_HZ)
    turning(*sweep(4, gain=1.05), CORNER_HZ)


def test_a_board_that_was_hardly_raised_tells_nothing() -> None:
    turning(*sweep(4, top_deg=17.0), CORNER_HZ)
    with pytest.raises(BadInputError, match=r"raised by 1[34]° from its rest"):
        turning(*sweep(4, top_deg=13.0), CORNER_HZ)
    low = sweep(4)
    down = len(low.t_s) // 2
    with pytest.raises(BadInputError, match="raised by 0° from its rest"):
        turning(low.t_s[down:], low.angle_deg[down:], low.turns_deg_s[down:], CORNER_HZ)


def test_the_delay_rests_on_the_gyroscopes_own_and_on_what_was_known() -> None:
    """√2/(2π·66.8 Hz) = 3.37 ms; u from 30 % of it and 4.81 ms/√3."""
    found = turning(*sweep(5), CORNER_HZ)
    assert found.gyro_delay_ms == pytest.approx(3.37, abs=0.01)
    assert found.u_gyro_delay_ms == pytest.approx((1.01**2 + 2.776**2) ** 0.5, abs=0.01)
    alone, u_alone = found.delay_ms(0.0, 1e6)
    assert alone == pytest.approx(found.lag_ms + 3.37, abs=0.01)
    assert u_alone == pytest.approx(np.hypot(found.u_lag_ms, found.u_gyro_delay_ms))
    both, u_both = found.delay_ms(alone + u_alone, u_alone)
    assert both == pytest.approx(alone + 0.5 * u_alone)
    assert u_both == pytest.approx(u_alone / 2.0**0.5)
    assert found.delay_ms(20.0, 0.0) == (20.0, 0.0)
