"""Fit of a calibration: bias, gain, level and axis from mean gravity vectors at known angles.

The board turns about its hinge, so in the sensor's frame gravity runs along an arc about the
hinge's axis n. A pose is u(τ) = R(n, τ)·u(0), |u| = 1, and the sensor's mean counts give
u = gain·(counts/scale − bias). The reference gives asin(u·X) at each pose and, at zero, also
asin(u·Y), where L is u on a level board, Y the part of n across L, and X = Y × L. That is a fit of
vectors, not of a line in θ, so it holds for any mounting of the sensor.

An arc of 35° determines only some of the parameters well. The others keep their data sheet values
as a prior with its uncertainty: a least-squares estimate with prior information, whose covariance
is honest about what was not observed. The reference's uncertainty enters as stated (type B),
including the parts shared by all readings, and never comes from the residuals, which are only
compared with it.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.calibration.captures import Span, Zero, check_captures, u_mean_counts
from rig.calibration.model import Vector
from rig.calibration.reference import ReferenceReading
from rig.calibration.sensors import SensorClass, SensorPrior, prior_of
from rig.calibration.six_position import Drift

Array = NDArray[np.float64]

U_TWIST_DEG = 0.5
"""Standard uncertainty of the board's parallelism to its hinge."""

DOUBT_P = 0.01
"""Residuals this large, expected in one of a hundred fits, are flagged."""


class AxisFit(NamedTuple):
    """A fitted calibration and its goodness of fit."""

    bias_g: Vector
    gain: Vector
    level: Vector
    axis: Vector
    covariance: Array
    """8 × 8, in the order and the units of `PARAMETERS`."""
    u_axis_deg: float
    temperature_c: float
    residuals_deg: tuple[float, ...]
    """Residuals: reference minus fit, at zero and then at each span point."""
    angles_deg: tuple[float, ...]
    """Inclination along the slide at those points, by the reference."""
    chi2: float
    """Of the span readings against their stated uncertainty."""
    dof: float
    p_value: float
    u_reference_deg: float
    """Standard uncertainty of one span reading, all parts combined."""
    notes: tuple[str, ...]
    """Sentences about suspicious results, if any."""


def turn(axis: Array, angle_rad: Array | float, vector: Array) -> Array:
    """Rotate a vector about a unit axis by angles (n,) → (n, 3), by Rodrigues' formula."""
    angle = np.atleast_1d(np.asarray(angle_rad, dtype=float))[:, None]
    along = (axis @ vector) * axis
    result: Array = (
        along + np.cos(angle) * (vector - along) + np.sin(angle) * np.cross(axis, vector)
    )
    return result


def _unit(vector: Array) -> Array:
    result: Array = vector / np.sqrt(vector @ vector)
    return result


def _tangents(vector: Array) -> tuple[Array, Array]:
    """Two unit vectors at right angles to a unit vector and to each other."""
    helper = np.eye(3)[int(np.argmin(np.abs(vector)))]
    first = _unit(np.cross(vector, helper))
    return first, np.cross(vector, first)


class _Problem:
    """Residuals as a function of one parameter vector.

    Parameters: 0–2 bias, 3–5 gain, 6–7 level, 8–9 axis (tangents from the first guess, rad), 10–11
    the board's slopes at zero (rad), 12… turn of each span pose from zero (rad).
    """

    def __init__(
        self,
        zero: Zero,
        span: Sequence[Span],
        sensor: SensorClass,
        prior: SensorPrior,
        scale: float,
        drift: Drift | None = None,
    ) -> None:
        self.zero, self.span, self.prior = zero, span, prior
        rests = [zero.rest, *(s.rest for s in span)]
        self.raw = np.array([rest.counts for rest in rests]) / scale
        warmth = np.array([rest.temperature_c for rest in rests])
        self.temperature_c = float(warmth.mean())
        # Noise, drift and skewed axes are not parameters: they widen the vectors' uncertainty.
        noise = np.array([u_mean_counts(rest) for rest in rests]) / scale
        warmer = warmth - warmth.mean()
        u_drift = sensor.u_drift_g_per_k
        if drift is not None:
            self.raw -= np.outer(warmer, drift.drift_g_per_k)
            u_drift = drift.u_drift_g_per_k
        self.u_vector = np.sqrt(noise**2 + (u_drift * warmer) ** 2 + sensor.u_axes**2)
        self.along = np.radians([s.reading.along_deg for s in span])
        self.whiten = np.linalg.cholesky(
            np.radians(1.0) ** 2 * reading_covariance([s.reading for s in span])
        )
        self.u_prior = np.linalg.cholesky(prior.covariance)
        self.u_zero = np.radians([zero.along.u_slope_deg, zero.across.u_slope_deg])
        self.slopes = np.radians([zero.along.slope_deg, zero.across.slope_deg])
        known = [
            (i, s.across_deg, s.u_across_deg)
            for i, s in enumerate(span)
            if s.across_deg is not None
        ]
        self.across_at = np.array([entry[0] for entry in known], dtype=int)
        self.across = np.radians([entry[1] for entry in known])
        self.u_across = np.radians([entry[2] for entry in known])
        self._guess()

    def _guess(self) -> None:
        first = (self.raw - self.prior.bias_g) * self.prior.gain
        level = _unit(first[0])
        top = int(np.argmax(self.along))
        _, _, axes = np.linalg.svd(first - first.mean(axis=0))
        axis = axes[2] * np.sign(axes[2] @ np.cross(level, first[1 + top]))
        axis = _unit(axis - (axis @ level) * level)
        self.level, self.axis = level, axis
        self.level_tangents, self.axis_tangents = _tangents(level), _tangents(axis)
        turns = self.along - self.slopes[0]
        self.start = np.concatenate(
            [self.prior.bias_g, self.prior.gain, np.zeros(4), self.slopes, turns]
        )

    def frame(self, p: Array) -> tuple[Array, Array]:
        """Level and hinge, unit vectors in the sensor's frame."""
        level = _unit(self.level + p[6] * self.level_tangents[0] + p[7] * self.level_tangents[1])
        axis = _unit(self.axis + p[8] * self.axis_tangents[0] + p[9] * self.axis_tangents[1])
        return level, axis

    def poses(self, p: Array) -> tuple[Array, Array, Array, Array]:
        """Gravity at all poses (n, 3), and X, Y and L."""
        level, axis = self.frame(p)
        across = _unit(axis - (axis @ level) * level)
        uphill = np.cross(across, level)
        a, b = np.sin(p[10]), np.sin(p[11])
        start = a * uphill + b * across + np.sqrt(max(0.0, 1.0 - a * a - b * b)) * level
        turns = np.concatenate([[0.0], p[12:]])
        return turn(axis, turns, start), uphill, across, level

    def __call__(self, p: Array) -> Array:
        """All residuals, each in units of its standard uncertainty."""
        poses, uphill, across, level = self.poses(p)
        vectors = (p[3:6] * (self.raw - p[:3]) - poses) / self.u_vector[:, None]
        along = np.arcsin(np.clip(poses[1:] @ uphill, -1.0, 1.0)) - self.along
        sideways = np.arcsin(np.clip(poses[1:][self.across_at] @ across, -1.0, 1.0))
        prior = p[:6] - np.concatenate([self.prior.bias_g, self.prior.gain])
        _, axis = self.frame(p)
        twist = np.arcsin(np.clip(axis @ level, -1.0, 1.0)) / np.radians(U_TWIST_DEG)
        result: Array = np.concatenate(
            [
                vectors.ravel(),
                np.linalg.solve(self.whiten, along),
                (p[10:12] - self.slopes) / self.u_zero,
                (sideways - self.across) / self.u_across,
                np.linalg.solve(self.u_prior, prior),
                [twist],
            ]
        )
        return result


def reading_covariance(readings: Sequence[ReferenceReading]) -> Array:
    """Covariance of span readings in deg²: own parts, parts per block, common parts."""
    own = np.diag([reading.u_random_deg**2 for reading in readings])
    same = np.array([[a.reference == b.reference for b in readings] for a in readings])
    block = np.array([reading.u_same_deg for reading in readings])
    common = np.array([reading.u_common_deg for reading in readings])
    result: Array = own + same * np.outer(block, block) + np.outer(common, common)
    return result


def fit_calibration(
    zero: Zero,
    span: Sequence[Span],
    sensor: SensorClass,
    counts_per_g: float,
    prior: SensorPrior | None = None,
    drift: Drift | None = None,
) -> AxisFit:
    """Fit bias, gain, level and axis to the captures.

    Args:
        zero: the board near level, with a level turned end for end along and across.
        span: six poses or more between 10° and 35°, approached from below and from above.
        sensor: data sheet values.
        counts_per_g: nominal scale.
        prior: result of a six-position calibration; by default the data sheet's values.
        drift: result of two temperatures; by default the data sheet's bound.

    Raises:
        BadInputError: too few poses, too close together, a board that moved, a sensor at the end
            of its range.
    """
    from scipy.optimize import least_squares
    from scipy.special import chdtrc

    check_captures(zero, span, counts_per_g)
    problem = _Problem(zero, span, sensor, prior or prior_of(sensor), counts_per_g, drift)
    size = np.concatenate([[0.01] * 10, problem.u_zero, [0.01] * len(span)])
    found = least_squares(problem, problem.start, x_scale=size, method="lm", xtol=1e-12, ftol=1e-12)
    p: Array = found.x
    level, axis = problem.frame(p)
    jacobian: Array = np.asarray(found.jac)
    whole: Array = np.asarray(np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64)
    residuals, angles = _residuals(problem, p)
    chi2, dof = _chi2_of_readings(problem, found.fun, jacobian, whole)
    p_value = float(chdtrc(dof, chi2))
    u_axis = np.degrees(np.sqrt(np.trace(whole[8:10, 8:10])))
    covariance = reading_covariance([s.reading for s in span])
    return AxisFit(
        _vector(p[:3]),
        _vector(p[3:6]),
        _vector(level),
        _vector(axis),
        _reported(problem, p, whole),
        float(u_axis),
        problem.temperature_c,
        residuals,
        angles,
        chi2,
        dof,
        p_value,
        float(np.sqrt(np.mean(np.diag(covariance)))),
        _notes(residuals, p_value),
    )


def _chi2_of_readings(
    problem: _Problem, residuals: Array, jacobian: Array, whole: Array
) -> tuple[float, float]:
    """Chi-square of the span readings alone and its degrees of freedom.

    Their residuals have the covariance A = (1 − J·(JᵀJ)⁻¹·Jᵀ), taken over the readings; the sum of
    their squares is like c·χ² with mean tr A and variance 2·tr A² (Satterthwaite's approximation).
    """
    first = problem.raw.size
    part = slice(first, first + len(problem.span))
    a = np.eye(len(problem.span)) - jacobian[part] @ whole @ jacobian[part].T
    trace, trace_2 = float(np.trace(a)), float(np.sum(a * a))
    square = float(residuals[part] @ residuals[part])
    return square * trace / trace_2, trace * trace / trace_2


def _vector(values: Array) -> Vector:
    x, y, z = (float(value) for value in values)
    return x, y, z


def _reported(problem: _Problem, p: Array, whole: Array) -> Array:
    """Covariance of the eight reported parameters: level along and across, in degrees."""
    level, axis = problem.frame(p)
    along = np.cross(axis, level)
    across = axis - (axis @ level) * level
    change = np.zeros((8, len(p)))
    change[:6, :6] = np.eye(6)
    for k, tangent in enumerate(problem.level_tangents):
        change[6, 6 + k] = np.degrees(tangent @ along)
        change[7, 6 + k] = np.degrees(tangent @ across)
    result: Array = change @ whole @ change.T
    return (result + result.T) / 2.0


def _residuals(problem: _Problem, p: Array) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Residuals: reference minus calibrated reading, along the slide, in degrees."""
    _, uphill, _, _ = problem.poses(p)
    vectors = p[3:6] * (problem.raw - p[:3])
    size = np.sqrt(np.sum(vectors * vectors, axis=1))
    by_sensor = np.degrees(np.arcsin(vectors @ uphill / size))
    by_reference = np.degrees(np.concatenate([problem.slopes[:1], problem.along]))
    residuals = tuple(float(value) for value in by_reference - by_sensor)
    return residuals, tuple(float(value) for value in by_reference)


def _notes(residuals: tuple[float, ...], p_value: float) -> tuple[str, ...]:
    if p_value >= DOUBT_P:
        return ()
    worst = max(residuals, key=abs)
    return (
        f"The residuals (up to {worst:+.3f}°) are too large for the reference's stated uncertainty"
        f" (p = {p_value:.1g}): a reading is wrong, the board or the sensor moved, or the reference"
        " is worse than stated.",
    )
