"""The twin's own calibration: the truth plus errors as large as it states."""

from datetime import UTC, datetime

import numpy as np
import pytest

from rig.settings.model import BusSettings, ImuSettings, Linkage, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fitted import fitted_chip
from rig.twin.scenario import ImuTruth
from tests.teeth import without

SETTINGS = Settings(linkage=Linkage(home_angle_deg=0.7))
TRUTH = changed(
    without(draw_scenario(1)),
    board={"floor_along_deg": 0.2, "floor_across_deg": 0.3, "hinge_cross_deg": 0.1},
    imu={"mounting_deg": (0.0, 0.0, 90.0), "noise_g_rthz": 100e-6, "digital_delay_ms": 11.0},
)
EXACT = calibration_for(TRUTH, SETTINGS, 1, is_exact=True)
MADE = [calibration_for(TRUTH, SETTINGS, seed) for seed in range(400)]


def test_an_exact_one_is_the_truth() -> None:
    imu, exact = TRUTH.imu, calibration_for(TRUTH, SETTINGS, 2, is_exact=True)
    assert exact == EXACT
    assert EXACT.bias_g == pytest.approx(imu.bias_g)
    assert EXACT.gain == pytest.approx(imu.gain)
    assert EXACT.drift_g_per_k == pytest.approx(imu.drift_g_per_k)
    assert EXACT.temperature_c == imu.reference_temperature_c
    # Turned by a quarter about z, the chip's -x axis lies along the hinge.
    assert EXACT.level == pytest.approx((0.0, 0.0, 1.0))
    assert EXACT.axis == pytest.approx((-1.0, 0.0, 0.0))
    assert (EXACT.home_angle_deg, EXACT.home_cross_deg) == pytest.approx((0.9, 0.4))
    # A Butterworth corner of 20.8 Hz delays by √2/(2π·20.8 Hz) = 10.8 ms, and the chip by 11.
    assert EXACT.filter_delay_ms == pytest.approx(21.8, abs=2.6)
    assert EXACT.noise_g == pytest.approx(100e-6 * (1.11 * 20.8) ** 0.5, rel=0.08)


def test_it_is_30_days_old_and_good_for_five_years() -> None:
    made = calibration_for(TRUTH, SETTINGS, 1, made_at=datetime(2025, 1, 1, tzinfo=UTC))
    assert (made.made_at, made.due_at) == ("2025-01-01T00:00:00Z", "2029-12-31T00:00:00Z")
    assert EXACT.made_at == "2025-12-02T09:00:00Z"


def test_errors_have_a_spread_of_their_own_and_not_the_stated_one() -> None:
    spread = np.sqrt(np.diag(np.array(MADE[0].covariance)))
    assert calibration_for(TRUTH, SETTINGS, 0) == MADE[0]
    # Biases (g), gains, and tips about two axes (°).
    assert spread == pytest.approx([3e-4] * 6 + [0.03] * 2)
    assert np.count_nonzero(MADE[0].covariance) == 8
    gains = np.array([one.gain for one in MADE]) - TRUTH.imu.gain
    biases = np.array([one.bias_g for one in MADE]) - TRUTH.imu.bias_g
    drifts = np.array([one.drift_g_per_k for one in MADE]) - TRUTH.imu.drift_g_per_k
    tips = np.degrees(np.array([one.level for one in MADE])[:, :2])
    assert gains.std(axis=0) == pytest.approx(2.6e-4, rel=0.1)
    assert biases.std(axis=0) == pytest.approx(2.4e-4, rel=0.1)
    assert drifts.std(axis=0) == pytest.approx(1.6e-5, rel=0.1)
    assert MADE[0].u_drift_g_per_k == 2e-5
    assert tips.std(axis=0) == pytest.approx(0.026, rel=0.1)
    delays = np.array([one.filter_delay_ms for one in MADE])
    assert delays.mean() == pytest.approx(EXACT.filter_delay_ms, abs=0.2)
    # What the settings state of it does not make the truth.
    unsure = Settings(linkage=SETTINGS.linkage, imu=ImuSettings(u_filter_delay_ms=100.0))
    assert calibration_for(TRUTH, unsure, 7).filter_delay_ms == MADE[7].filter_delay_ms


@pytest.mark.parametrize(
    ("rate_error", "fine", "rest"),
    [
        (0.0, 0, 0.0),
        # Steps of 0.15 %: 0.0100 is 6.67 steps, so 7 and 1.0100/1.0105 - 1.
        (0.01, 7, 1.0100 / 1.0105 - 1.0),
        (-0.004, -3, 0.9960 / 0.9955 - 1.0),
        # The trim has 8 bits.
        (0.3, 127, 1.3 / 1.1905 - 1.0),
        (-0.3, -128, 0.7 / 0.808 - 1.0),
    ],
)
def test_the_trim_tells_the_oscillator_to_a_step(rate_error: float, fine: int, rest: float) -> None:
    chip = fitted_chip(Settings(), ImuTruth(rate_error=rate_error))
    assert chip.frequency_fine == fine
    assert chip.rate_error == pytest.approx(rest, abs=1e-12)
    # 6667 Hz by 32 is nominally 208 Hz.
    assert chip.stated_rate_hz == pytest.approx(6667 / 32 * (1 + 0.0015 * fine))
    assert chip.rate_hz == pytest.approx(6667 / 32 * (1 + rate_error), rel=1e-9)
    assert chip.identity == f"6c-{fine:+d}"


@pytest.mark.parametrize(("wanted_hz", "got_hz"), [(104, 100.0), (208, 200.0), (416, 1000 / 3)])
def test_the_older_chip_divides_1000_hz_by_whole_numbers(wanted_hz: int, got_hz: float) -> None:
    settings = Settings(bus=BusSettings(imu_model="mpu6050"), imu=ImuSettings(rate_hz=wanted_hz))  # type: ignore[arg-type]
    chip = fitted_chip(settings, ImuTruth(rate_error=0.02))
    assert chip.stated_rate_hz == pytest.approx(got_hz)
    assert (chip.frequency_fine, chip.rate_error, chip.who) == (0, 0.02, 0x68)
    assert chip.rate_hz == pytest.approx(1.02 * got_hz)
    assert chip.counts_per_g == 16384
    assert chip.identity == "68-312c5a17"


@pytest.mark.parametrize(("wanted_hz", "corner_hz"), [(20.8, 21), (30.0, 21), (31.0, 44), (6.0, 5)])
def test_the_older_chip_takes_the_corner_of_the_nearest_ratio(
    wanted_hz: float, corner_hz: float
) -> None:
    settings = Settings(bus=BusSettings(imu_model="mpu6050"), imu=ImuSettings(lowpass_hz=wanted_hz))
    assert fitted_chip(settings, ImuTruth()).lowpass_hz == corner_hz
