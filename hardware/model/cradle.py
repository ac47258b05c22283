"""What turns with the board: hinge bar, cradle, lugs, clamps, side rails and what sits on them."""

from collections.abc import Iterator

from manifold3d import Manifold

from hardware.model import small
from hardware.model.numbers import Numbers
from hardware.model.shapes import (
    ALUMINIUM,
    BOARD,
    PLASTIC,
    PROFILE_20,
    PROFILE_40,
    RED,
    SPRUCE,
    STEEL,
    SWITCH,
    Group,
    Material,
    Part,
    block,
    both,
    rod,
    slot,
)
from rig.settings.model import Settings


def _part(name: str, item: str, solid: Manifold, material: Material) -> Part:
    return Part(name, item, Group.CRADLE, solid, material)


def top(n: Numbers) -> float:
    """Plane that the board lies on, above the hinge axis."""
    return n.rail_low + n.rail


def cradle(settings: Settings, n: Numbers) -> Iterator[Part]:
    """All that is bolted to the rails; x from the hinge, z above the plane of hinge and pivot."""
    yield from _hinge(settings, n)
    yield from _rails(settings, n)
    yield from _lugs(settings, n)
    yield from _clamps(n)
    yield from _prop_pin(n)
    yield from _measuring(settings, n)


def board(settings: Settings, n: Numbers) -> Iterator[Part]:
    """The reference board."""
    yield sheet(settings, n, n.board_thick)


def sheet(settings: Settings, n: Numbers, thick: float) -> Part:
    """A board without a frame, with its hole."""
    of, low = settings.board, top(n)
    half = of.width_mm / 2
    solid = block((0, -half, low), (of.length_mm, half, low + thick))
    middle = (of.hole_start_mm + of.hole_end_mm) / 2
    solid -= rod("z", 0, 200, of.hole_end_mm - of.hole_start_mm, (middle, 0))
    return Part("board", "board", Group.BOARD, solid, BOARD)


def framed_board(settings: Settings, n: Numbers) -> Iterator[Part]:
    """A board with an underframe of 38 x 89 mm flush with its edges, and its legs folded away."""
    of, low, wide, tall = settings.board, top(n), 38.0, 89.0
    half, end = of.width_mm / 2, of.length_mm
    solid = block((0, -half, low + tall), (end, half, low + tall + n.board_thick))
    for side in both(block((0, half - wide, low), (end, half, low + tall))):
        solid += side
    for x in (0.0, end - wide):
        solid += block((x, -half, low), (x + wide, half, low + tall))
    for leg in both(block((760, half - 2 * wide - 4, low), (1150, half - wide - 4, low + tall))):
        solid += leg
    mixed = BOARD._replace(kg_m3=550)  # plywood above softwood
    yield Part("board with underframe", "board", Group.BOARD, solid, mixed)


def _hinge(settings: Settings, n: Numbers) -> Iterator[Part]:
    bar = rod("y", -n.bar_half, n.bar_half, n.bar)
    yield _part("hinge bar", "hinge bar", bar, STEEL)
    low = n.rail_y - 10
    support = block((-30, low, n.rail_low - 12), (30, low + 20, n.rail_low))
    support += block((-20, low, -20), (20, low + 20, n.rail_low - 12))
    support -= rod("y", low - 1, low + 21, n.bar + 0.4)
    for x in (-22.5, 22.5):
        support -= rod("z", 0, 60, 6.6, (x, n.rail_y))
    for solid in both(support):
        yield _part("shaft support", "shaft supports", solid, ALUMINIUM)
    half = n.cam_wide / 2
    for which, turn, at in (("lower", 90, n.cam_y + half), ("upper", -90, -n.cam_y - half)):
        solid = small.cam(settings, n, which).rotate((turn, 0, 0)).translate((0, at, 0))
        yield _part(f"cam {which}", "cams", solid, PLASTIC)


def _rails(settings: Settings, n: Numbers) -> Iterator[Part]:
    low, high, half = n.rail_low, n.rail_low + n.rail, n.rail / 2
    end = settings.board.length_mm
    inner, outer = n.rail_y - half, n.rail_y + half
    for solid in both(block((n.rail_start, inner, low), (end, outer, high))):
        yield _part("cradle rail", "cradle rails", solid, PROFILE_40)
    for x in n.crossbars:
        solid = block((x - half, -inner, low), (x + half, inner, high))
        yield _part("crossbar", "cradle crossbars", solid, PROFILE_40)
    for x in (n.crossbars[0], n.crossbars[2]):
        for solid in both(block((x - half, n.stub_y[0], low), (x + half, n.stub_y[1], high))):
            yield _part("clamp stub", "stubs", solid, PROFILE_40)
    x = n.crossbars[1]
    solid = block((x - half, n.prop_stub[0], low), (x + half, n.prop_stub[1], high))
    yield _part("prop stub", "stubs", solid, PROFILE_40)
    w = n.side
    reach = n.side_y + w / 2
    for x in n.outriggers:
        solid = block((x - w / 2, -reach, low - w), (x + w / 2, reach, low))
        yield _part("outrigger", "outriggers", solid, PROFILE_20)
    start, stop = n.side_ends
    for solid in both(block((start, n.side_y - w / 2, low), (stop, reach, low + w))):
        yield _part("side rail", "side rails", solid, PROFILE_20)


def lug(settings: Settings, n: Numbers) -> Manifold:
    """One lug: steel angle on the crossbar's downhill face, with a closed slot for the pin."""
    b = settings.linkage.cradle_pivot_mm
    face = n.crossbars[1] - n.rail / 2
    inner, t, leg = n.lug_inner, n.lug_thick, n.lug_leg
    low, high = -n.lug_below, n.rail_low + n.rail
    solid = block((face - leg, inner, low), (face, inner + t, high))
    solid += block((face - t, inner, n.rail_low - 6), (face, inner + leg, high))
    solid -= slot("y", inner - 1, inner + t + 1, n.slot, (b, 0), (b, -n.slot_run))
    for y in (inner + 15, inner + 38):
        solid -= rod("x", face - 10, face + 1, 8.4, (y, n.rail_low + n.rail / 2))
    return solid


def _lugs(settings: Settings, n: Numbers) -> Iterator[Part]:
    for solid in both(lug(settings, n)):
        yield _part("lug", "lugs", solid, STEEL)


def strap(n: Numbers, thick: float) -> Manifold:
    """Strap of a clamp over its bolt and heel screw, for a board of this thickness."""
    low = top(n) + thick
    solid = block((-15, n.strap_toe_y, low), (15, n.strap_heel_y + 13, low + 15))
    run = (n.strap_bolt_y - 8, n.strap_bolt_y + 8)
    solid -= rod("z", 0, 300, 6.8, (0, n.strap_heel_y))  # M8
    return solid - slot("z", 0, 300, 9, (0, run[0]), (0, run[1]))


def clamp(n: Numbers, thick: float) -> dict[str, Manifold]:
    """A clamp for a board of this thickness, above its stub at x = 0."""
    low = top(n)
    bolt = rod("z", low, low + thick + 45, 8, (0, n.strap_bolt_y))
    knob = rod("z", low + thick + 15, low + thick + 40, 32, (0, n.strap_bolt_y)) - bolt
    heel = rod("z", low, low + thick + 5, 6.8, (0, n.strap_heel_y))
    return {"strap": strap(n, thick), "bolt": bolt, "knob": knob, "heel screw": heel}


def _clamps(n: Numbers) -> Iterator[Part]:
    materials = {"strap": ALUMINIUM, "bolt": STEEL, "knob": PLASTIC, "heel screw": STEEL}
    for x in (n.crossbars[0], n.crossbars[2]):
        for name, solid in clamp(n, n.board_thick).items():
            for one in both(solid.translate((x, 0, 0))):
                yield _part(f"clamp {name}", "clamps", one, materials[name])


def _prop_pin(n: Numbers) -> Iterator[Part]:
    x, y, z = n.crossbars[1], n.prop_y, n.prop_pin_above
    pin = rod("y", y - 24, y + 24, 12, (x, z))
    yield _part("prop pin", "prop pin", pin, STEEL)
    hole = rod("y", y - 40, y + 40, 12.2, (x, z))
    for s in (-1, 1):
        low, high = sorted((y + s * 18, y + s * 22))
        angle = block((x - 20, low, n.rail_low - 31), (x + 20, high, n.rail_low)) - hole
        reach = sorted((y + s * 18, y + s * 48))
        angle += block((x - 20, reach[0], n.rail_low - 4), (x + 20, reach[1], n.rail_low))
        yield _part("prop angle", "prop angles", angle, STEEL)


def _measuring(settings: Settings, n: Numbers) -> Iterator[Part]:
    """Beams, tray and, parked, the blade."""
    beam, bag = settings.beam, settings.bag
    rail_top = n.rail_low + n.side
    line = top(n) + n.board_thick + beam.height_mm
    for x in (beam.position_mm, beam.position_mm - beam.second_spacing_mm):
        bracket = small.beam_bracket().rotate((0, 0, 180))
        bracket = bracket.translate((x + 22, n.side_y + 36, n.rail_low - 6))
        eye = rod("y", n.side_y + 6, n.side_y + 51, 8, (x, line))
        for solid in both(bracket):
            yield _part("beam bracket", "beam brackets", solid, PLASTIC)
        for solid in both(eye):
            yield _part("beam eye", "beam", solid, SWITCH)
    at = beam.position_mm + bag.gap_mm + bag.length_mm / 2 + settings.mechanics.sensor_offset_mm
    tray = small.sensor_tray().translate((at - 45, n.side_y - 30, rail_top))
    yield _part("sensor tray", "sensor tray", tray, PLASTIC)
    sensor = block((at - 13, n.side_y - 10, rail_top + 10), (at + 13, n.side_y + 10, rail_top + 13))
    yield _part("angle sensor", "angle sensor", sensor, RED)
    catch = settings.board.catch_mm
    low = top(n) + n.board_thick
    reach = n.side_y + n.side / 2
    batten = block((catch - 20, -reach, low + 4), (catch, reach, low + 40))
    for leg in both(block((catch - 20, reach - n.side, rail_top), (catch, reach, low + 5))):
        batten += leg
    yield _part("catch", "catch", batten, SPRUCE)
