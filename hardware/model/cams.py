"""The two cams on the hinge bar, and the inclinations at which the switches open.

A cam is a disc with two radii and a ramp between them, straight in its angle. The plunger's roller
lies below the axis; the cam turns with the cradle. The roller's middle is as far from the axis as
the cam's outline pushes it: the largest p·e + √(r² − (p × e)²) over the points p of the outline,
along the plunger's direction e.
"""

from math import cos, pi, radians, sin, sqrt

from hardware.model.numbers import Numbers
from hardware.model.shapes import Point
from rig.settings.model import Settings

FINE_DEG = 0.25


def switch_height(n: Numbers) -> float:
    """Distance of the free roller's middle from the hinge axis, in mm."""
    return n.cam_low + n.roller / 2


def ramp_deg(n: Numbers) -> float:
    """Angle over which the ramp rises, at 45° on its mean radius."""
    mean = (n.cam_low + n.cam_high) / 2
    return (n.cam_high - n.cam_low) / mean * 180 / pi


def outline(n: Numbers, first_deg: float, way: int, long_deg: float = 80.0) -> list[Point]:
    """Outline of a cam: low before `first_deg`, rising there, high for `long_deg` from there on.

    Args:
        n: sizes.
        first_deg: where the ramp begins, in the cam's own frame.
        way: +1 when the high part follows with growing angle, else −1.
        long_deg: ramp and high part together.
    """
    rise = ramp_deg(n)
    points = []
    for i in range(round(360 / FINE_DEG)):
        angle = i * FINE_DEG
        along = (way * (angle - first_deg)) % 360
        if along <= rise:
            radius = n.cam_low + (n.cam_high - n.cam_low) * along / rise
        elif along <= long_deg:
            radius = n.cam_high
        elif along <= long_deg + rise:
            radius = n.cam_high - (n.cam_high - n.cam_low) * (along - long_deg) / rise
        else:
            radius = n.cam_low
        points.append((radius * cos(radians(angle)), radius * sin(radians(angle))))
    return points


def pushed(points: list[Point], roller: float, towards_deg: float) -> float:
    """Distance of the roller's middle from the axis, in mm, in a direction in the cam's frame."""
    ex, ez = cos(radians(towards_deg)), sin(radians(towards_deg))
    best = 0.0
    for x, z in points:
        aside = x * ez - z * ex
        along = x * ex + z * ez
        if along > 0 and abs(aside) < roller / 2:
            best = max(best, along + sqrt((roller / 2) ** 2 - aside**2))
    return best


def opening_deg(n: Numbers) -> float:
    """Angle from a ramp's begin to where the roller is pushed by the switch's travel, in degrees.

    Seen from the roller coming up from the low part.
    """
    points = outline(n, 0.0, 1)
    low, high = -30.0, ramp_deg(n)
    wanted = switch_height(n) + n.switch_opens
    for _ in range(40):
        middle = (low + high) / 2
        if pushed(points, n.roller, middle) < wanted:
            low = middle
        else:
            high = middle
    return high


def cams(settings: Settings, n: Numbers) -> dict[str, list[Point]]:
    """Outlines of both cams in the frame of the cradle, set for the angles of the settings.

    At an inclination θ the roller stands at −90° − θ in the cradle's frame. The lower cam is high
    for smaller inclinations, that is for larger angles; the upper cam for smaller ones.
    """
    turn = opening_deg(n)
    place = settings.linkage
    lower = -n.lower_ramp_deg - place.home_angle_deg - turn
    upper = -90.0 - place.travel_deg + turn
    return {"lower": outline(n, lower, 1), "upper": outline(n, upper, -1)}


def acts_deg(points: list[Point], n: Numbers, opens: float, *, rising: bool) -> float:
    """Inclination at which a switch opens, found by turning the cradle, in degrees.

    Args:
        points: the cam's outline in the cradle's frame.
        n: sizes.
        opens: travel of the plunger at which its contact is open.
        rising: whether the switch opens with growing inclination.
    """
    wanted = switch_height(n) + opens

    def is_open(angle_deg: float) -> bool:
        return pushed(points, n.roller, -90.0 - angle_deg) >= wanted

    low, high = -3.0, 49.0
    if is_open(low) is is_open(high):
        raise ValueError("the switch does not act within the travel")
    for _ in range(40):
        middle = (low + high) / 2
        if is_open(middle) is rising:
            high = middle
        else:
            low = middle
    return (low + high) / 2
