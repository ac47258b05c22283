"""Clearances of the telescoping screw, the motor, the floor and the frame.

The screw turns in a bearing at the base pivot, with the motor behind it. The nut sits in the lower
end of a tube whose upper end pushes the cradle by a pin. So no thread stands out anywhere: its tip
stays inside the tube. A nut at the cradle pivot would let the screw stand out of it instead.
"""

from collections.abc import Iterator
from math import asin, cos, radians, sin

from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings

TELESCOPE_MM = 5.0
FLOOR_MM = 25.0
ARM_MM = 120.0
"""Least gap that does not crush an arm: ISO 13854:2017, 120 mm (hand 100, finger 25)."""

BEAM_MM = 2.0
"""The beam's line stays this far above the crown of a board that is warped by 3 mm."""

WARP_MM = 3.0


def clearances(settings: Settings) -> Iterator[tuple[str, float, float]]:
    """Name, value in mm and least allowed value in mm of each clearance."""
    m, place = settings.mechanics, settings.linkage
    linkage = Kinematics(place, settings.screw)
    shortest = linkage.length_mm(place.home_angle_deg)
    longest = linkage.length_mm(place.travel_deg)
    tip = m.screw_start_mm + m.screw_length_mm
    yield "nut above bearing, lowered", shortest - m.tube_length_mm - m.screw_start_mm, TELESCOPE_MM
    yield "screw tip below plug, lowered", shortest - m.tube_plug_mm - tip, TELESCOPE_MM
    nut_top = longest - m.tube_length_mm + m.nut_length_mm
    yield "screw beyond nut, at the upper switch", tip - nut_top, TELESCOPE_MM
    yield "motor above the floor", motor_floor_mm(settings), FLOOR_MM
    yield "gap under the lowered cradle", m.lowered_gap_mm, ARM_MM
    yield "beam above a warped board", settings.beam.height_mm - WARP_MM, BEAM_MM


def pivots_mm(settings: Settings, angle_deg: float) -> tuple[tuple[float, float], ...]:
    """Places of the cradle pivot and the base pivot, as (x, z) in mm from the hinge axis.

    x points along the level board, uphill; z up. The cradle pivot lies `pivot_drop_mm` below the
    board's plane, the base pivot γ₀ below that.
    """
    place = settings.linkage
    drop_rad = asin(settings.mechanics.pivot_drop_mm / place.cradle_pivot_mm)
    at_cradle = radians(angle_deg) - drop_rad
    at_base = -radians(place.level_angle_deg) - drop_rad
    b, a = place.cradle_pivot_mm, place.base_pivot_mm
    return (b * cos(at_cradle), b * sin(at_cradle)), (a * cos(at_base), a * sin(at_base))


def motor_floor_mm(settings: Settings) -> float:
    """Least distance of the swivelling motor's far corner from the floor over the travel, in mm."""
    m, place = settings.mechanics, settings.linkage
    heights = []
    for i in range(47):
        angle = place.home_angle_deg + (place.travel_deg - place.home_angle_deg) * i / 46
        (cx, cz), (bx, bz) = pivots_mm(settings, angle)
        length = Kinematics(place, settings.screw).length_mm(angle)
        along_x, along_z = (bx - cx) / length, (bz - cz) / length
        end = bz + along_z * m.motor_overhang_mm - abs(along_x) * m.motor_width_mm / 2
        heights.append(m.hinge_height_mm + end)
    return min(heights)
