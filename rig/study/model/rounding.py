"""How coarsely angles were read, and what that hides.

Readings in whole or half degrees are often all alike. Taken as exact they would say that slides do
not scatter at all, and every interval would shrink to nothing. Rounding to steps of h has itself a
variance of h²/12 (as in Sheppard's correction; Kendall and Stuart, The Advanced Theory of
Statistics, vol. 1): readings that scatter less than that hide the rest of it.
"""

from collections.abc import Iterable

STEPS_DEG = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02)
"""What instruments and people read by, the coarsest first."""
FINEST_DEG = 0.01
"""No angle is known better, with however many digits it is given."""
CLOSE_DEG = 1e-6


def step_deg(angles_deg: Iterable[float]) -> float:
    """The coarsest step that all readings are multiples of; FINEST_DEG if none is."""
    angles = list(angles_deg)
    for step in STEPS_DEG:
        if all(abs(angle - step * round(angle / step)) < CLOSE_DEG for angle in angles):
            return step
    return FINEST_DEG


def hidden_variance(step: float, squares: float, freedom: int) -> float:
    """Variance of one reading that rounding hides, in degrees squared.

    Args:
        step: that readings are rounded to, in degrees.
        squares: sum of squares about the series' means, less what settling explains.
        freedom: slides less series.
    """
    seen = squares / freedom if freedom else 0.0
    return max(step**2 / 12.0 - seen, 0.0)
