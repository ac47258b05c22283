"""Drawing of one part: three views with their outer sizes, and every opening with its place."""

from itertools import pairwise

import numpy as np
from manifold3d import Manifold

from hardware.model.drawn import FREE, Drawn
from hardware.tools.svg import INK, THIN, Point, Sheet

SCALES = (1, 2, 5, 10)
LARGEST_MM = 190.0
SKIN_MM = 0.6
"""A pocket is looked for this deep below a face."""
VIEWS = {"top": (0, 0, 0), "front": (-90, 0, 0), "right": (-90, 0, -90)}
"""Turns that bring a view onto the paper."""

Loop = list[Point]


def outline(solid: Manifold, view: str) -> list[Loop]:
    """Outline of a view and the openings that go through, shifted to their lower left corner."""
    turn = VIEWS[view]
    turned = solid.rotate((0, 0, turn[2])).rotate((turn[0], 0, 0))
    loops = [
        np.asarray(loop, dtype=float) for loop in turned.project().simplify(0.01).to_polygons()
    ]
    low = np.min([loop.min(axis=0) for loop in loops], axis=0)
    return [[(float(x), float(y)) for x, y in loop - low] for loop in loops]


def pockets(solid: Manifold, view: str) -> list[Loop]:
    """Openings in the faces of a view, near and far, that do not go through."""
    turn = VIEWS[view]
    turned = solid.rotate((0, 0, turn[2])).rotate((turn[0], 0, 0))
    box = turned.bounding_box()
    through = {_mark(loop) for loop in outline(solid, view)}
    found: dict[tuple[float, ...], Loop] = {}
    for height in (box[2] + SKIN_MM, box[5] - SKIN_MM):
        for ring in turned.slice(height).simplify(0.01).to_polygons():
            loop = [(float(x - box[0]), float(y - box[1])) for x, y in ring]
            if area(loop) < 0 and _mark(loop) not in through:
                found[_mark(loop)] = loop
    return list(found.values())


def _mark(loop: Loop) -> tuple[float, ...]:
    xs, ys = [x for x, _ in loop], [y for _, y in loop]
    return tuple(round(v, 0) for v in (min(xs), max(xs), min(ys), max(ys)))


def area(loop: Loop) -> float:
    """Twice the area; rims run counter-clockwise, openings the other way."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(loop, loop[1:] + loop[:1], strict=True))


def extent(loops: list[Loop]) -> Point:
    """Width and height of a view."""
    xs = [x for loop in loops for x, _ in loop]
    ys = [y for loop in loops for _, y in loop]
    return max(xs), max(ys)


def openings(loops: list[Loop]) -> list[str]:
    """Size and centre of each opening."""
    found = []
    for loop in loops:
        if area(loop) >= 0:
            continue
        xs, ys = [x for x, _ in loop], [y for _, y in loop]
        wide, tall = max(xs) - min(xs), max(ys) - min(ys)
        x, y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
        is_round = len(loop) > 8 and abs(wide - tall) < 0.05
        size = f"⌀{wide:.3g}" if is_round else f"{wide:.3g} × {tall:.3g}"
        found.append((round(y, 1), round(x, 1), f"{size} at {x:.4g}, {y:.4g}"))
    return [text for _, _, text in sorted(found)]


def part_sheet(name: str, part: Drawn) -> str:
    """Three views of a part with their sizes, openings, stock and notes."""
    views = {view: outline(part.solid, view) for view in VIEWS}
    sizes = {view: extent(loops) for view, loops in views.items()}
    largest = max(max(size) for size in sizes.values())
    scale = next((s for s in SCALES if largest / s <= LARGEST_MM), SCALES[-1])
    (wide, deep), (_, tall) = sizes["top"], sizes["front"]
    wide, deep, tall = wide / scale, deep / scale, tall / scale
    blind = {view: pockets(part.solid, view) for view in VIEWS}
    rows = [f"{view}: {text}" for view, loops in views.items() for text in openings(loops)]
    for view, loops in blind.items():
        rows += [f"{view}, blind: {text}" for text in openings(loops)]
    notes = [f"{part.number} × {part.stock}", *part.notes, FREE]
    foot = 10 + 4.6 * len(notes)
    list_high = 4.6 * (len(rows) + 1)
    column = 22 + wide + 34
    right = sizes["right"][0] / scale
    width = max(column + max(right + 24, 66.0), 8 + 1.72 * max(map(len, notes)), 110.0)
    low = foot + 16
    front = max(low + deep + 26, foot + list_high + 24)
    height = front + max(tall, sizes["right"][1] / scale) + 22
    sheet = Sheet(width, height, f"{name.replace('_', ' ')}, mm (1:{scale})")
    spots = {"top": (22.0, front - 26 - deep), "front": (22.0, front), "right": (column, front)}
    for view, loops in views.items():
        _view(sheet, view, loops, spots[view], sizes[view], scale)
        for loop in blind[view]:
            x, y = spots[view]
            closed = [*loop, loop[0]]
            for a, b in pairwise(closed):
                start, end = ((x + p[0] / scale, y + p[1] / scale) for p in (a, b))
                sheet.line(start, end, 0.2, THIN, "1 0.6")
    if rows:
        y = spots["front"][1] - 20
        sheet.text((column - 10, y), "openings, from the lower left corner:", 2.6, "start", THIN)
        for i, row in enumerate(rows, 1):
            sheet.text((column - 10, y - 4.6 * i), row, 2.6, "start")
    for i, note in enumerate(notes):
        y = foot - 4.6 * (i + 1)
        sheet.text((8, y), note, 2.9, "start", bold=i == 0)
    return sheet.render()


def _view(sheet: Sheet, view: str, loops: list[Loop], spot: Point, size: Point, scale: int) -> None:
    x, y = spot
    path = []
    for loop in loops:
        places = [f"{x + px / scale:.2f},{sheet.height - y - py / scale:.2f}" for px, py in loop]
        path.append("M" + " L".join(places) + " Z")
    sheet.raw(
        f'<path d="{" ".join(path)}" fill="#eef1f4" stroke="{INK}" stroke-width="0.35" '
        'fill-rule="evenodd"/>'
    )
    wide, tall = size[0] / scale, size[1] / scale
    sheet.dimension((x, y), (x + wide, y), f"{size[0]:.4g}", -6)
    sheet.dimension((x, y), (x, y + tall), f"{size[1]:.4g}", 6)
    sheet.text((x + wide / 2, y - 12), view, 2.6, colour=THIN)
