from math import cos, pi, radians, sin

import numpy as np
import pytest

from rig.calibration.apply import cross_slope_deg, gravity_g, inclination_deg
from rig.settings.model import Settings
from rig.twin.calibration import calibration_for, still
from rig.twin.draws import changed, draw_scenario
from rig.twin.mechanics import G0_M_S2, Incline
from rig.twin.scenario import ImuTruth
from rig.twin.sensor import Motion, Sensor, rotation
from rig.twin.streams import stream
from tests.teeth import without

RATE_HZ = 208.0
LEVEL = Incline.of(0.0, 0.0)
QUIET = ImuTruth(noise_g_rthz=0.0, vibration_g=0.0, self_heating_k=0.0)


def sensor_of(imu: ImuTruth, motion=still, incline: Incline = LEVEL) -> Sensor:
    return Sensor(imu, incline, RATE_HZ, 20.8, motion, stream(1, "test"))


def moving(angle, rate=0.0, acceleration=0.0, pulses=0.0, pulse_rate=0.0):
    """A motion from functions of time or constants."""

    def motion(times_s):
        parts = (angle, rate, acceleration, pulses, pulse_rate)
        return Motion(
            *(np.asarray(p(times_s) if callable(p) else np.full(times_s.size, p)) for p in parts)
        )

    return motion


TIMES = np.arange(400) / RATE_HZ


def test_at_rest_it_reads_one_g_up_along_its_own_axes() -> None:
    raw = sensor_of(QUIET).measure(TIMES, 23.0)
    assert raw == pytest.approx(np.tile([0.0, 0.0, 1.0], (400, 1)))
    tilted = sensor_of(QUIET, moving(radians(20.0))).measure(TIMES, 23.0)
    assert tilted[-1] == pytest.approx([sin(radians(20)), 0.0, cos(radians(20))])


def test_errors_act_as_stated() -> None:
    imu = ImuTruth(
        noise_g_rthz=0.0,
        bias_g=(0.01, -0.02, 0.03),
        gain=(1.0, 1.0, 0.98),
        drift_g_per_k=(1e-3, 0.0, 2e-3),
        reference_temperature_c=20.0,
    )
    raw = sensor_of(imu).measure(TIMES, 25.0)[-1]
    assert raw == pytest.approx([0.015, -0.02, 1 / 0.98 + 0.03 + 0.01])


def test_any_mounting_turns_gravity_without_stretching_it() -> None:
    imu = ImuTruth(noise_g_rthz=0.0, mounting_deg=(100.0, -40.0, 70.0))
    sensor = sensor_of(imu, moving(radians(30.0)))
    raw = sensor.measure(TIMES, 23.0)[-1]
    assert np.linalg.norm(raw) == pytest.approx(1.0)
    assert np.degrees(np.arccos(raw @ sensor.level)) == pytest.approx(30.0)
    assert np.degrees(np.arcsin(raw @ sensor.axis)) == pytest.approx(0.0, abs=1e-9)
    turn = rotation((10.0, 20.0, -30.0))
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)


def test_a_ramp_is_late_by_the_filter_delay() -> None:
    rate = radians(1.0)
    # At the hinge itself, without the pull of r·ω² (0.001° at 0.55 m and 1 °/s).
    imu = ImuTruth(noise_g_rthz=0.0, vibration_g=0.0, radius_mm=0.0)
    sensor = sensor_of(imu, moving(lambda t: rate * t, rate))
    raw = sensor.measure(TIMES, 23.0)
    angle = np.arctan2(raw[:, 0], raw[:, 2])
    late_s = TIMES[200:] - angle[200:] / rate
    assert late_s == pytest.approx(sensor.filter_delay_s, abs=2e-4)
    # Butterworth of second order: √2/(2π·20.8 Hz) = 10.8 ms, and the chip's own 11.5 ms.
    assert sensor.filter_delay_s == pytest.approx(0.0223, abs=0.0026)


def test_turning_faster_pushes_by_r_alpha() -> None:
    sensor = sensor_of(QUIET, moving(0.0, 0.0, 2.0))
    raw = sensor.measure(TIMES, 23.0)[-1]
    assert raw[2] - 1.0 == pytest.approx(0.55 * 2.0 / G0_M_S2)


def test_noise_is_what_the_calibration_says() -> None:
    sensor = sensor_of(ImuTruth(noise_g_rthz=90e-6))
    raw = sensor.measure(np.arange(20000) / RATE_HZ, 23.0)
    assert raw.std(axis=0) == pytest.approx(sensor.noise_g, rel=0.1)
    # Density times the root of the filter's noise bandwidth, 1.11 times its corner.
    assert sensor.noise_g == pytest.approx(90e-6 * (1.11 * 20.8) ** 0.5, rel=0.08)


def test_vibration_folds_down_to_below_half_the_rate() -> None:
    # 780 pulses a second sampled at 208 Hz fold to 780 − 4·208 = −52 Hz.
    imu = ImuTruth(noise_g_rthz=0.0, vibration_g=1.0)
    sensor = sensor_of(imu, moving(0.0, pulses=lambda t: 780.0 * t, pulse_rate=780.0))
    z = sensor.measure(np.arange(2080) / RATE_HZ, 23.0)[40:, 2]
    lines = np.abs(np.fft.rfft(z - z.mean()))
    frequencies = np.fft.rfftfreq(z.size, 1 / RATE_HZ)
    assert frequencies[lines.argmax()] == pytest.approx(52.0, abs=0.2)
    assert 1e-6 < z.std() < 2e-3


def test_in_pieces_it_is_the_same_signal() -> None:
    imu = ImuTruth(noise_g_rthz=0.0, mounting_deg=(5.0, 50.0, 0.0))
    swing = moving(lambda t: 0.1 * np.sin(2 * pi * t))
    whole = sensor_of(imu, swing).measure(TIMES, 23.0)
    pieces = sensor_of(imu, swing)
    got = [row for i in range(0, 400, 7) for row in pieces.sample(TIMES[i : i + 7].tolist(), 23.0)]
    assert np.array(got) == pytest.approx(whole, abs=1e-12)


def test_an_exact_calibration_gives_the_true_inclination() -> None:
    settings = Settings()
    scenario = changed(
        without(draw_scenario(5)),
        imu={"noise_g_rthz": 0.0, "vibration_g": 0.0, "shear": (0.0, 0.0, 0.0)},
    )
    incline = Incline.of(0.2, 0.4)
    sensor = sensor_of(scenario.imu, moving(radians(25.0)), incline)
    calibration = calibration_for(scenario, settings, 5, is_exact=True)
    raw = sensor.measure(TIMES, 30.0)[-1]
    gravity = gravity_g(calibration, raw * calibration.counts_per_g, 30.0)
    assert inclination_deg(calibration, gravity) == pytest.approx(
        incline.total_deg(radians(25.0)), abs=1e-6
    )
    assert cross_slope_deg(calibration, gravity) == pytest.approx(0.4, abs=1e-6)


def test_calibration_errors_are_a_little_smaller_than_they_say() -> None:
    settings = Settings()
    scenario = without(draw_scenario(1))
    sigma = np.sqrt(np.diag(np.array(calibration_for(scenario, settings, 0).covariance)))
    errors, delays = [], []
    for seed in range(300):
        c = calibration_for(scenario, settings, seed)
        level = sensor_of(scenario.imu).level
        tip = np.degrees(np.arccos(np.clip(np.dot(c.level, level), -1, 1)))
        errors.append([*np.subtract(c.bias_g, scenario.imu.bias_g), tip])
        delays.append(c.filter_delay_ms)
    rms = np.sqrt(np.mean(np.square(errors), axis=0))
    assert rms[:3] == pytest.approx(0.8 * sigma[:3], rel=0.15)
    assert rms[3] == pytest.approx(0.87 * np.hypot(sigma[6], sigma[7]), rel=0.15)
    # What the settings state does not make the truth.
    assert np.std(delays) == pytest.approx(0.5, rel=0.15)
    assert settings.imu.u_filter_delay_ms > 0.6
