"""The simulated hand against its sources and by hand."""

from math import atan2, cos, degrees, radians, sin

import msgspec
import numpy as np
import pytest

from rig.twin.gyro import Gyro
from rig.twin.hand import HandPath
from rig.twin.hand_world import PropPath
from rig.twin.scenario import GyroTruth, HandTruth, ImuTruth
from rig.twin.sensor import Motion
from rig.twin.streams import stream

STILL = HandTruth(tremor_g=0.0, ripple=0.0, pace_sd=0.0, pauses_per_s=0.0, jerks_per_s=0.0)
TIMES = np.arange(3.0, 30.0, 0.002)


def raised(hand: HandTruth, rate_deg_s: float = 1.0, seed: int = 1) -> HandPath:
    path = HandPath(0.0)
    path.begin(0.0, rate_deg_s, 45.0, hand, stream(seed, "hand"))
    return path


def test_without_unrest_it_is_an_even_raise() -> None:
    motion = raised(STILL).motion(TIMES)
    assert np.degrees(motion.rate_rad_s) == pytest.approx(1.0)
    assert np.abs(motion.acceleration_rad_s2).max() < 1e-9
    # Half of the 0.6 s in which it comes to its pace is lost.
    assert degrees(motion.angle_rad[0]) == pytest.approx(2.7, abs=0.01)


def test_the_tremor_has_the_size_and_the_band_of_its_source() -> None:
    """0.01 g at the hand (Wade and others 1982), a tenth of it at an edge of 1.1 m: rms 1/√2."""
    hand = msgspec.structs.replace(STILL, tremor_g=0.01)
    alpha = raised(hand).motion(TIMES).acceleration_rad_s2
    edge_g = alpha * 1.1 / 9.80665 * 10.0
    assert np.sqrt(np.mean(edge_g**2)) == pytest.approx(0.01 / np.sqrt(2.0), rel=0.1)
    power = np.abs(np.fft.rfft(alpha * np.hanning(alpha.size))) ** 2
    hz = np.fft.rfftfreq(alpha.size, 0.002)
    assert power[(hz > 6.0) & (hz < 12.0)].sum() > 0.98 * power.sum()


def test_the_ripple_goes_with_the_turns_of_the_crank() -> None:
    hand = msgspec.structs.replace(STILL, ripple=0.1)
    pace = np.degrees(raised(hand).motion(TIMES).rate_rad_s)
    power = np.abs(np.fft.rfft((pace - pace.mean()) * np.hanning(pace.size)))
    most = np.fft.rfftfreq(pace.size, 0.002)[power.argmax()]
    assert most == pytest.approx(1.0 / 0.6, abs=0.1)
    # √(0.1² + 0.05²)/√2 of the pace.
    assert pace.std() == pytest.approx(0.079, abs=0.006)


def test_pauses_and_jerks_come_as_often_as_stated() -> None:
    hand = msgspec.structs.replace(STILL, pauses_per_s=0.05, jerks_per_s=0.05)
    paused = jerked = 0
    for seed in range(20):
        pace = np.degrees(raised(hand, seed=seed).motion(TIMES).rate_rad_s)
        paused += int(np.sum(np.diff((pace < 0.3).astype(int)) == 1))
        jerked += int(np.sum(np.diff((pace > 1.2).astype(int)) == 1))
    # 20 raises of 27 s: 27 expected of each, some within one another.
    assert 14 <= paused <= 40
    assert 14 <= jerked <= 40


def test_what_a_bag_feels() -> None:
    """g·sin θ − R·ω² along the board, g·cos θ + R·α into it; by hand at each of some times."""
    path = raised(HandTruth(jerks_per_s=0.2))
    times = np.arange(5.0, 25.0, 0.1)
    motion = path.motion(times)
    apart = []
    rows = zip(times, motion.angle_rad, motion.rate_rad_s, motion.acceleration_rad_s2, strict=True)
    for t, angle, rate, alpha in rows:
        along = 9.80665 * sin(angle) - 0.7 * rate**2
        wanted = atan2(along, 9.80665 * cos(angle) + 0.7 * alpha)
        assert path.felt_rad(float(t), 0.7) == pytest.approx(wanted, abs=1e-6)
        apart.append(degrees(wanted - angle) + degrees(sin(angle) * 0.7 * alpha / 9.80665))
    assert np.max(np.abs(apart)) < 0.02  # sin θ · R·α/g, to first order


def test_it_stops_and_comes_down() -> None:
    path = raised(STILL)
    path.lower(10.0)
    assert not path.is_lifted
    angles = [degrees(path.angle_rad(t)) for t in np.arange(9.0, 20.0, 0.01)]
    assert max(angles) == pytest.approx(10.0, abs=0.05)
    assert abs(angles[-1]) < 1e-6
    assert np.abs(np.diff(angles)).max() < 0.07
    assert path.is_at_rest(25.0)


def test_a_prop_holds_the_board_and_nothing_moves_after() -> None:
    path = PropPath(0.0)
    path.hold(1.0, radians(20.0))
    later = path.motion(np.array([50.0, 50.1]))
    assert np.degrees(later.angle_rad) == pytest.approx(20.0)
    assert not later.rate_rad_s.any()
    assert not later.acceleration_rad_s2.any()


def test_the_quick_motion_is_the_same() -> None:
    hand = HandTruth()
    paths = [HandPath(0.0), PropPath(0.0)]
    for path in paths:
        path.begin(0.0, 1.0, 45.0, hand, stream(4, "hand"))
    times = np.arange(7.0, 7.2, 0.005)
    slow, quick = (path.motion(times) for path in paths)
    assert quick.angle_rad == pytest.approx(slow.angle_rad)
    assert quick.acceleration_rad_s2 == pytest.approx(slow.acceleration_rad_s2)


def test_the_gyroscope_turns_about_the_hinge_and_has_errors_of_its_own() -> None:
    """Mounted square, it shows a raise as a turn about −y: 2 °/s, with gain and bias."""

    def even(times_s: np.ndarray) -> Motion:
        zero = np.zeros(times_s.size)
        return Motion(zero, zero + radians(2.0), zero, zero, zero)

    truth = GyroTruth(bias_deg_s=(0.1, 0.2, 0.3), gain=(1.0, 1.01, 1.0), noise_deg_s_rthz=0.0)
    gyro = Gyro(ImuTruth(gyro=truth), 208.0, 66.8, even, stream(1, "gyro noise"))
    assert gyro.measure(np.arange(50) / 208.0, 23.0)[-1] == pytest.approx([0.1, -1.82, 0.3])


def test_the_gyroscopes_noise_is_that_of_the_data_sheet() -> None:
    """3.8 m°/s/√Hz (DS12814, table 3) within 66.8 Hz of a second-order filter, by 1.11."""

    def still(times_s: np.ndarray) -> Motion:
        zero = np.zeros(times_s.size)
        return Motion(zero, zero, zero, zero, zero)

    gyro = Gyro(ImuTruth(), 208.0, 66.8, still, stream(1, "gyro noise"))
    noise = gyro.measure(np.arange(20_000) / 208.0, 23.0).std(axis=0)
    assert noise == pytest.approx(3.8e-3 * np.sqrt(1.11 * 66.8), rel=0.1)
