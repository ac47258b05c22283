"""A bag on an incline that keeps rising: what the machine's limits and the analysis share."""

from math import cbrt, cos, radians, sin, sqrt

G_MM_S2 = 9806.65
"""Standard gravity, in mm/s²."""

SHORTEST_PASS_S = 0.05
"""No bag passes a beam in less: that was dust, a fibre or a hand."""

PACE_OFF = 0.357
"""At 1 °/s: a raise whose pace is off by this share moves the angle of a slide by as much as its
law of friction leaves open; `rig.analysis.raised_by_hand` has the derivation."""

BEFORE_SLIDE_S = 8.0
"""Part of a raise by hand, before the first edge, that the analysis uses."""

SLOWNESS = 1.2
"""A pass may take this much longer than the slowest that sliding allows."""
WHOLE_DEG_S, QUICK_DEG_S = 1.0, 0.3
"""The two methods that studies have, and that a bridging series compares: whole raises at the one
rate, quick starts at the other."""


def slide_time_s(distance_mm: float, rate_deg_s: float, angle_deg: float = 0.0) -> float:
    """Longest time that a bag takes for a distance from its start: µk = µs on a steady ramp.

    Own derivation: close to the start s″ = g ω t / cos θ, so t = (6 s cos θ / (g ω))^(1/3); at
    θ = 0, the default, it is longest.
    """
    return cbrt(6.0 * distance_mm * cos(radians(angle_deg)) / (G_MM_S2 * radians(rate_deg_s)))


def most_pace_off(rate_deg_s: float) -> float:
    """How far, as a share, the pace of a raise by hand may be from the one that was asked for."""
    return PACE_OFF * cbrt(rate_deg_s)


def free_time_s(distance_mm: float, angle_deg: float) -> float:
    """Shortest time that a bag takes for a distance from its start: without friction."""
    return sqrt(2.0 * distance_mm / (G_MM_S2 * sin(radians(angle_deg))))


def longest_pass_s(gap_mm: float, length_mm: float, rate_deg_s: float) -> float:
    """The slowest pass of a bag from rest, with half of the gap and a margin.

    What takes longer is a board that warps into the beam and out again, or fill that slumped into
    it. Machine and analysis use this one bound, so that what the machine took for the slide is not
    refused later.
    """
    least_gap_mm = 0.5 * gap_mm
    passed_s = slide_time_s(least_gap_mm + length_mm, rate_deg_s)
    return SLOWNESS * (passed_s - slide_time_s(least_gap_mm, rate_deg_s))


def check_rate_deg_s(rate_deg_s: float) -> float:
    """Rate of a check of the material, in °/s, where slides are measured at `rate_deg_s`.

    Far enough from it: friction that gives way moves the angle as rate^(1/3).
    """
    return WHOLE_DEG_S if rate_deg_s < (WHOLE_DEG_S + QUICK_DEG_S) / 2.0 else QUICK_DEG_S
