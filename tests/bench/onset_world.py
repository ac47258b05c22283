"""Drawn slides past one or two beams, and what the analysis makes of their edges.

Of a slide only its edges are simulated, with the inclination known exactly: ramp, sensor and
calibration have tables of their own. The distances scatter as the settings say: the gap by 1 mm,
slump 1.5 ± 0.9 mm (never below 0), the length by 4 mm, the beams' spacing by 0.2 mm, the place of
each edge by 0.2 mm, its time by 0.2 ms. With two beams they lie 50 mm apart.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rig.analysis.budget.parts import law_floor_deg
from rig.analysis.onset.edges import Pass
from rig.analysis.onset.estimate import Case, Geometry, solve
from tests.bench.slide_laws import LAWS, Array, Friction, Law, drawn, slides

GEOMETRY = Geometry(
    gap_mm=8.0,
    u_gap_mm=1.0,
    slump_mm=1.5,
    u_slump_mm=0.9,
    length_mm=152.0,
    u_length_mm=4.0,
    spacing_mm=50.0,
    u_spacing_mm=0.2,
)
RESPONSE_MS = 0.3
ALIKE = ("beam spacing", "beam response")
"""Sources that are alike for all slides of a rig, and not for comparing."""


@dataclass(frozen=True)
class World:
    """Slides of one law at one rate.

    Times are in s from the onset; break and clear edge of the first beam are columns 0 and 2, of
    the second 1 and 3.
    """

    rate_deg_s: float
    friction: Friction
    onset_deg: Array
    edges_s: Array


@dataclass(frozen=True)
class Found:
    """What the analysis made of n slides; errors are found less true, angles in degrees."""

    error: Array
    u: Array
    mu_kinetic_error: Array
    u_mu_kinetic: Array
    misfit: Array
    slump_odds: Array
    """Logarithm, up to a constant; −inf where no other fit was needed."""
    flag: Array
    """"", "slumped", "creep" or "too quick"."""

    @property
    def valid(self) -> Array:
        """Those that count."""
        return (self.flag == "") | (self.flag == "creep")


def seeds(seed: int, law: Law, rate_deg_s: float) -> np.random.Generator:
    """One stream for each law and rate."""
    return np.random.default_rng([seed, LAWS.index(law), round(1000 * rate_deg_s)])


def world(
    law: Law,
    rate_deg_s: float,
    n: int,
    rng: np.random.Generator,
    friction: Friction | None = None,
    leading_mm: Array | None = None,
) -> World:
    """Draw distances (and friction, unless it is given) and let the bags slide.

    Args:
        law: of friction.
        rate_deg_s: of the raise.
        n: number of slides.
        rng: their randomness.
        friction: of each slide.
        leading_mm: from the leading edge to the first beam at the onset, in place of what gap and
            slump give.
    """
    friction = drawn(law, n, rng) if friction is None else friction
    gap = rng.normal(8.0, 1.0, n)
    slump = np.maximum(rng.normal(1.5, 0.9, n), 0.0)
    length, spacing = rng.normal(152.0, 4.0, n), rng.normal(50.0, 0.2, n)
    place, time = rng.normal(0.0, 0.2, (n, 4)), rng.normal(0.0, 2e-4, (n, 4))
    leading = gap - slump if leading_mm is None else leading_mm
    places = np.stack([leading, leading + spacing, gap + length, gap + length + spacing], axis=1)
    # A place behind the start is not passed in the slide: a slumped edge has broken it before.
    places = np.maximum(places + place, 0.2)
    moved = slides(friction, rate_deg_s, places / 1000.0)
    return World(rate_deg_s, friction, moved.onset_deg, moved.times_s + time)


def analysed(made: World, beams: Literal[1, 2]) -> Found:
    """All slides as a rig with one or two beams sees them."""
    rows = []
    for onset, times, k in zip(
        made.onset_deg, made.edges_s, range(len(made.onset_deg)), strict=True
    ):
        first, second = Pass(times[0], times[2]), Pass(times[1], times[3])
        case = Case("four", first, second, ()) if beams == 2 else Case("two", first, None, ())
        at_edge = onset + made.rate_deg_s * case.first_edge_s
        solved = solve(case, GEOMETRY, float(at_edge), made.rate_deg_s, RESPONSE_MS)
        found = solved.found
        own = [one for one in found.sources if one.name not in ALIKE]
        u_time = math.hypot(found.law_s, *(one.time_s for one in own))
        creep = 0.0
        if solved.flag == "creep":
            creep = made.rate_deg_s * (case.first_edge_s - found.onset_s) / math.sqrt(3.0)
        u = math.hypot(made.rate_deg_s * u_time, law_floor_deg(made.rate_deg_s), creep)
        speed = np.array([found.speed_mm_s / 1000.0])
        true = made.friction.of(np.array([k])).level(np.array([0.08]), speed)[0]
        rows.append(
            (
                made.rate_deg_s * found.onset_s,
                u,
                found.mu_kinetic - true,
                math.hypot(found.law_mu_kinetic, *(one.mu_kinetic for one in found.sources)),
                solved.misfit,
                solved.slump_odds,
                "too quick" if solved.too_quick else solved.flag or "",
            )
        )
    columns = list(zip(*rows, strict=True)) or [()] * 7
    return Found(*(np.array(column) for column in columns))


def rms(values: Array) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(values**2)))
