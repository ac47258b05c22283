"""The whole rig as one assembly at any inclination, and what can be asked of it.

Every size comes from the settings or from `numbers.py`; drawings, masses, pictures, tests and files
for the printer are all made from these solids.
"""

from collections.abc import Iterator
from functools import cached_property, lru_cache
from math import atan2, degrees

import numpy as np
from manifold3d import Manifold

from hardware.model.base import base
from hardware.model.cradle import board, cradle
from hardware.model.numbers import NUMBERS, Numbers
from hardware.model.shapes import Group, Part, union
from hardware.model.strut import box, tube
from rig.motion.clearances import pivots_mm
from rig.settings.model import Settings

TOUCH_MM3 = 2.0
"""Less than this is a contact of faces, not a collision."""


class Rig:
    """The parts of a rig, each in its own group's frame.

    Args:
        settings: the rig's settings.
        numbers: what the model sets apart from them.
    """

    def __init__(self, settings: Settings, numbers: Numbers = NUMBERS) -> None:
        self.settings = settings
        self.numbers = numbers
        self.parts = [
            *base(settings, numbers),
            *cradle(settings, numbers),
            *board(settings, numbers),
            *box(settings, numbers),
            *tube(settings, numbers),
        ]

    def of(self, *groups: Group) -> list[Part]:
        """The parts of some groups."""
        return [part for part in self.parts if part.group in groups]

    def placed(self, solid: Manifold, group: Group, angle_deg: float) -> Manifold:
        """A solid of a group where it is at an inclination, in the frame of the floor."""
        height = self.settings.mechanics.hinge_height_mm
        if group in (Group.CRADLE, Group.BOARD):
            return solid.rotate((0, -angle_deg, 0)).translate((0, 0, height))
        if group in (Group.BOX, Group.TUBE):
            (cx, cz), (bx, bz) = pivots_mm(self.settings, angle_deg)
            at = (bx, bz) if group is Group.BOX else (cx, cz)
            turn = degrees(atan2(cx - bx, cz - bz))
            return solid.rotate((0, turn, 0)).translate((at[0], 0, height + at[1]))
        return solid

    def at(self, angle_deg: float) -> Iterator[Part]:
        """Every part in the frame of the floor."""
        for part in self.parts:
            yield part._replace(solid=self.placed(part.solid, part.group, angle_deg))

    def whole(self, angle_deg: float, *groups: Group) -> Manifold:
        """All parts of some groups as one solid where they are at an inclination."""
        placed = [self.placed(self._solids[group], group, angle_deg) for group in groups]
        return placed[0] if len(placed) == 1 else union(placed)

    @cached_property
    def _solids(self) -> dict[Group, Manifold]:
        return {group: union(part.solid for part in self.of(group)) for group in _MOVING}

    @cached_property
    def _whole(self) -> dict[Group, Manifold]:
        found = dict(self._solids)
        found[Group.CRADLE] += found.pop(Group.BOARD)
        return found

    def collisions(self, angle_deg: float) -> list[str]:
        """Pairs of parts of different groups that fill the same place at an inclination."""
        placed = {g: self.placed(s, g, angle_deg) for g, s in self._whole.items()}
        groups = list(placed)
        found: list[str] = []
        for i, one in enumerate(groups):
            for other in groups[i + 1 :]:
                if (placed[one] ^ placed[other]).volume() > TOUCH_MM3:
                    found += self._pairs(one, other, angle_deg)
        return found

    def _pairs(self, one: Group, other: Group, angle_deg: float) -> Iterator[str]:
        sides = []
        for group in (one, other):
            both = (group, Group.BOARD) if group is Group.CRADLE else (group,)
            sides.append([(p, self.placed(p.solid, p.group, angle_deg)) for p in self.of(*both)])
        for part, solid in sides[0]:
            for against, its in sides[1]:
                if _apart(solid, its):
                    continue
                volume = (solid ^ its).volume()
                if volume > 0.1:
                    yield f"{part.name} in {against.name} at {angle_deg:g}°: {volume:.0f} mm³"

    def overlaps(self) -> list[str]:
        """Pairs of parts of one group that fill the same place."""
        found = []
        for group in Group:
            parts = self.of(Group.CRADLE, Group.BOARD) if group is Group.CRADLE else self.of(group)
            if group is Group.BOARD:
                continue
            for i, part in enumerate(parts):
                for other in parts[i + 1 :]:
                    if not _apart(part.solid, other.solid):
                        volume = (part.solid ^ other.solid).volume()
                        if volume > TOUCH_MM3:
                            found.append(f"{part.name} in {other.name}: {volume:.0f} mm³")
        return found

    def mass_kg(self, *groups: Group) -> float:
        """Mass of some groups."""
        return sum(part.mass_kg for part in self.of(*groups))

    def centre_mm(self, *groups: Group) -> tuple[float, float]:
        """Centre of mass of some groups in their frame, in x and z."""
        total = self.mass_kg(*groups)
        sums = [0.0, 0.0]
        for part in self.of(*groups):
            x, z = centre(part.solid)
            sums[0] += part.mass_kg * x
            sums[1] += part.mass_kg * z
        return sums[0] / total, sums[1] / total


@lru_cache(maxsize=4)
def rig_of(settings: Settings, numbers: Numbers = NUMBERS) -> Rig:
    """The rig of these settings, made once: its solids take a second."""
    return Rig(settings, numbers)


_MOVING = (Group.BASE, Group.CRADLE, Group.BOARD, Group.BOX, Group.TUBE)


def centre(solid: Manifold) -> tuple[float, float]:
    """Centre of a solid in x and z, from its surface."""
    mesh = solid.to_mesh()
    corners = mesh.vert_properties[:, :3][mesh.tri_verts].astype(float)
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    sixths = (a * np.cross(b, c)).sum(axis=1)
    middle = ((a + b + c) * sixths[:, None]).sum(axis=0) / 4 / sixths.sum()
    return float(middle[0]), float(middle[2])


def _apart(one: Manifold, other: Manifold) -> bool:
    a, b = one.bounding_box(), other.bounding_box()
    return any(a[i] > b[i + 3] or b[i] > a[i + 3] for i in range(3))
