"""The push strut: bearing box with screw and motor on the base pivot; tube with nut and head.

Both lie along z of their own frames: the box from the base pivot up, the tube from the pin down.
"""

from collections.abc import Iterator

from manifold3d import Manifold

from hardware.model.numbers import Numbers
from hardware.model.shapes import (
    ALUMINIUM,
    BRONZE,
    MOTOR,
    STEEL,
    Group,
    Material,
    Part,
    block,
    both,
    pipe,
    rod,
)
from rig.settings.model import Settings


def box(settings: Settings, n: Numbers) -> Iterator[Part]:
    """What swivels on the base pivot and does not slide."""
    for name, item, solid, material in _box(settings, n):
        yield Part(name, item, Group.BOX, solid, material)


def cheek(n: Numbers) -> Manifold:
    """Side of the bearing box, across y; a trunnion on it."""
    high = n.top_plate_at + n.plate
    y = n.cheek_inner
    solid = block((-n.box_half, y, n.motor_at), (n.box_half, y + n.cheek_thick, high))
    solid -= rod("y", 0, 200, 20.4)
    for x in (-25, 25):
        for z in (n.top_plate_at + n.plate / 2, n.motor_at + n.plate / 2):
            solid -= rod("y", 0, 200, 6.6, (x, z))
        solid -= rod("y", 0, 200, 5, (0.96 * x, 0))  # M6 of the clamp flange, 48 mm apart
    return solid


def end_plate(n: Numbers, at: float, hole: float, screws: tuple[float, float]) -> Manifold:
    """Plate between the cheeks: a round hole, four screws round it, taps M6 in its ends."""
    y, half = n.cheek_inner, n.box_half
    solid = block((-half, -y, at), (half, y, at + n.plate)) - rod("z", at - 1, at + 50, hole)
    away, wide = screws
    for sx in (-1, 1):
        for sy in (-1, 1):
            solid -= rod("z", at - 1, at + 50, wide, (sx * away, sy * away))
            low, high = sorted((sy * (y - 20), sy * (y + 1)))
            solid -= rod("y", low, high, 5, (sx * 25, at + n.plate / 2))
    return solid


def _box(settings: Settings, n: Numbers) -> Iterator[tuple[str, str, Manifold, Material]]:
    m = settings.mechanics
    for solid in both(cheek(n)):
        yield "cheek", "bearing box", solid, ALUMINIUM
    top = n.top_plate_at + n.plate
    yield "top plate", "bearing box", end_plate(n, n.top_plate_at, 35, (14.85, 3.3)), ALUMINIUM
    yield "motor plate", "bearing box", end_plate(n, n.motor_at, 40, (23.57, 5.5)), ALUMINIUM
    outer = n.cheek_inner + n.cheek_thick
    flange = block((-30, outer, -18), (30, outer + 20, 18)) - rod("y", 0, 200, n.bar + 0.2)
    reach = n.panel_inner + n.ply + 33
    for solid in both(flange):
        yield "trunnion flange", "shaft clamp flanges", solid, ALUMINIUM
    trunnion = rod("y", n.cheek_inner + 0.5, reach, n.bar) - rod("y", 0, 300, 14)
    for solid in both(trunnion):
        yield "trunnion", "trunnions", solid, STEEL
    unit = rod("z", top, top + 10, 52) + rod("z", n.top_plate_at - 2, top, 34)
    yield "screw bearing", "bearing unit", unit - rod("z", 0, 100, 10.2), STEEL
    tip = m.screw_start_mm + m.screw_length_mm
    screw = rod("z", m.screw_start_mm, tip, m.screw_diameter_mm)
    seat = m.screw_start_mm - n.journal[1]
    screw += rod("z", seat, m.screw_start_mm, n.journal[0])
    screw += rod("z", seat - n.shaft_end[1], seat, n.shaft_end[0])
    yield "screw", "screw", screw, STEEL
    washer = rod("z", tip, tip + 4, 24)
    yield "tip washer", "tip washer", washer, STEEL
    gear = Manifold.cylinder(12, 10, 16).translate((0, 0, 8)) + rod("z", 20, n.gear_out + 5, 24)
    yield "bevel gear", "bevel gears", gear - rod("z", 0, 60, 8.2), STEEL
    out = n.crank_parked
    pinion = Manifold.cylinder(12, 10, 16).translate((0, 0, 8)) + rod("z", 20, 30, 24)
    pinion = pinion.rotate((90, 0, 0)).translate((0, -out, 0))
    shaft = rod("y", -n.crank_end - out, -8 - out, 8)
    yield "bevel pinion", "bevel gears", pinion - shaft, STEEL
    yield "crank shaft", "crank shaft", shaft, STEEL
    coupling = rod("z", -46, -16, 25) - rod("z", -28, -16, 8.2) - rod("z", -46, -28, 8.2)
    yield "coupling", "coupling", coupling, ALUMINIUM
    half = m.motor_width_mm / 2
    motor = block((-half, -half, -m.motor_overhang_mm), (half, half, n.motor_at))
    motor += rod("z", n.motor_at, n.motor_at + 1.6, 38) + rod("z", n.motor_at, -30, 8)
    yield "motor", "motor", motor, MOTOR


def tube(settings: Settings, n: Numbers) -> Iterator[Part]:
    """What slides on the screw and pushes the cradle; the pin at the origin."""
    for name, item, solid, material in _tube(settings, n):
        yield Part(name, item, Group.TUBE, solid, material)


def head(n: Numbers) -> Manifold:
    """Head of the tube: a bar with the pin's hole, a pocket for the screw's tip and four taps."""
    y, x = n.head[0] / 2, n.head[1] / 2
    solid = block((-x, -y, -n.head_below), (x, y, n.head_above))
    solid -= rod("y", -100, 100, n.pin)
    solid -= rod("z", -n.head_below - 1, -n.head_below + n.head_pocket, 26)
    return solid - _rods(n, -n.head_below - 1, -n.head_below + 20)


def foot_plate(settings: Settings, n: Numbers) -> Manifold:
    """Plate between the tube and the nut's flange."""
    low = -settings.mechanics.tube_length_mm + 12
    y, x = n.head[0] / 2, n.head[1] / 2
    solid = block((-x, -y, low), (x, y, low + n.end_plate))
    return solid - rod("z", low - 1, low + 50, 28.2) - _rods(n, low - 1, low + 20, 6.6)


def _rods(n: Numbers, low: float, high: float, wide: float = 6.0) -> Manifold:
    y, x = n.rod_at
    solid = Manifold()
    for sx in (-1, 1):
        for sy in (-1, 1):
            solid += rod("z", low, high, wide, (sx * x, sy * y))
    return solid


def _tube(settings: Settings, n: Numbers) -> Iterator[tuple[str, str, Manifold, Material]]:
    m = settings.mechanics
    yield "head", "head of the tube", head(n), ALUMINIUM
    reach = n.lug_inner + n.lug_thick + 8
    yield "pivot pin", "pivot pin", rod("y", -reach, reach, n.pin), STEEL
    low = -m.tube_length_mm
    yield "foot plate", "foot plate", foot_plate(settings, n), ALUMINIUM
    start = low + 12 + n.end_plate
    yield (
        "push tube",
        "push tube",
        pipe("z", start, -n.head_below, n.tube_outer, n.tube_inner),
        STEEL,
    )
    yield "tie rods", "tie rods", _rods(n, low + 6, -n.head_below + 20), STEEL
    bore = m.screw_diameter_mm + 0.4
    nut = pipe("z", low, low + 12, 48, bore) + pipe("z", low + 12, low + m.nut_length_mm, 28, bore)
    yield "nut", "nut", nut, BRONZE
