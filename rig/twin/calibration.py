"""The calibration that a level would leave of the simulated sensor: near the truth, not on it."""

from datetime import UTC, datetime, timedelta
from math import degrees

import msgspec
import numpy as np

from rig.calibration.model import Calibration, SensorIdentity, Vector
from rig.files.stamps import utc_text
from rig.settings.model import Settings
from rig.twin.fitted import fitted_chip
from rig.twin.ground import crown_slope_rad
from rig.twin.placed import incline_of
from rig.twin.scenario import Scenario
from rig.twin.sensor import Array, Motion, Sensor, rotation
from rig.twin.streams import stream

WRONG_BIAS_G, WRONG_GAIN, WRONG_LEVEL_DEG = 2.4e-4, 2.6e-4, 0.026
WRONG_DELAY_MS, WRONG_DRIFT_G_PER_K = 0.5, 1.6e-5
"""How wrong this owner's calibration really is (standard deviations), apart from what it states.
The procedure's own err by 0.7 to 0.9 of what they state (`tests/bench/COVERAGE.md`)."""
U_BIAS_G = 3e-4
U_GAIN = 3e-4
U_LEVEL_DEG = 0.03
U_DRIFT_G_PER_K = 2e-5


def still(times_s: Array) -> Motion:
    """A cradle that stands at zero."""
    zero = np.zeros(times_s.size)
    return Motion(zero, zero, zero, zero, zero)


def calibration_for(
    scenario: Scenario,
    settings: Settings,
    seed: int,
    *,
    made_at: datetime | None = None,
    is_exact: bool = False,
) -> Calibration:
    """What an ideal calibration against a level and a wedge would leave for this sensor.

    Each parameter is the truth plus an error of the twin's own size, not of the size that the
    calibration states. The sensor's skewed axes (`shear`) are not among its parameters, as in a
    real calibration; the level stands where the crowned board slopes in a way of its own, and the
    sensor may have turned since.

    Args:
        scenario: the truth.
        settings: the rig's settings: sensor, rate, filter.
        seed: of the errors (stream "calibration").
        made_at: date; 30 days before 2026-01-01 if not given.
        is_exact: leave the errors out (the covariance is the same).
    """
    imu = msgspec.structs.replace(scenario.imu, yaw_deg=0.0)
    random = stream(seed, "calibration")
    chip = fitted_chip(settings, imu)
    sensor = Sensor(imu, incline_of(scenario), chip.rate_hz, chip.lowpass_hz, still, random)
    sigma = np.array([U_BIAS_G] * 3 + [U_GAIN] * 3 + [U_LEVEL_DEG] * 2)
    wrong = np.array([WRONG_BIAS_G] * 3 + [WRONG_GAIN] * 3 + [WRONG_LEVEL_DEG] * 2)
    error = random.normal(0.0, 1.0, 8) * wrong
    u_delay_ms = settings.imu.u_filter_delay_ms
    delay_error_ms = float(random.normal(0.0, WRONG_DELAY_MS))
    drift_error = random.normal(0.0, WRONG_DRIFT_G_PER_K, 3)
    if is_exact:
        error, delay_error_ms, drift_error = np.zeros(8), 0.0, np.zeros(3)
    level, axis = sensor.level, sensor.axis
    tip = error[6] * axis + error[7] * np.cross(level, axis)
    slope_deg = degrees(crown_slope_rad(scenario.board, settings, scenario.board.level_at_mm))
    # The board as a whole leans the other way when the level's place is level.
    level = rotation((tip - slope_deg * axis).tolist()) @ level
    date = made_at or datetime(2025, 12, 2, 9, 0, tzinfo=UTC)
    return Calibration(
        made_at=utc_text(date),
        due_at=utc_text(date + timedelta(days=365 * 5)),
        sensor=SensorIdentity(
            model=chip.model, address=settings.bus.imu_address, identity=chip.identity
        ),
        temperature_c=imu.reference_temperature_c,
        counts_per_g=chip.counts_per_g,
        bias_g=_vector(np.asarray(imu.bias_g) + error[:3]),
        gain=_vector(np.asarray(imu.gain) + error[3:6]),
        drift_g_per_k=_vector(np.asarray(imu.drift_g_per_k) + drift_error),
        u_drift_g_per_k=U_DRIFT_G_PER_K,
        level=_vector(level),
        axis=_vector(axis),
        covariance=tuple(tuple(row) for row in np.diag(sigma**2).tolist()),
        filter_delay_ms=1000.0 * sensor.filter_delay_s + delay_error_ms,
        u_filter_delay_ms=u_delay_ms,
        noise_g=sensor.noise_g,
        home_angle_deg=settings.linkage.home_angle_deg + scenario.board.floor_along_deg + slope_deg,
        home_cross_deg=scenario.board.floor_across_deg + scenario.board.hinge_cross_deg,
        reference="ideal level of the twin",
        u_reference_deg=U_LEVEL_DEG,
    )


def _vector(values: Array) -> Vector:
    x, y, z = (float(value) for value in values)
    return x, y, z
