"""What the motor's lines in the angle sensor can do to a run's angle, and which filter helps.

Sampling folds a line of the motor to somewhere between 0 and half the sample rate. Away from 0 the
fit averages it out. Where it folds to 0 it would stay in the angle, but the pulse rate of a raise
at constant rate changes with the angle, so it stays there only for about 1/√(df/dt). What is left
is a sum over the samples with the weights of the fit; its size is the bias at the worst phase.
"""

import math
from typing import NamedTuple

import numpy as np

from rig.analysis.angle.plane import Array
from rig.analysis.angle.ramp import BLOCK_S, MEMORY_S, WINDOW_S
from rig.calibration.model import Vibration
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings

ONSETS_DEG = np.arange(8.0, 42.1, 0.1)
HARMONICS = (1, 2)
ALLOWED_DEG = 0.01
LEAST_CORNER_HZ = 5.0
"""A slower filter remembers for longer than a block of the fit lasts."""
RATES_HZ = (104, 208, 416)


class Worst(NamedTuple):
    """The largest bias of a raise, and where it comes."""

    bias_deg: float
    onset_deg: float
    harmonic: int
    pulse_hz: float


def fit_weights(sample_rate_hz: float) -> tuple[Array, Array]:
    """Times before the break in s, and the weight of each sample in the angle at the break."""
    block = max(1, round(BLOCK_S * sample_rate_hz))
    count = int(WINDOW_S * sample_rate_hz) // block
    t_s: Array = (np.arange(count * block) - count * block) / sample_rate_hz
    middle = t_s.reshape(-1, block).mean(axis=1)
    weight = np.exp(middle / MEMORY_S)
    design = np.stack([np.ones_like(middle), middle], axis=1)
    normal = np.linalg.inv(design.T @ (weight[:, None] * design))
    offset = (normal @ (design * weight[:, None]).T)[0]
    spread: Array = np.repeat(offset / block, block)
    return t_s, spread


def leak(
    linkage: Kinematics, rate_deg_s: float, onset_deg: float, harmonic: int, sample_rate_hz: float
) -> float:
    """Share of a line's amplitude that stays in the angle at the worst phase, 0…1."""
    t_s, weight = fit_weights(sample_rate_hz)
    angle = onset_deg + rate_deg_s * t_s
    is_in = angle > 0.0
    pulses = linkage.count_at(angle[is_in])
    return float(abs(np.sum(weight[is_in] * np.exp(2j * np.pi * harmonic * pulses))))


def worst_bias(
    vibration: Vibration, settings: Settings, rate_deg_s: float, sample_rate_hz: float
) -> Worst:
    """The worst onset for a raise at this rate, with the lines as the sweep has shown them.

    Above its corner the chip's filter falls as 1/f², so a line counts more in a slower raise.
    """
    linkage = Kinematics(settings.linkage, settings.screw)
    found = Worst(0.0, 0.0, 1, 0.0)
    for harmonic, seen_hz, seen_g in zip(
        HARMONICS, vibration.pulse_hz, vibration.line_g, strict=True
    ):
        if seen_g is None:
            continue
        for onset in ONSETS_DEG.tolist():
            pulse_hz = float(linkage.pulse_rate_hz(onset, rate_deg_s))
            grown = (seen_hz / (harmonic * pulse_hz)) ** 2
            share = leak(linkage, rate_deg_s, onset, harmonic, sample_rate_hz)
            bias = math.degrees(seen_g * grown * share)
            if bias > found.bias_deg:
                found = Worst(bias, onset, harmonic, pulse_hz)
    return found


def advice(vibration: Vibration, settings: Settings) -> tuple[str, ...]:
    """What the spectrum suggests for `imu.lowpass_hz` and `imu.rate_hz`, in sentences."""
    rate, corner = settings.motion.rate_deg_s, vibration.lowpass_hz
    now = worst_bias(vibration, settings, rate, vibration.sample_rate_hz)
    if now.bias_deg == 0.0:
        return (
            "No line of the motor stands out of the noise: `imu.lowpass_hz` and `imu.rate_hz` may"
            " stay as they are.",
        )
    words = [
        f"At {rate:g} °/s the motor's lines can move the angle by {now.bias_deg:.4f}° at most, for"
        f" a slide at {now.onset_deg:.1f}° ({now.harmonic} × {now.pulse_hz:.0f} Hz); the fit over"
        f" {WINDOW_S:g} s averages the rest."
    ]
    if now.bias_deg <= ALLOWED_DEG:
        words.append(
            f"That is within {ALLOWED_DEG:g}°: `imu.lowpass_hz = {settings.imu.lowpass_hz:g}` and"
            f" `imu.rate_hz = {settings.imu.rate_hz}` are right."
        )
        return tuple(words)
    wanted = corner * math.sqrt(ALLOWED_DEG / now.bias_deg)
    if wanted >= LEAST_CORNER_HZ:
        words.append(f"Set `imu.lowpass_hz = {wanted:.1f}` or less, and calibrate again.")
        return tuple(words)
    biases = {hz: worst_bias(vibration, settings, rate, float(hz)).bias_deg for hz in RATES_HZ}
    best = min(biases, key=lambda hz: biases[hz])
    words.append(
        f"A filter of {wanted:.1f} Hz would be too slow for the fit; set `imu.lowpass_hz ="
        f" {LEAST_CORNER_HZ:g}` and `imu.rate_hz = {best}`, and damp the motor's mount."
    )
    return tuple(words)
