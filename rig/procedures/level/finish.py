"""Calibration from the captures."""

from datetime import timedelta

import numpy as np

from rig.calibration.apply import along_slope_deg, cross_slope_deg, gravity_g
from rig.calibration.captures import Rest
from rig.calibration.fit import AxisFit, fit_calibration
from rig.calibration.model import Calibration
from rig.calibration.sensors import CLASSES, SensorClass, SensorPrior
from rig.calibration.six_position import Drift, drift_of_two, six_positions
from rig.control.machine import Machine
from rig.errors import BadInputError
from rig.files.stamps import utc_text
from rig.procedures.level.progress import LevelProgress

AXIS_LIMIT_DEG = 1.0
BACKLASH_LIMIT_DEG = 0.1
GYRO_AXIS_LIMIT_DEG = 4.0
"""PS-MPU-6000A has a cross-axis sensitivity of 2 %, 1.2°, for either sensor."""


def finish(progress: LevelProgress, machine: Machine) -> Calibration:
    """Fit the captures; without sweeps the filter delay is that of the settings.

    Raises:
        BadInputError: a capture is missing, or the fit fails.
    """
    if progress.zero is None or progress.home is None:
        raise BadInputError("The calibration has no zero yet; resume with `rig level`.")
    sensor = CLASSES[progress.sensor.model]
    span = list(progress.span.values())
    scale = machine.imu.counts_per_g
    prior, drift = _six(progress, sensor, scale), _drift(progress, scale)
    fit = fit_calibration(progress.zero, span, sensor, scale, prior, drift)
    rests = [progress.zero.rest, progress.home, *(s.rest for s in span)]
    imu, sweep = machine.settings.imu, progress.sweep
    now = machine.clock.utc_now()
    calibration = Calibration(
        made_at=utc_text(now),
        due_at=utc_text(now + timedelta(days=progress.plan.due_days)),
        sensor=progress.sensor,
        temperature_c=fit.temperature_c,
        counts_per_g=machine.imu.counts_per_g,
        bias_g=fit.bias_g,
        gain=fit.gain,
        drift_g_per_k=(0.0, 0.0, 0.0) if drift is None else drift.drift_g_per_k,
        u_drift_g_per_k=sensor.u_drift_g_per_k if drift is None else drift.u_drift_g_per_k,
        level=fit.level,
        axis=fit.axis,
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
        filter_delay_ms=imu.filter_delay_ms if sweep is None else sweep.delay_ms,
        u_filter_delay_ms=imu.u_filter_delay_ms if sweep is None else sweep.u_delay_ms,
        vibration=None if sweep is None else sweep.vibration,
        noise_g=_noise_g(rests, machine.imu.counts_per_g),
        reference=_reference(progress),
        u_reference_deg=fit.u_reference_deg,
        residuals_deg=fit.residuals_deg,
        angles_deg=fit.angles_deg,
        notes=(*fit.notes, *_notes(progress, fit)),
    )
    gravity = gravity_g(calibration, progress.home.counts, progress.home.temperature_c)
    return _with_home(
        calibration,
        float(along_slope_deg(calibration, gravity)),
        float(cross_slope_deg(calibration, gravity)),
    )


def _six(progress: LevelProgress, sensor: SensorClass, scale: float) -> SensorPrior | None:
    """Result of the six positions at the temperature of the fit."""
    if not progress.plan.six or progress.zero is None:
        return None
    rests = list(progress.positions.values())
    found = six_positions(rests, sensor, scale)
    others = [progress.zero.rest, *(span.rest for span in progress.span.values())]
    warmer = np.mean([r.temperature_c for r in others]) - np.mean([r.temperature_c for r in rests])
    widened = np.diag([float(sensor.u_drift_g_per_k * warmer) ** 2] * 3 + [0.0] * 3)
    return found._replace(covariance=found.covariance + widened)


def _drift(progress: LevelProgress, scale: float) -> Drift | None:
    if not progress.plan.second_temperature or progress.cold is None or progress.warm is None:
        return None
    return drift_of_two(progress.cold, progress.warm, scale)


def _with_home(calibration: Calibration, angle_deg: float, cross_deg: float) -> Calibration:
    import msgspec

    return msgspec.structs.replace(calibration, home_angle_deg=angle_deg, home_cross_deg=cross_deg)


def _noise_g(rests: list[Rest], counts_per_g: float) -> float:
    return float(np.median([np.median(rest.scatter_counts) for rest in rests])) / counts_per_g


def _reference(progress: LevelProgress) -> str:
    plan = progress.plan
    if plan.reference == "digital":
        return f"digital level, ±{plan.stated_error_deg:g}° stated, turned end for end at zero"
    return (
        f"sine bar of {plan.bar_length_mm:g} mm with a spirit level turned end for end"
        f" (blocks ±{plan.limit_height_mm:g} mm)"
    )


def _notes(progress: LevelProgress, fit: AxisFit) -> list[str]:
    notes = []
    sweep = progress.sweep
    if sweep is not None and sweep.axis_off_deg > max(AXIS_LIMIT_DEG, 4.0 * fit.u_axis_deg):
        notes.append(
            f"The hinge's axis in the sweep is {sweep.axis_off_deg:.2f}° from that of the span"
            " points: the frame twists, or the sensor moved between them."
        )
    if sweep is not None and (sweep.gyro_axis_off_deg or 0.0) > GYRO_AXIS_LIMIT_DEG:
        notes.append(
            f"The gyroscope turned about an axis {sweep.gyro_axis_off_deg:.1f}° from the one that"
            " gravity turned about: the board does not turn about its hinge alone, or the sensor is"
            " loose."
        )
    if sweep is not None and abs(sweep.backlash_deg) > BACKLASH_LIMIT_DEG:
        notes.append(
            f"The screw has {sweep.backlash_deg:.2f}° of play between up and down: check nut and"
            " pivots."
        )
    return notes
