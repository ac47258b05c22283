"""Torque, efficiency and self-locking of a power screw.

Formulas: Budynas and Nisbett, Shigley's Mechanical Engineering Design, section 8-2, with the
secant of the flank angle for trapezoidal threads.
"""

from math import cos, pi, radians
from typing import NamedTuple


class LeadScrew(NamedTuple):
    """A screw and its nut; the collar is the thrust bearing that takes the load."""

    mean_diameter_mm: float
    lead_mm: float
    flank_angle_deg: float
    """Half the thread angle: 0 for a square thread, 15 for ISO trapezoidal."""
    friction: float
    collar_friction: float = 0.0
    collar_diameter_mm: float = 0.0

    @property
    def _rubbing_mm(self) -> float:
        """π·µ·d_m·sec α: what friction takes in a turn, in mm, to be compared with the lead."""
        return pi * self.friction * self.mean_diameter_mm / cos(radians(self.flank_angle_deg))

    def collar_torque_n_m(self, force_n: float) -> float:
        """Torque lost in the thrust bearing, in N·m."""
        return force_n * self.collar_friction * self.collar_diameter_mm / 2000

    def raise_torque_n_m(self, force_n: float) -> float:
        """Torque that moves the load against its force, in N·m."""
        d, lead = self.mean_diameter_mm, self.lead_mm
        drag = self.friction / cos(radians(self.flank_angle_deg))
        thread = force_n * d / 2 * (lead + self._rubbing_mm) / (pi * d - drag * lead)
        return thread / 1000 + self.collar_torque_n_m(force_n)

    def lower_torque_n_m(self, force_n: float) -> float:
        """Torque that moves the load with its force, in N·m; negative if the load drives alone."""
        d, lead = self.mean_diameter_mm, self.lead_mm
        drag = self.friction / cos(radians(self.flank_angle_deg))
        thread = force_n * d / 2 * (self._rubbing_mm - lead) / (pi * d + drag * lead)
        return thread / 1000 + self.collar_torque_n_m(force_n)

    @property
    def efficiency(self) -> float:
        """Work on the load per work on the shaft while raising: F·l/(2π·T)."""
        return self.lead_mm / 1000 / (2 * pi * self.raise_torque_n_m(1.0))

    @property
    def self_locking(self) -> float:
        """π·µ·d_m·sec α / lead: the thread alone holds its load when this is above 1."""
        return self._rubbing_mm / self.lead_mm


def trapezoidal(nominal_mm: float, pitch_mm: float) -> tuple[float, float]:
    """Mean and core diameter of an ISO trapezoidal screw, in mm.

    d_m = d − P/2; core d₃ = d − P − 2·a_c (ISO 2904), with a_c of 0.15 mm at a pitch of 1.5 mm,
    0.25 mm up to 5 mm and 0.5 mm up to 12 mm (from memory).
    """
    clearance_mm = 0.15 if pitch_mm < 2 else 0.25 if pitch_mm <= 5 else 0.5
    return nominal_mm - pitch_mm / 2, nominal_mm - pitch_mm - 2 * clearance_mm
