"""Calibration of one angle sensor on one rig: values, uncertainty and origin."""

from typing import Annotated

from msgspec import Meta, Struct

Vector = tuple[float, float, float]

PARAMETERS = (
    "bias_x_g",
    "bias_y_g",
    "bias_z_g",
    "gain_x",
    "gain_y",
    "gain_z",
    "level_along_deg",
    "level_across_deg",
)
"""Order of the parameters in `Calibration.covariance` (units in the names; gains have none)."""


class SensorIdentity(Struct, frozen=True, kw_only=True):
    """Identity of a sensor; a run refuses the calibration of another one."""

    model: str
    address: int
    identity: str
    """Distinguishes sensors of the same model: identity register and factory trim."""


class Vibration(Struct, frozen=True, kw_only=True):
    """Vibration of the sensor in an unloaded sweep."""

    sample_rate_hz: float
    lowpass_hz: float
    """Corner frequency of the chip's filter at the time."""
    frequency_hz: tuple[float, ...]
    amplitude_g: tuple[float, ...]
    """Of a line at each frequency, the largest of the three axes."""
    pulse_hz: tuple[float, float]
    """Mean pulse rate of the motor in the sweep, and its double."""
    folded_hz: tuple[float, float]
    """Their aliases after sampling, averaged over the sweep."""
    line_g: tuple[float | None, float | None]
    """Amplitude of the motor's lines there, noise removed; None where they folded to near 0
    throughout."""
    suggests: tuple[str, ...] = ()
    """Conclusions for the filter, in sentences."""


class Calibration(Struct, frozen=True, kw_only=True):
    """Converts raw counts to the gravity vector, and that to the inclination of the board.

    Gravity vector in g: `gain * (counts / counts_per_g - bias - drift * (T - temperature_c))`,
    axis by axis. Inclination is the angle between it and `level`, its direction on a board that
    is level both ways; the part along `axis` (the hinge) is the cross slope.
    """

    format: str = "tilt-calibration"
    version: int = 1
    made_at: str
    """RFC 3339, UTC."""
    due_at: str
    sensor: SensorIdentity
    temperature_c: float
    counts_per_g: Annotated[float, Meta(gt=0)]
    bias_g: Vector = (0.0, 0.0, 0.0)
    gain: Vector = (1.0, 1.0, 1.0)
    drift_g_per_k: Vector = (0.0, 0.0, 0.0)
    u_drift_g_per_k: Annotated[float, Meta(ge=0)] = 1e-4
    level: Vector = (0.0, 0.0, 1.0)
    """Unit vector in the sensor's frame."""
    axis: Vector = (0.0, 1.0, 0.0)
    """Unit vector of the hinge in the sensor's frame, positive so that raising turns `level`
    towards the board's uphill direction by the right-hand rule about it."""
    covariance: tuple[tuple[float, ...], ...]
    """8 × 8, in the order and units of `PARAMETERS`."""
    filter_delay_ms: float
    u_filter_delay_ms: float
    noise_g: Annotated[float, Meta(ge=0)] = 0.0
    """Standard deviation of one sample of one axis."""
    vibration: Vibration | None = None
    home_angle_deg: float = 0.0
    """Inclination at the lower switch at the time of calibration."""
    home_cross_deg: float = 0.0
    reference: str = ""
    u_reference_deg: float = 0.0
    residuals_deg: tuple[float, ...] = ()
    """Reference minus sensor, at zero and at each span point."""
    angles_deg: tuple[float, ...] = ()
    """Inclination along the slide at those points, by the reference."""
    notes: tuple[str, ...] = ()
    """Sentences about suspicious results when it was made."""
