"""What stands on the floor: frame, side panels, bearings, switches, boxes."""

from collections.abc import Iterator

from manifold3d import Manifold

from hardware.model.cams import switch_height
from hardware.model.numbers import Numbers
from hardware.model.shapes import (
    ALUMINIUM,
    ENCLOSURE,
    PLASTIC,
    PLYWOOD,
    RUBBER,
    SPRUCE,
    STEEL,
    SWITCH,
    Group,
    Part,
    Point,
    block,
    both,
    plate,
    rod,
    slot,
)
from rig.motion.clearances import pivots_mm
from rig.settings.model import Settings

RAIL_BOLTS = (-70.0, 240.0, 560.0, 900.0)
"""M8 through side panel and long rail, from the hinge."""


def base(settings: Settings, n: Numbers) -> Iterator[Part]:
    """All parts that stay where they are."""
    yield from _timber(n)
    yield from _panels(settings, n)
    yield from _bearings(settings, n)
    yield from _switches(settings, n)
    yield from _boxes(settings, n)


def _part(name: str, item: str, solid: Manifold, material: object) -> Part:
    return Part(name, item, Group.BASE, solid, material)  # type: ignore[arg-type]


def _timber(n: Numbers) -> Iterator[Part]:
    wide, tall = n.timber
    low, high = n.foot, n.foot + tall
    halves = (n.cross_half, n.middle_half, n.cross_half)
    names = ("cross rail, lower", "middle rail", "cross rail, upper")
    for name, x, half in zip(names, n.cross_rails, halves, strict=True):
        solid = block((x - wide / 2, -half, low), (x + wide / 2, half, high))
        yield _part(name, "frame timber", solid, SPRUCE)
    inner = n.panel_inner + n.ply
    rail = block((n.long_rail[0], inner, high), (n.long_rail[1], inner + wide, high + tall))
    for x in RAIL_BOLTS:
        rail -= rod("y", 0, 300, 8.5, (x, n.foot + 1.5 * n.timber[1]))
    for side, solid in zip("+-", both(rail), strict=True):
        yield _part(f"long rail {side}", "frame timber", solid, SPRUCE)
    x, y = n.stop_post
    post = block((x - wide / 2, y - tall / 2, low), (x + wide / 2, y + tall / 2, 760))
    yield _part("stop post", "frame timber", post, SPRUCE)
    for x in (n.cross_rails[0], n.cross_rails[2]):
        for foot in both(rod("z", 0, n.foot, 40, (x, n.foot_y))):
            yield _part("foot", "feet", foot, RUBBER)


def outline(settings: Settings, n: Numbers) -> list[Point]:
    """Outline of a side panel, in x from the hinge and z from the floor."""
    h = settings.mechanics.hinge_height_mm
    _, (px, pz) = pivots_mm(settings, 0)
    low, (start, end) = n.foot + n.timber[1], n.panel_ends
    top, beyond = h + n.above_hinge, px + 55
    at_pivot = h + pz + n.above_pivot
    return [
        (start, low), (end, low), (end, n.panel_end_height), (beyond, at_pivot),
        (45, top), (-45, top), (start, top - 90),
    ]  # fmt: skip


def panel_holes(settings: Settings) -> tuple[tuple[Point, float], ...]:
    """Places of the hinge's and the base pivot's holes, with their diameters."""
    h = settings.mechanics.hinge_height_mm
    _, (px, pz) = pivots_mm(settings, 0)
    return ((0.0, h), 30.0), ((px, h + pz), 30.0)


def _panels(settings: Settings, n: Numbers) -> Iterator[Part]:
    solid = plate(outline(settings, n), n.panel_inner, n.panel_inner + n.ply)
    for (x, z), wide in panel_holes(settings):
        solid -= rod("y", 0, 200, wide, (x, z))
        for s in (-45, 45):
            solid -= rod("y", 0, 200, 11, (x + s, z))
    for x in RAIL_BOLTS:
        solid -= rod("y", 0, 200, 8.5, (x, n.foot + 1.5 * n.timber[1]))
    for side, panel in zip("+-", both(solid), strict=True):
        yield _part(f"side panel {side}", "panels", panel, PLYWOOD)
    low = n.foot + n.timber[1]
    start = n.panel_ends[0]
    h, y = settings.mechanics.hinge_height_mm, n.panel_inner
    back = block((start, -y, low), (start + n.ply, y, h - 90))
    yield _part("back board", "panels", back, PLYWOOD)
    tie = block((n.tie_x, -y, low), (n.tie_x + n.ply, y, low + 150))
    yield _part("tie board", "panels", tie, PLYWOOD)


def flange_bearing(at: Point, face: float) -> Manifold:
    """A two-hole flange bearing unit for a 20 mm bar, lying along x on a face across y."""
    x, z = at
    oval = Manifold.batch_hull(
        [rod("y", face, face + 12, 60, at)]
        + [rod("y", face, face + 12, 23, (x + s * 45, z)) for s in (-1, 1)]
    )
    solid = oval + rod("y", face, face + 33, 46, at)
    solid -= rod("y", face - 1, face + 40, 20.4, at)
    for s in (-1, 1):
        solid -= rod("y", face - 1, face + 40, 12, (x + s * 45, z))
    return solid


def _bearings(settings: Settings, n: Numbers) -> Iterator[Part]:
    face = n.panel_inner + n.ply
    for name, (place, _) in zip(("hinge", "base pivot"), panel_holes(settings), strict=True):
        for solid in both(flange_bearing(place, face)):
            yield _part(f"{name} bearing", "flange bearings", solid, STEEL)


def _switches(settings: Settings, n: Numbers) -> Iterator[Part]:
    """Plunger switches with their rollers up, below the hinge bar, on plates with slots."""
    h = settings.mechanics.hinge_height_mm
    top = h - switch_height(n) - n.roller / 2
    inner = n.panel_inner
    for side in (1, -1):
        y = side * n.cam_y

        def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Manifold:
            solid = block(low, high)
            return solid if side > 0 else solid.mirror((0, 1, 0))  # noqa: B023 - used at once

        which = "lower" if side > 0 else "upper"
        adjust = box((-30, inner - 5, top - 80), (30, inner, top - 8))
        for x in (-22.0, 22.0):
            for z in (top - 68, top - 20):
                adjust -= slot("y", -200, 200, 5.5, (x, z - 4), (x, z + 4))
        body = box((-15, inner - 25, top - 70), (15, inner - 5, top - 6))
        body += rod("z", top - 7, top + 3, 10, (0, y))
        yield _part(f"switch plate {which}", "switch plates", adjust, ALUMINIUM)
        yield _part(f"limit switch {which}", "limit switches S2 S3", body, SWITCH)


def _boxes(settings: Settings, n: Numbers) -> Iterator[Part]:
    _, (px, pz) = pivots_mm(settings, 0)
    z = settings.mechanics.hinge_height_mm + pz
    outer = n.panel_inner + n.ply + n.timber[0]
    high = n.foot + n.timber[1]
    box = block((900, outer, high), (1240, outer + 150, high + 300))
    yield _part("electronics box", "enclosure", box, ENCLOSURE)
    y = -n.middle_half
    bracket = block((px - 60, y - n.ply, n.foot), (px + 60, y, z + 50))
    bracket -= rod("y", y - 30, y + 10, 12, (px, z))
    yield _part("crank bracket", "panels", bracket, PLYWOOD)
    bush = rod("y", y - n.ply, y, 11.8, (px, z)) - rod("y", y - 30, y + 10, 8.3, (px, z))
    yield _part("crank bush", "bushes", bush, PLASTIC)
    x, at = n.cross_rails[1], n.prop_y
    bolt = rod("y", at - 26, at + 26, 10, (x, high + n.prop_foot))
    yield _part("prop bolt", "prop", bolt, STEEL)
    for s in (-1, 1):
        near, far = sorted((at + s * 17, at + s * 21))
        angle = block((x - 19, near, high), (x + 19, far, high + 30)) - bolt
        near, far = sorted((at + s * 17, at + s * 47))
        angle += block((x - 19, near, high), (x + 19, far, high + 4))
        yield _part("prop foot angle", "prop angles", angle, STEEL)
    px, py = n.stop_post
    stop = block((px - 40, py - 40, 760), (px + 40, py + 40, 820))
    stop += rod("z", 820, 845, 40, (px, py))
    yield _part("stop box", "emergency stop S1", stop, Materials.STOP)


class Materials:
    """Colours of what a person looks for."""

    STOP = ENCLOSURE._replace(colour="#c8322b")
