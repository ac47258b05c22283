"""Data sheet limits of an angle sensor before calibration."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.calibration.model import Vector

Array = NDArray[np.float64]


class SensorClass(NamedTuple):
    """Standard uncertainties of a new sensor's errors, taken from typical limits."""

    u_bias_g: Vector
    u_gain: float
    u_drift_g_per_k: float
    u_axes: float
    """Of effects beyond gain and bias: axes out of square, and curvature; in g at 1 g."""


CLASSES: dict[str, SensorClass] = {
    # ST DS12140 (LSM6DSO, the same mechanical part): zero-g offset ±20 mg typical, sensitivity
    # tolerance ±1 %, offset ±0.1 mg/K. Squareness of the axes is not published.
    "lsm6dsox": SensorClass((0.03, 0.03, 0.03), 0.01, 1e-4, 1.5e-4),
    # ST DS13012 (from memory): offset ±65 mg and sensitivity ±2 % as limits.
    "ism330dhcx": SensorClass((0.038, 0.038, 0.038), 0.012, 1e-4, 1.5e-4),
    # InvenSense PS-MPU-6000A, 6.2: offset ±50 mg (x, y) and ±80 mg (z), ±35 and ±60 mg over
    # 70 K, sensitivity ±3 %, cross axis ±2 %, mostly absorbed by gain and bias over 45°.
    "mpu6050": SensorClass((0.05, 0.05, 0.08), 0.03, 5e-4, 1e-3),
}


class SensorPrior(NamedTuple):
    """Prior knowledge of bias and gain before a fit."""

    bias_g: Vector
    gain: Vector
    covariance: Array
    """Of the three biases and the three gains, 6 × 6."""


def prior_of(sensor: SensorClass) -> SensorPrior:
    """Prior from the data sheet: no bias, gain 1, each with its uncertainty."""
    sigma = np.array([*sensor.u_bias_g, *[sensor.u_gain] * 3])
    return SensorPrior((0.0, 0.0, 0.0), (1.0, 1.0, 1.0), np.diag(sigma**2))
