"""Views and sections of the assembly on paper, from the solids themselves."""

from collections.abc import Callable, Iterable, Sequence

from manifold3d import CrossSection, Manifold

from hardware.model.shapes import Part
from hardware.tools.svg import INK, Point, Sheet

PLAN, SIDE, END = "plan", "side", "end"
At = Callable[[float, float], Point]


def turned(solid: Manifold, view: str) -> Manifold:
    """A solid with the eye above it: plan from above, side from −y, end from the uphill end."""
    if view == SIDE:
        return solid.rotate((-90, 0, 0))
    if view == END:
        return solid.rotate((0, 0, -90)).rotate((-90, 0, 0))
    return solid


def draw(sheet: Sheet, parts: Iterable[Part], view: str, at: At, width: float = 0.25) -> None:
    """Outlines of parts, the nearer over the farther."""
    flat = [(turned(part.solid, view), part.material.colour) for part in parts]
    for solid, colour in sorted(flat, key=lambda pair: pair[0].bounding_box()[5]):
        fill(sheet, solid.project(), at, colour, width)


def section(
    sheet: Sheet, parts: Iterable[Part], view: str, depth: float, at: At, width: float = 0.25
) -> None:
    """What a plane at a depth (the coordinate towards the eye) cuts."""
    for part in parts:
        fill(sheet, turned(part.solid, view).slice(depth), at, part.material.colour, width)


def fill(sheet: Sheet, flat: CrossSection, at: At, colour: str, width: float = 0.25) -> None:
    """A flat figure with its openings."""
    path = []
    for loop in flat.simplify(0.05).to_polygons():
        places = [at(float(x), float(y)) for x, y in loop]
        path.append("M" + " L".join(f"{x:.2f},{sheet.height - y:.2f}" for x, y in places) + " Z")
    if path:
        sheet.raw(
            f'<path d="{" ".join(path)}" fill="{colour}" stroke="{INK}" stroke-width="{width}" '
            'fill-rule="evenodd"/>'
        )


def cut_list(sheet: Sheet, place: Point, cuts: Sequence[tuple[int, str, str]]) -> None:
    """Number, length and name of what is sawn."""
    x, y = place
    sheet.text((x, y), "cut", 3.2, "start", bold=True)
    for i, (count, size, name) in enumerate(cuts, 1):
        sheet.text((x, y - 5 * i), f"{count} × {size}", 2.8, "start")
        sheet.text((x + 34, y - 5 * i), name, 2.8, "start")


def sawn(parts: Sequence[Part], name: str) -> tuple[int, str]:
    """How many upright plates have a name, and what one is sawn to: along the floor × high."""
    found = [part.solid.bounding_box() for part in parts if part.name.startswith(name)]
    box = found[0]
    along = max(box[3] - box[0], box[4] - box[1])
    return len(found), f"{along:.0f} × {box[5] - box[2]:.0f}"


def longest(parts: Sequence[Part], name: str) -> tuple[int, float]:
    """How many parts have a name, and their longest side in mm."""
    found = [part.solid.bounding_box() for part in parts if part.name.startswith(name)]
    box = found[0]
    return len(found), max(box[i + 3] - box[i] for i in range(3))
