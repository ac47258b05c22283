"""Bending of the cradle: a beam on the hinge and the cradle pivot under its own weight.

It overhangs the cradle pivot, and its load falls with the cosine of the inclination. A level taken
at the bag's place in calibration removes what is constant; what changes with the angle stays.
"""

from collections.abc import Callable
from math import cos, degrees, radians
from typing import NamedTuple

PIECES = 200


class Cradle(NamedTuple):
    """A uniform beam of weight `load_n_mm` per mm, lying level."""

    length_mm: float
    pivot_mm: float
    """The second support, from the hinge."""
    load_n_mm: float
    stiffness_n_mm2: float

    def moment_n_mm(self, x_mm: float) -> float:
        """Bending moment at a distance from the hinge, in N·mm; sagging is positive."""
        w, length, b = self.load_n_mm, self.length_mm, self.pivot_mm
        if x_mm >= b:
            return -w * (length - x_mm) ** 2 / 2
        at_hinge_n = w * length * (1 - length / (2 * b))
        return at_hinge_n * x_mm - w * x_mm**2 / 2

    def bend_deg(self, from_mm: float, to_mm: float) -> float:
        """Slope at `to_mm` less the slope at `from_mm`, in degrees: ∫ M/EI dx; down is negative."""
        return degrees(_integral(self.moment_n_mm, from_mm, to_mm) / self.stiffness_n_mm2)

    def slope_deg(self, x_mm: float) -> float:
        """Slope at a place, in degrees, against the line from the hinge to the cradle pivot."""
        b = self.pivot_mm
        at_pivot = _integral(lambda x: self.moment_n_mm(x) * x, 0.0, b) / (b * self.stiffness_n_mm2)
        return degrees(at_pivot) + self.bend_deg(b, x_mm)


def unloading(angle_deg: float) -> float:
    """Share of the bending at level that is lost at an inclination: 1 − cos θ."""
    return 1 - cos(radians(angle_deg))


def _integral(of: Callable[[float], float], low: float, high: float) -> float:
    step = (high - low) / PIECES
    return sum(of(low + (i + 0.5) * step) for i in range(PIECES)) * step
