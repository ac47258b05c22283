"""A slide on a board that turns at a constant rate, in closed form, and scipy's root finder.

Shares no code with the analysis: Coulomb's s″ = g(sin ωt − µk cos ωt) integrated twice by hand.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, fsolve

G_MM_S2 = 9806.65
"""Standard gravity (CGPM, 1901)."""


class Moved(NamedTuple):
    """The bag has moved this far at a time, since its start or since another time."""

    until_s: float
    distance_mm: float
    since_s: float | None = None


def moved_mm(until_s: float, onset_s: float, mu_kinetic: float, rate_deg_s: float) -> float:
    """Distance from rest at the onset; the board is level at 0 s."""
    turn = math.radians(rate_deg_s)
    start, end, time_s = turn * onset_s, turn * until_s, until_s - onset_s
    drive = (math.sin(start) - math.sin(end)) / turn**2 + time_s * math.cos(start) / turn
    drag = (math.cos(start) - math.cos(end)) / turn**2 - time_s * math.sin(start) / turn
    return G_MM_S2 * (drive - mu_kinetic * drag)


def fitted(conditions: Sequence[Moved], rate_deg_s: float, near: Sequence[float]) -> list[float]:
    """Onset in s and kinetic coefficient that meet two conditions, found from near by."""

    def missed(guess: NDArray[np.float64]) -> list[float]:
        onset_s, mu = guess.tolist()

        def at(time_s: float) -> float:
            return moved_mm(time_s, onset_s, mu, rate_deg_s)

        return [
            at(one.until_s) - (0.0 if one.since_s is None else at(one.since_s)) - one.distance_mm
            for one in conditions
        ]

    found, _, is_found, why = fsolve(missed, near, xtol=1e-13, full_output=True)
    assert is_found == 1, why
    return [float(value) for value in found]


def onset_of_ratio(edge: Moved, ratio: float, rate_deg_s: float, earliest_s: float) -> float:
    """Onset in s from which one edge is met if µk is this part of µs = tan θ."""

    def missed(onset_s: float) -> float:
        mu = ratio * math.tan(math.radians(rate_deg_s * onset_s))
        return moved_mm(edge.until_s, onset_s, mu, rate_deg_s) - edge.distance_mm

    return float(brentq(missed, earliest_s, edge.until_s, xtol=1e-12))
