"""A few solids, and parts with name, place, material and mass."""

from collections.abc import Iterable
from enum import Enum
from typing import NamedTuple

import numpy as np
from manifold3d import CrossSection, Manifold, OpType, set_circular_segments

set_circular_segments(48)


class Group(Enum):
    """What moves together."""

    BASE = "base"
    CRADLE = "cradle"
    BOARD = "board"
    BOX = "box"
    TUBE = "tube"
    PROP = "prop"
    LOOSE = "loose"


class Material(NamedTuple):
    """Mass per volume of the drawn outline, and the colour in pictures."""

    kg_m3: float
    colour: str


SPRUCE = Material(450, "#d8b98a")
PLYWOOD = Material(680, "#e3cda6")
STEEL = Material(7850, "#8d98a8")
ALUMINIUM = Material(2700, "#b8bcc2")
PROFILE_40 = Material(1000, "#c3c8cf")  # 1.6 kg/m of a light slotted profile, from memory
PROFILE_20 = Material(1200, "#c3c8cf")  # 0.48 kg/m, from memory
BRONZE = Material(8800, "#c9a227")
PLASTIC = Material(900, "#e8a33d")  # printed, not solid
MOTOR = Material(7500, "#4a4f57")
SWITCH = Material(1300, "#2b2d31")
ENCLOSURE = Material(450, "#3f6e9c")  # steel sheet and what is in it
RUBBER = Material(1100, "#333333")
RED = Material(7850, "#d9534f")
BOARD = Material(680, "#e6cfa3")


class Part(NamedTuple):
    """One piece of the rig."""

    name: str
    item: str
    """Row of the bill of materials."""
    group: Group
    solid: Manifold
    material: Material

    @property
    def mass_kg(self) -> float:
        """Of the drawn volume."""
        return self.solid.volume() * self.material.kg_m3 * 1e-9


Point = tuple[float, float]
Place = tuple[float, float, float]


def block(low: Place, high: Place) -> Manifold:
    """A box between two corners."""
    size = [b - a for a, b in zip(low, high, strict=True)]
    return Manifold.cube(size).translate(low)


def rod(axis: str, low: float, high: float, outer: float, at: Point = (0.0, 0.0)) -> Manifold:
    """A round bar along an axis; `at` are its two other coordinates in the order x, y, z."""
    bar = Manifold.cylinder(high - low, outer / 2).translate((0, 0, low))
    if axis == "x":
        return bar.rotate((0, 90, 0)).translate((0, at[0], at[1]))
    if axis == "y":
        return bar.rotate((-90, 0, 0)).translate((at[0], 0, at[1]))
    return bar.translate((at[0], at[1], 0))


def pipe(axis: str, low: float, high: float, outer: float, inner: float) -> Manifold:
    """A tube along an axis through the origin."""
    return rod(axis, low, high, outer) - rod(axis, low - 1, high + 1, inner)


def slot(axis: str, low: float, high: float, wide: float, a: Point, b: Point) -> Manifold:
    """What a slot between two points takes away."""
    return Manifold.batch_hull([rod(axis, low, high, wide, a), rod(axis, low, high, wide, b)])


def plate(points: Iterable[Point], low_y: float, high_y: float) -> Manifold:
    """A plate across y, with the outline given in x and z."""
    outline = np.array([[x, z] for x, z in points])
    flat = Manifold.extrude(CrossSection([outline]), high_y - low_y)
    return flat.rotate((90, 0, 0)).translate((0, high_y, 0))


def both(solid: Manifold) -> tuple[Manifold, Manifold]:
    """A solid and its mirror image on the other side of the rig."""
    return solid, solid.mirror((0, 1, 0))


def union(solids: Iterable[Manifold]) -> Manifold:
    """All of them as one."""
    return Manifold.batch_boolean(list(solids), OpType.Add)
