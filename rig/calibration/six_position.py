"""Optional: bias and gain from the sensor in six positions, and drift from two temperatures.

At rest gravity has length 1 in every position, however inexact the position, so no reference is
needed: gain·(counts/scale − bias) must have length 1 (the scalar, or g-norm, method). Six
positions, each axis up and down, fix the three biases and the three gains.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rig.calibration.captures import Rest, check_rest, u_mean_counts
from rig.calibration.model import Vector
from rig.calibration.sensors import Array, SensorClass, SensorPrior
from rig.errors import BadInputError

NEAR_AXIS = 0.8
"""Least cosine at which an axis counts as pointing up or down."""

MIN_WARMTH_K = 5.0


class Drift(NamedTuple):
    """Change of the biases with temperature."""

    drift_g_per_k: Vector
    u_drift_g_per_k: float


def six_positions(rests: Sequence[Rest], sensor: SensorClass, counts_per_g: float) -> SensorPrior:
    """Bias and gain from six or more positions, with their covariance.

    Args:
        rests: the sensor at rest; each axis must have pointed up once and down once.
        sensor: its data sheet; axes out of square widen the uncertainty.
        counts_per_g: nominal scale.

    Raises:
        BadInputError: a position is missing, or the sensor was not at rest.
    """
    from scipy.optimize import least_squares

    for number, rest in enumerate(rests, start=1):
        check_rest(rest, counts_per_g, f"position {number}")
    raw = np.array([rest.counts for rest in rests]).reshape(-1, 3) / counts_per_g
    for axis, name in enumerate("xyz"):
        for sign, way in ((1.0, "up"), (-1.0, "down")):
            if not np.any(sign * raw[:, axis] > NEAR_AXIS):
                raise BadInputError(
                    f"No position has the sensor's {name} axis pointing {way}; the six positions"
                    " are each axis up and each axis down."
                )
    u_raw = np.array([u_mean_counts(rest) for rest in rests]) / counts_per_g
    u_norm = np.sqrt(u_raw**2 + sensor.u_axes**2)

    def misfit(p: Array) -> Array:
        vectors = p[3:] * (raw - p[:3])
        result: Array = (np.sqrt(np.sum(vectors * vectors, axis=1)) - 1.0) / u_norm
        return result

    start = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0])
    found = least_squares(misfit, start, method="lm", xtol=1e-14, ftol=1e-14)
    x = [float(value) for value in found.x]
    jacobian: Array = np.asarray(found.jac)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    return SensorPrior((x[0], x[1], x[2]), (x[3], x[4], x[5]), (covariance + covariance.T) / 2.0)


def drift_of_two(cold: Rest, warm: Rest, counts_per_g: float) -> Drift:
    """Drift of the biases from the same pose at two temperatures.

    Args:
        cold: the board level, at one temperature.
        warm: untouched, at another.
        counts_per_g: nominal scale.

    Raises:
        BadInputError: the temperatures are too close together.
    """
    rise_k = warm.temperature_c - cold.temperature_c
    if abs(rise_k) < MIN_WARMTH_K:
        raise BadInputError(
            f"The two temperatures are {abs(rise_k):.1f} K apart and must be {MIN_WARMTH_K:g} K or"
            " more; warm the room or the sensor and capture again."
        )
    for name, rest in (("cold", cold), ("warm", warm)):
        check_rest(rest, counts_per_g, f"the {name} capture")
    change = (np.array(warm.counts) - np.array(cold.counts)) / counts_per_g / rise_k
    u_pair = np.hypot(u_mean_counts(cold), u_mean_counts(warm)) / counts_per_g / abs(rise_k)
    x, y, z = (float(value) for value in change)
    # The chip's thermometer is right to a few per cent of the difference, and drift is not quite
    # linear: a tenth of it stays uncertain.
    return Drift((x, y, z), float(np.hypot(u_pair, 0.1 * np.max(np.abs(change)))))
