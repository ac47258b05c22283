"""Checks for implausible samples of an angle sensor."""

from collections.abc import Sequence
from math import sqrt

from rig.devices.imu import Counts

SATURATED_COUNTS = 32700
"""Magnitude near the end of a 16-bit word."""

FROZEN_SAMPLES = 12
"""Number of equal samples in a row that a live sensor's noise (several counts) never gives."""


def is_frozen(counts: Sequence[Counts], samples: int = FROZEN_SAMPLES) -> bool:
    """Whether the last `samples` are identical in all three axes."""
    return len(counts) >= samples and len(set(counts[-samples:])) == 1


def is_saturated(counts: Sequence[Counts]) -> bool:
    """Whether any axis of any sample is at the end of its range."""
    return any(max(map(abs, sample)) > SATURATED_COUNTS for sample in counts)


def mean_norm_g(counts: Sequence[Counts], counts_per_g: float) -> float:
    """Length of the mean vector, in g; 1 at rest."""
    means = [sum(axis) / len(counts) for axis in zip(*counts, strict=True)]
    return sqrt(sum(mean * mean for mean in means)) / counts_per_g


def is_norm_absurd(counts: Sequence[Counts], counts_per_g: float, limit_g: float = 0.25) -> bool:
    """Whether a sensor at rest or in slow motion shows far from 1 g (offsets stay below 0.1 g)."""
    return abs(mean_norm_g(counts, counts_per_g) - 1.0) > limit_g
