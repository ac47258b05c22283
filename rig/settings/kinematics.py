"""The screw's triangle: inclination to screw length to step count, and back.

The screw, the base between the hinge and the base pivot (a) and the cradle arm between the hinge
and the cradle pivot (b) form a triangle with the angle θ + γ₀ at the hinge, so by the law of
cosines c² = a² + b² − 2ab·cos(θ + γ₀). It lies here, below motion, because the settings are
checked with it and the analysis compares the sensor's angle with it. Every method takes a number
or an array and returns the same; numpy is imported for arrays only, to keep reading the settings
quick.
"""

import math
from typing import TYPE_CHECKING, Any, TypeVar

from rig.settings import model

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    A = TypeVar("A", float, NDArray[np.float64])


class Kinematics:
    """Kinematics of the cradle and its screw; count 0 is the home angle, + raises.

    Args:
        linkage: where the pivots are.
        screw: lead and step size.
    """

    def __init__(self, linkage: model.Linkage, screw: model.Screw) -> None:
        self._a = linkage.base_pivot_mm
        self._b = linkage.cradle_pivot_mm
        self._level_deg = linkage.level_angle_deg
        self.counts_per_mm = screw.full_steps_per_turn * screw.microsteps / screw.lead_mm
        """Step pulses per millimetre of screw."""
        self._home_mm = self.length_mm(linkage.home_angle_deg)

    def length_mm(self, angle_deg: "A") -> "A":
        """Distance between the screw's pivots, in mm, at an inclination in degrees."""
        maths = _maths(angle_deg)
        cosine = maths.cos(maths.radians(angle_deg + self._level_deg))
        return maths.sqrt(self._a**2 + self._b**2 - 2 * self._a * self._b * cosine)  # type: ignore[no-any-return]

    def mm_per_deg(self, angle_deg: "A") -> "A":
        """Growth of the screw with the inclination: dc/dθ = ab·sin(θ + γ₀)/c, per degree."""
        sine = _maths(angle_deg).sin(_maths(angle_deg).radians(angle_deg + self._level_deg))
        per_rad = self._a * self._b * sine / self.length_mm(angle_deg)
        return per_rad * (math.pi / 180)  # type: ignore[no-any-return]

    def lever_arm_mm(self, angle_deg: "A") -> "A":
        """Distance of the screw's line from the hinge, in mm; it equals dc/dθ per radian."""
        return self.mm_per_deg(angle_deg) * (180 / math.pi)

    def angle_from_length_deg(self, length_mm: "A") -> "A":
        """Inclination, in degrees, at a distance between the screw's pivots in mm."""
        maths = _maths(length_mm)
        cosine = (self._a**2 + self._b**2 - length_mm**2) / (2 * self._a * self._b)
        return maths.degrees(maths.acos(cosine)) - self._level_deg  # type: ignore[no-any-return]

    def count_at(self, angle_deg: "A") -> "A":
        """Step count at an inclination in degrees; not rounded."""
        return (self.length_mm(angle_deg) - self._home_mm) * self.counts_per_mm

    def angle_deg(self, count: "A") -> "A":
        """Inclination, in degrees, at a step count."""
        return self.angle_from_length_deg(self._home_mm + count / self.counts_per_mm)

    def deg_per_pulse(self, angle_deg: "A") -> "A":
        """Change of the inclination per pulse, in degrees."""
        return 1 / (self.mm_per_deg(angle_deg) * self.counts_per_mm)

    def pulse_rate_hz(self, angle_deg: "A", rate_deg_s: float) -> "A":
        """Pulse rate that turns the board at `rate_deg_s`."""
        return self.mm_per_deg(angle_deg) * (self.counts_per_mm * abs(rate_deg_s))

    def steepest_deg(self, low_deg: float, high_deg: float) -> float:
        """Inclination between two limits that needs the most pulses per degree.

        dc/dθ is largest where the screw stands square to the shorter of its two arms.
        """
        square = math.degrees(math.acos(min(self._a, self._b) / max(self._a, self._b)))
        return min(max(square - self._level_deg, low_deg), high_deg)


def _maths(value: Any) -> Any:
    if isinstance(value, int | float):
        return math
    import numpy as np

    return np
