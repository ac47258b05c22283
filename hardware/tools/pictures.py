"""Draws the pictures, and writes the small parts as STL files for a printer.

python -m hardware.tools.pictures [--stl]
"""

import struct
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from matplotlib.image import imsave
from numpy.typing import NDArray

from hardware.model import belt, loose, small
from hardware.model.assembly import Rig, rig_of
from hardware.model.numbers import NUMBERS
from hardware.model.shapes import PLASTIC, Group, Part
from hardware.tools.render import render
from rig.motion.clearances import pivots_mm
from rig.settings.model import Settings

HARDWARE = Path(__file__).parents[1]

View = tuple[tuple[int, int], tuple[float, float], tuple[float, float, float], float]


def shown(angle_deg: float, *, extras: Callable[[Rig], Iterator[Part]] | None = None) -> list[Part]:
    """The whole rig with its rollers, and more."""
    rig = rig_of(Settings())
    parts = [*rig.at(angle_deg), *loose.rollers(rig.settings, rig.numbers, angle_deg)]
    return [*parts, *(extras(rig) if extras else ())]


def whole() -> list[Part]:
    """At 20°."""
    return shown(20)


def raised() -> list[Part]:
    """At 45°, the prop set and the crank put on."""

    def extras(rig: Rig) -> Iterator[Part]:
        yield from loose.prop(rig.settings, rig.numbers, 45)
        yield from loose.crank(rig.settings, rig.numbers, 40)

    return shown(45, extras=extras)


def strut() -> list[Part]:
    """The strut with the board level, without board, near panel and near rails."""
    hidden = ("side panel -", "long rail -", "electronics box", "board", "stop post", "stop box")
    return [p for p in shown(0) if p.name not in hidden and p.name != "catch"]


def hinge() -> list[Part]:
    """Cams and switches between the panels, seen through the near panel."""
    keep = (
        "hinge",
        "cam",
        "switch",
        "limit",
        "roller",
        "shaft",
        "cradle rail",
        "back",
        "side panel +",
    )
    return [p for p in shown(0) if p.name.startswith(keep)]


def pivot() -> list[Part]:
    """Lugs, pin and head at 30°."""
    keep = ("lug", "head", "pivot pin", "push tube", "tie rods", "crossbar")
    return [p for p in shown(30) if p.name.startswith(keep)]


TIMBER = ("long rail", "cross rail", "middle rail", "side panel", "back", "tie", "foot")
MEASURING = ("beam", "sensor", "angle sensor", "catch", "clamp", "board")


def order() -> list[list[Part]]:
    """The rig as it grows: base, cradle on its hinge, strut and prop, board and sensors."""
    parts = shown(15)
    base = [p for p in parts if p.group in (Group.BASE, Group.LOOSE)]
    rig = rig_of(Settings())
    cradle = [p for p in parts if p.group is Group.CRADLE and not p.name.startswith(MEASURING)]
    stubs = [p for p in parts if p.name == "clamp stub"]
    strut_parts = [p for p in parts if p.group in (Group.BOX, Group.TUBE)]
    prop = list(loose.prop(rig.settings, rig.numbers, 15))
    bare = [p for p in base if p.name.startswith((*TIMBER, "hinge bearing", "base pivot"))]
    return [bare, bare + cradle + stubs, base + cradle + stubs + strut_parts + prop, parts]


def transport() -> list[Part]:
    """Base and cradle apart, the strut folded down, the board taken off."""
    rig = rig_of(Settings())
    parts = [p for p in rig.at(0) if p.group is Group.BASE]
    _, (x, z) = pivots_mm(rig.settings, 0)
    height = rig.settings.mechanics.hinge_height_mm + z
    for part in rig.of(Group.BOX, Group.TUBE):
        low = rig.settings.mechanics.tube_length_mm + rig.settings.mechanics.screw_start_mm + 8
        solid = part.solid.translate((0, 0, low)) if part.group is Group.TUBE else part.solid
        parts.append(part._replace(solid=solid.rotate((0, -78, 0)).translate((x, 0, height))))
    for part in rig.of(Group.CRADLE):
        parts.append(part._replace(solid=part.solid.translate((0, 1150, 130))))
    return parts


def blade() -> list[Part]:
    """The blade at its highest place, instead of the catch."""
    rig = rig_of(Settings())
    at = rig.settings.beam.position_mm + rig.settings.blade.thickness_mm
    at += rig.settings.blade.overshoot_mm
    parts = [p for p in shown(0) if p.name != "catch"]
    for part in (*loose.blade(rig.settings, rig.numbers, at), *belt.drive(rig.numbers)):
        parts.append(part._replace(solid=rig.placed(part.solid, Group.CRADLE, 0)))
    return parts


def printed() -> list[Part]:
    """The printed parts side by side."""
    parts = []
    x = y = row = 0.0
    for name, solid in small.printed(Settings(), NUMBERS).items():
        box = solid.bounding_box()
        if x > 230:
            x, y, row = 0.0, y + row + 25, 0.0
        placed = solid.translate((x - box[0], y - box[1], -box[2]))
        material = Group.LOOSE
        parts.append(Part(name, name, material, placed, PLASTIC))
        x, row = x + box[3] - box[0] + 25, max(row, box[4] - box[1])
    return parts


PICTURES: dict[str, tuple[Callable[[], list[Part]], View]] = {
    "rig.png": (whole, ((1400, 900), (-32, 20), (500, 0, 480), 0.56)),
    "raised.png": (raised, ((1300, 1150), (-30, 16), (480, 0, 700), 0.62)),
    "transport.png": (transport, ((1300, 850), (-28, 28), (560, 450, 300), 0.44)),
    "strut.png": (strut, ((1300, 800), (-20, 14), (560, 0, 360), 0.95)),
    "hinge.png": (hinge, ((1100, 800), (-38, 24), (-20, 0, 510), 2.2)),
    "pivot.png": (pivot, ((1100, 800), (-40, 10), (420, 0, 740), 2.4)),
    "blade.png": (blade, ((1300, 850), (-35, 28), (560, 0, 560), 0.9)),
    "parts.png": (printed, ((1300, 850), (-25, 50), (140, 185, 20), 2.3)),
}
"""Name: what it shows; size in pixels, where the eye stands, the middle, pixels per mm."""


ORDER: View = ((760, 560), (-32, 20), (500, 0, 420), 0.33)


def drawn_order() -> NDArray[np.uint8]:
    """The four steps on one sheet, from the upper left."""
    tiles = [render(step, *ORDER) for step in order()]
    return np.vstack([np.hstack(tiles[:2]), np.hstack(tiles[2:])])


def stl(name: str) -> bytes:
    """A printed part as a binary STL file, its facets in an order of their own."""
    mesh = small.printed(Settings(), NUMBERS)[name].to_mesh()
    corners = mesh.vert_properties[:, :3].astype(np.float32)[mesh.tri_verts]
    facets = sorted(tuple(float(x) for x in facet.ravel()) for facet in corners)
    data = b"".join(struct.pack("<12fH", 0, 0, 0, *facet, 0) for facet in facets)
    return name.encode().ljust(80, b" ") + struct.pack("<I", len(facets)) + data


if __name__ == "__main__":
    for file in [text for text in sys.argv[1:] if not text.startswith("--")] or PICTURES:
        if file == "order.png":
            imsave(HARDWARE / "pictures" / file, drawn_order())
            continue
        make, view = PICTURES[file]
        imsave(HARDWARE / "pictures" / file, render(make(), *view))
    if "--stl" in sys.argv:
        for old in (HARDWARE / "stl").glob("*.stl"):
            old.unlink()
        for part_name in small.printed(Settings(), NUMBERS):
            (HARDWARE / "stl" / f"{part_name}.stl").write_bytes(stl(part_name))
