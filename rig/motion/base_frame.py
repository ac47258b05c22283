"""The base under the hinge and the screw: what it carries, how far it yields, when it tips.

The sizes here are those of the drawings in `hardware/`. Each plywood side panel joins the hinge to
the base pivot; it is taken as three strips, so the real one is stiffer. Timber is of class C20, its
moduli from EN 338; those of plywood from memory, on the low side.
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from math import acos, atan2, cos, degrees, hypot, pi, radians, sin
from typing import TYPE_CHECKING, NamedTuple

from rig.motion.clearances import pivots_mm
from rig.motion.space_frame import Bar, Place, Section, displacements, rectangle
from rig.settings.model import Settings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

TIMBER_MM = (38.0, 89.0)
FOOT_MM = 25.0
"""Height of the feet."""
PANEL_MM = 18.0
PANEL_INNER_MM = 101.0
"""From the middle of the rig to the inner face of a side panel."""
CROSS_RAILS_MM = (-180.0, 816.0, 1260.0)
"""Middles of the cross rails, from the hinge; the first and the last stand on feet."""
FOOT_Y_MM = 520.0
RAIL_Y_MM = 180.0
"""The cradle's rails take hold of the hinge bar here."""
BOX_Y_MM = 47.0
"""The bearing box takes hold of its trunnions here."""
BAR_MM = 20.0
STRIP_MM = 100.0

TIMBER_GPA, TIMBER_SHEAR_GPA = 9.5, 0.59
PLYWOOD_GPA, PLYWOOD_SHEAR_GPA = 5.0, 0.35
STEEL_GPA, STEEL_SHEAR_GPA = 205.0, 79.0

YIELD_DEG = 0.1
"""Most that the base may yield under the board, as an inclination."""
TIPPING_N = 150.0
"""A firm push with one hand, a judgement."""


class Loads(NamedTuple):
    """Forces on the base at one inclination, in N: x uphill, z up."""

    on_hinge: tuple[float, float]
    on_base_pivot: tuple[float, float]


class Frame(NamedTuple):
    """A base as bars, where it is held, and where hinge and base pivot sit on it."""

    bars: list[Bar]
    held: dict[Place, str]
    hinges: list[Place]
    pivots: list[Place]


def loads(settings: Settings, angle_deg: float, force_n: float, weight_n: float) -> Loads:
    """Forces on hinge and base pivot while the screw pushes the cradle."""
    (cx, cz), (bx, bz) = pivots_mm(settings, angle_deg)
    length = hypot(cx - bx, cz - bz)
    push = (force_n * (cx - bx) / length, force_n * (cz - bz) / length)
    return Loads((push[0], push[1] - weight_n), (-push[0], -push[1]))


def yields_deg(
    settings: Settings, frame: Frame, cases: Sequence[tuple[float, Loads]]
) -> list[float]:
    """Inclination that the board loses because hinge and base pivot give way, in degrees.

    Args:
        settings: where the pivots are.
        frame: the base.
        cases: inclinations with their loads.
    """
    shared = [
        dict.fromkeys(frame.hinges, _half(load.on_hinge))
        | dict.fromkeys(frame.pivots, _half(load.on_base_pivot))
        for _, load in cases
    ]
    moved = displacements(frame.bars, frame.held, shared)
    return [
        _lost_deg(settings, frame, angle, of) for (angle, _), of in zip(cases, moved, strict=True)
    ]


def _half(force_n: tuple[float, float]) -> Place:
    return force_n[0] / 2, 0.0, force_n[1] / 2


def _lost_deg(
    settings: Settings, frame: Frame, angle_deg: float, moved: "dict[Place, NDArray[np.float64]]"
) -> float:
    """Screw and cradle keep their lengths; hinge and base pivot are where they moved to."""
    hinge, pivot = (
        (moved[places[0]] + moved[places[1]]) / 2 for places in (frame.hinges, frame.pivots)
    )
    (cx, cz), (bx, bz) = pivots_mm(settings, angle_deg)
    dx, dz = bx + pivot[0] - hinge[0], bz + pivot[2] - hinge[2]
    a, b, c = hypot(dx, dz), hypot(cx, cz), hypot(cx - bx, cz - bz)
    now = acos((a * a + b * b - c * c) / (2 * a * b)) + atan2(dz, dx)
    return degrees(atan2(cz, cx) - now)


def reference_frame(settings: Settings) -> Frame:
    """The base of the drawings: two side panels on long rails, on cross rails, on four feet."""
    height = settings.mechanics.hinge_height_mm
    _, (pivot_x, pivot_z) = pivots_mm(settings, 0)
    wide, tall = TIMBER_MM
    low, high = FOOT_MM + tall / 2, FOOT_MM + 1.5 * tall
    timber = rectangle(wide, tall, TIMBER_GPA, TIMBER_SHEAR_GPA)
    strip = rectangle(PANEL_MM, STRIP_MM, PLYWOOD_GPA, PLYWOOD_SHEAR_GPA)
    bar = _round(BAR_MM)
    y = PANEL_INNER_MM + PANEL_MM / 2
    bars: list[Bar] = []
    for side in (-y, y):
        hinge, pivot = (0.0, side, height), (pivot_x, side, height + pivot_z)
        stations = sorted((*CROSS_RAILS_MM, 0.0, pivot_x))
        bars += _chain([(x, side, high) for x in stations], timber)
        bars += [Bar((x, side, low), (x, side, high), timber) for x in CROSS_RAILS_MM]
        bars += [Bar(hinge, pivot, strip), Bar((0.0, side, high), hinge, strip)]
        bars += [Bar((pivot_x, side, high), pivot, strip)]
    for x in (CROSS_RAILS_MM[0], CROSS_RAILS_MM[2]):
        bars += _chain([(x, s, low) for s in (-FOOT_Y_MM, -y, y, FOOT_Y_MM)], timber)
    bars += _chain([(CROSS_RAILS_MM[1], s, low) for s in (-y, y)], timber)
    bars += _chain([(0.0, s, height) for s in (-RAIL_Y_MM, -y, y, RAIL_Y_MM)], bar)
    at = (pivot_x, height + pivot_z)
    bars += _chain([(at[0], s, at[1]) for s in (-y, -BOX_Y_MM, BOX_Y_MM, y)], bar)
    feet = [
        (x, s, low) for x in (CROSS_RAILS_MM[0], CROSS_RAILS_MM[2]) for s in (-FOOT_Y_MM, FOOT_Y_MM)
    ]
    held = dict.fromkeys(feet, "z") | {feet[0]: "xyz", feet[1]: "xz"}
    return Frame(
        bars,
        held,
        [(0.0, s, height) for s in (-RAIL_Y_MM, RAIL_Y_MM)],
        [(at[0], s, at[1]) for s in (-BOX_Y_MM, BOX_Y_MM)],
    )


def _round(diameter_mm: float) -> Section:
    e, g = STEEL_GPA * 1000, STEEL_SHEAR_GPA * 1000
    area, inertia = pi / 4 * diameter_mm**2, pi / 64 * diameter_mm**4
    return Section(e * area, e * inertia, e * inertia, 2 * g * inertia)


def _chain(places: list[Place], section: Section) -> Iterator[Bar]:
    for start, end in pairwise(places):
        yield Bar(start, end, section)


def tipping_n(settings: Settings, g_m_s2: float) -> tuple[float, float]:
    """Push at the edge of the board at the soft limit that lifts two feet: sideways, downhill."""
    m = settings.mechanics
    turn = radians(settings.linkage.soft_limit_deg)
    height = m.hinge_height_mm + settings.board.length_mm * sin(turn)
    weights = (m.moving_mass_kg * g_m_s2, m.base_mass_kg * g_m_s2)
    lower = CROSS_RAILS_MM[0]
    at = (m.centre_of_mass_mm * cos(turn), m.base_centre_mm)
    held = sum(w * (x - lower) for w, x in zip(weights, at, strict=True))
    return sum(weights) * FOOT_Y_MM / height, held / height


def figures_of(
    settings: Settings, force_n: Callable[[float], float], weight_n: float, angles: list[float]
) -> tuple[float, float, list[float]]:
    """Most push along the floor and most uplift on the hinge, and the yield at each angle."""
    frame = reference_frame(settings)
    found = [loads(settings, angle, force_n(angle), weight_n) for angle in angles]
    along = max(abs(load.on_hinge[0]) for load in found)
    uplift = max(load.on_hinge[1] for load in found)
    return along, uplift, yields_deg(settings, frame, list(zip(angles, found, strict=True)))
