"""The true geometry of the simulated machine: screw and hinge, and the board against gravity."""

from dataclasses import dataclass
from math import acos, atan2, cos, degrees, hypot, radians, sin, sqrt

G0_M_S2 = 9.80665
"""Standard gravity."""


@dataclass(frozen=True)
class TrueLinkage:
    """The triangle of hinge, base pivot and cradle pivot, closed by the screw (law of cosines)."""

    base_pivot_mm: float
    cradle_pivot_mm: float
    level_angle_rad: float

    @classmethod
    def of(
        cls, base_pivot_mm: float, cradle_pivot_mm: float, level_angle_deg: float
    ) -> "TrueLinkage":
        """From lengths and the angle at level, in degrees."""
        return cls(base_pivot_mm, cradle_pivot_mm, radians(level_angle_deg))

    def length_mm(self, angle_rad: float) -> float:
        """Distance between the pivots at an inclination of the cradle."""
        a, b = self.base_pivot_mm, self.cradle_pivot_mm
        return sqrt(a * a + b * b - 2.0 * a * b * cos(angle_rad + self.level_angle_rad))

    def mm_per_rad(self, angle_rad: float) -> float:
        """How fast that distance grows with the inclination."""
        turn = self.base_pivot_mm * self.cradle_pivot_mm * sin(angle_rad + self.level_angle_rad)
        return turn / self.length_mm(angle_rad)

    def angle_rad(self, length_mm: float) -> float:
        """Inclination of the cradle at a distance between the pivots."""
        a, b = self.base_pivot_mm, self.cradle_pivot_mm
        cosine = (a * a + b * b - length_mm * length_mm) / (2.0 * a * b)
        return acos(min(1.0, max(-1.0, cosine))) - self.level_angle_rad


@dataclass(frozen=True)
class Incline:
    """The board against gravity: `up_x, up_y, up_z` is the vertical in the hinge's frame.

    x points uphill, y along the hinge, z up from the board when the cradle's angle is zero. Floor
    tilt along the slide adds to the cradle's angle; tilt across and a hinge that is not level
    give the cross slope.
    """

    up_x: float
    up_y: float
    up_z: float

    @classmethod
    def of(cls, along_deg: float, across_deg: float) -> "Incline":
        """From the tilt of the hinge's frame: `along_deg` uphill positive, `across_deg` to +y."""
        x, y = sin(radians(along_deg)), sin(radians(across_deg))
        return cls(x, y, sqrt(1.0 - x * x - y * y))

    def sin_cos(self, angle_rad: float) -> tuple[float, float]:
        """Sine and cosine of the total inclination at a cradle angle."""
        cosine = self.up_z * cos(angle_rad) - self.up_x * sin(angle_rad)
        return sqrt(max(0.0, 1.0 - cosine * cosine)), cosine

    def tangent(self, angle_rad: float) -> float:
        """Tangent of the total inclination."""
        sine, cosine = self.sin_cos(angle_rad)
        return sine / cosine

    def total_deg(self, angle_rad: float) -> float:
        """Total inclination in degrees."""
        return degrees(atan2(*self.sin_cos(angle_rad)))

    def downhill_cosine(self, angle_rad: float, yaw_rad: float = 0.0) -> float:
        """Cosine between the steepest descent on the board and the board's own x axis.

        Args:
            angle_rad: of the cradle.
            yaw_rad: turn of the board on the cradle, about its normal.
        """
        along = self.up_x * cos(angle_rad) + self.up_z * sin(angle_rad)
        if hypot(along, self.up_y) <= 1e-9:
            return 1.0
        return max(1e-3, cos(atan2(self.up_y, along) - yaw_rad))

    def angle_for(self, tangent: float) -> float | None:
        """Cradle angle (rad) at which the total inclination has this tangent, or None.

        cos(total) = R·cos(θ + φ) with R = √(ux² + uz²) and φ = atan2(ux, uz).
        """
        wanted = 1.0 / sqrt(1.0 + tangent * tangent)
        reach = sqrt(self.up_x * self.up_x + self.up_z * self.up_z)
        return acos(wanted / reach) - atan2(self.up_x, self.up_z) if wanted <= reach else None
