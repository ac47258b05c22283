"""Inclination of the board from raw counts, and its uncertainty from the calibration.

Notation: u is the unit gravity vector in the sensor's frame, L its direction on a level board, n
the hinge. Inclination is the angle between u and L, signed by the turn about n; it is the total
inclination of the surface, cross slope and floor tilt included, because that is what friction
works against.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.calibration.model import PARAMETERS, Calibration

Array = NDArray[np.float64]


def cross(first: Array, others: Array) -> Array:
    """Cross product of a vector (3,) and others, (3,) or (n, 3); quicker than numpy's."""
    x, y, z = first.tolist()
    product: Array = others @ np.array([(0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0)])
    return product


def gravity_g(
    calibration: Calibration, counts: ArrayLike, temperature_c: float | None = None
) -> Array:
    """Calibrated gravity vectors, in g.

    Args:
        calibration: the sensor's calibration.
        counts: raw counts, shape (n, 3) or (3,).
        temperature_c: the sensor's temperature; None omits the temperature term.

    Returns:
        Vectors of the same shape.
    """
    bias = np.array(calibration.bias_g)
    if temperature_c is not None:
        rise_k = temperature_c - calibration.temperature_c
        bias = bias + np.array(calibration.drift_g_per_k) * rise_k
    scaled = np.asarray(counts, dtype=float) / calibration.counts_per_g
    vectors: Array = np.array(calibration.gain) * (scaled - bias)
    return vectors


def inclination_deg(calibration: Calibration, gravity: ArrayLike) -> Array:
    """Total inclination, in degrees, of gravity vectors (n, 3) → (n,); down past level < 0."""
    vectors = np.asarray(gravity, dtype=float)
    level = np.array(calibration.level)
    # Both forms at once: the arc tangent is exact near 0 where an arc cosine is not.
    normal = cross(level, vectors)
    size = np.sqrt(np.sum(normal * normal, axis=-1))
    sign = np.where(normal @ np.array(calibration.axis) < 0.0, -1.0, 1.0)
    angle: Array = np.degrees(sign * np.arctan2(size, vectors @ level))
    return angle


def along_slope_deg(calibration: Calibration, gravity: ArrayLike) -> Array:
    """Turn about the hinge from level, in degrees, uphill positive; (n, 3) → (n,).

    The total inclination without the cross slope. It passes smoothly through level, where the
    total has a corner, so it is used for comparison with the steps and with earlier home readings.
    """
    vectors = np.asarray(gravity, dtype=float)
    level, axis = np.array(calibration.level), np.array(calibration.axis)
    angle: Array = np.degrees(np.arctan2(vectors @ cross(axis, level), vectors @ level))
    return angle


def cross_slope_deg(calibration: Calibration, gravity: ArrayLike) -> Array:
    """Tilt of the hinge, in degrees: the part of gravity along it; (n, 3) → (n,)."""
    vectors = np.asarray(gravity, dtype=float)
    size = np.sqrt(np.sum(vectors * vectors, axis=-1))
    along = vectors @ np.array(calibration.axis) / size
    slope: Array = np.degrees(np.arcsin(np.clip(along, -1.0, 1.0)))
    return slope


def slopes_deg(
    calibration: Calibration, counts: Sequence[float], temperature_c: float | None = None
) -> tuple[float, float]:
    """`along_slope_deg` and `cross_slope_deg` of one reading, for use while the board moves.

    Plain numbers: setting up arrays of three takes longer than the computation.

    Args:
        calibration: the sensor's calibration.
        counts: raw counts along x, y and z.
        temperature_c: the sensor's temperature; None omits the temperature term.

    Returns:
        Turn about the hinge from level and tilt of the hinge, in degrees.
    """
    rise_k = 0.0 if temperature_c is None else temperature_c - calibration.temperature_c
    x, y, z = (
        gain * (count / calibration.counts_per_g - bias - drift * rise_k)
        for gain, count, bias, drift in zip(
            calibration.gain,
            counts,
            calibration.bias_g,
            calibration.drift_g_per_k,
            strict=True,
        )
    )
    (lx, ly, lz), (nx, ny, nz) = calibration.level, calibration.axis
    # n × L points uphill.
    uphill = x * (ny * lz - nz * ly) + y * (nz * lx - nx * lz) + z * (nx * ly - ny * lx)
    across = (x * nx + y * ny + z * nz) / math.sqrt(x * x + y * y + z * z)
    return (
        math.degrees(math.atan2(uphill, x * lx + y * ly + z * lz)),
        math.degrees(math.asin(min(max(across, -1.0), 1.0))),
    )


def _rising(calibration: Calibration, gravity: Array) -> tuple[Array, Array, float]:
    """Directions of u and L that raise the inclination (two unit tangents), and the size of f."""
    level, axis = np.array(calibration.level), np.array(calibration.axis)
    size = float(np.sqrt(gravity @ gravity))
    unit = gravity / size
    cosine = float(unit @ level)
    normal = cross(level, unit)
    sine = math.sqrt(float(normal @ normal))
    if sine < 1e-3:
        # Close to level the angle has no direction: take the turn about the hinge.
        turn = cross(axis, level)
        turn /= np.linalg.norm(turn)
        return turn, -turn, size
    sign = -1.0 if normal @ axis < 0.0 else 1.0
    return sign * (cosine * unit - level) / sine, sign * (cosine * level - unit) / sine, size


def jacobian(calibration: Calibration, gravity: ArrayLike) -> Array:
    """Derivatives of the inclination with respect to `PARAMETERS`.

    Args:
        calibration: the sensor's calibration.
        gravity: one calibrated gravity vector in g, shape (3,).

    Returns:
        Shape (8,): degrees per g for the biases, degrees per 1 for the gains, degrees per degree
        for the level.
    """
    vector = np.asarray(gravity, dtype=float)
    of_gravity, of_level, size = _rising(calibration, vector)
    gain = np.array(calibration.gain)
    axis, level = np.array(calibration.axis), np.array(calibration.level)
    per_g = np.degrees(of_gravity / size)
    along = cross(axis, level)
    across = axis - (axis @ level) * level
    result: Array = np.concatenate(
        [-gain * per_g, vector / gain * per_g, [of_level @ along, of_level @ across]]
    )
    return result


def u_inclination_deg(calibration: Calibration, gravity: ArrayLike) -> tuple[float, float]:
    """Standard uncertainty of the inclination due to the calibration, in degrees.

    Args:
        calibration: the sensor's calibration.
        gravity: one calibrated gravity vector in g, shape (3,).

    Returns:
        Contributions of the sensor's parameters and of the level; their squares add up to the
        total, correlations included.
    """
    return u_of_rates(calibration, jacobian(calibration, gravity))


def u_of_rates(calibration: Calibration, rates: ArrayLike) -> tuple[float, float]:
    """Standard uncertainty of a quantity due to the calibration's covariance (JCGM 100, 5.2.2).

    Args:
        calibration: the sensor's calibration.
        rates: the quantity's derivatives with respect to `PARAMETERS`, shape (8,).

    Returns:
        Contributions of the sensor's parameters and of the level, as in `u_inclination_deg`.
    """
    c = np.asarray(rates, dtype=float)
    covariance = np.array(calibration.covariance)
    first = PARAMETERS.index("level_along_deg")
    whole = float(c @ covariance @ c)
    level = float(c[first:] @ covariance[first:, first:] @ c[first:])
    level = min(level, whole)
    return max(whole - level, 0.0) ** 0.5, max(level, 0.0) ** 0.5


def drift_rates(calibration: Calibration, gravity: ArrayLike, temperature_c: float | None) -> Array:
    """Derivatives of the inclination with respect to the drifts of the axes, shape (3,).

    Degrees per g/K. An unknown temperature counts as 10 K from the calibration's.
    """
    rise_k = 10.0 if temperature_c is None else temperature_c - calibration.temperature_c
    rates: Array = rise_k * jacobian(calibration, gravity)[:3]
    return rates


def u_temperature_deg(
    calibration: Calibration, gravity: ArrayLike, temperature_c: float | None
) -> float:
    """Standard uncertainty of the inclination due to the drift, in degrees.

    The drifts of the three axes are taken as independent.
    """
    rates = drift_rates(calibration, gravity, temperature_c)
    return float(np.linalg.norm(rates)) * calibration.u_drift_g_per_k
