"""The prop, the crank, and the blade: what is put on by hand or is optional."""

from collections.abc import Iterator
from math import atan2, cos, degrees, hypot, radians, sin

from manifold3d import Manifold

from hardware.model import belt, small
from hardware.model.cams import cams, pushed
from hardware.model.cradle import top
from hardware.model.numbers import Numbers
from hardware.model.shapes import (
    PLASTIC,
    RED,
    STEEL,
    SWITCH,
    Group,
    Part,
    Point,
    block,
    pipe,
    rod,
)
from rig.motion.clearances import pivots_mm
from rig.settings.model import Settings


def prop_line(settings: Settings, n: Numbers, angle_deg: float) -> tuple[Point, Point]:
    """Foot's bolt and pin under the stub, in x and z from the floor."""
    t, h = radians(angle_deg), settings.mechanics.hinge_height_mm
    x, z = n.crossbars[1], n.prop_pin_above
    foot = (n.cross_rails[1], n.foot + n.timber[1] + n.prop_foot)
    return foot, (x * cos(t) - z * sin(t), h + x * sin(t) + z * cos(t))


def prop(settings: Settings, n: Numbers, angle_deg: float) -> Iterator[Part]:
    """Two tubes with a pin through a row of holes, its notch under the cradle's pin."""
    (fx, fz), (px, pz) = prop_line(settings, n, angle_deg)
    length = hypot(px - fx, pz - fz)
    turn = degrees(atan2(px - fx, pz - fz))
    wide, thin, each = n.prop_tubes
    outer = pipe("z", -14, each - 14, wide, wide - 4) - rod("y", -30, 30, 10.4)
    inner = pipe("z", length - each, length + 8, thin, thin - 4)
    inner -= rod("y", -30, 30, 12.4, (0, length))
    inner -= block((-6.2, -30, length), (6.2, 30, length + 30))
    for name, solid, material in (("prop, outer", outer, RED), ("prop, inner", inner, RED)):
        placed = solid.rotate((0, turn, 0)).translate((fx, n.prop_y, fz))
        yield Part(name, "prop", Group.PROP, placed, material)


def crank(settings: Settings, n: Numbers, turned_deg: float) -> Iterator[Part]:
    """Crank on its shaft, pushed in; its knob at an angle."""
    _, (x, z) = pivots_mm(settings, 0)
    z += settings.mechanics.hinge_height_mm
    y = -n.crank_end
    arm = block((-12, y - 12, -12), (n.crank_arm + 12, y - 6, 12))
    arm += rod("y", y - 12, y + 20, 22) - rod("y", y - 6, y + 30, 8.4)
    knob = rod("y", y - 92, y - 12, 28, (n.crank_arm, 0))
    for name, solid, material in (("crank", arm, STEEL), ("crank knob", knob, PLASTIC)):
        placed = solid.rotate((0, turned_deg, 0)).translate((x, 0, z))
        yield Part(name, "crank", Group.LOOSE, placed, material)


def hand_space(settings: Settings, n: Numbers) -> Manifold:
    """What a hand needs round the turning crank: 50 mm beyond the knob."""
    _, (x, z) = pivots_mm(settings, 0)
    z += settings.mechanics.hinge_height_mm
    return rod("y", -n.crank_end - 110, -n.crank_end + 10, 2 * (n.crank_arm + 50), (x, z))


def blade(settings: Settings, n: Numbers, at: float) -> Iterator[Part]:
    """The blade with its uphill face at a place on the board, on its two carriages."""
    sheet = small.blade_sheet(settings)
    plate_at = at - small.PAD - sheet
    low = top(n) + n.board_thick + small.BLADE_LOW
    shape = small.blade_plate(settings, n).rotate((90, 0, 0)).rotate((0, 0, 90))
    yield Part(
        "blade", "blade (optional)", Group.CRADLE, shape.translate((plate_at, 0, low)), STEEL
    )
    for s in (-1, 1):
        shape = small.blade_carriage(settings, n).rotate((180, 0, 180 if s > 0 else 0))
        x = plate_at + sheet / 2 + s * 30
        y = s * (n.side_y - 17)  # its channel, 17 from its outer face, sits on the rail
        shape = shape.translate((x, y, n.rail_low + n.side + 16))
        yield Part("blade carriage", "blade (optional)", Group.CRADLE, shape, PLASTIC)
        clamp = belt.belt_clamp().translate(
            (plate_at + sheet / 2 - 12, n.side_y - belt.BELT_IN - 9.5, 0)
        )
        clamp = clamp if s > 0 else clamp.mirror((0, 1, 0))
        under = belt.axis_z(n) + belt.BELT_BACK - belt.BELT_THICK
        clamp = clamp.translate((0, 0, under - belt.CLAMP_TALL))
        yield Part("belt clamp", "belt holders (optional)", Group.CRADLE, clamp, PLASTIC)


def rollers(settings: Settings, n: Numbers, angle_deg: float) -> Iterator[Part]:
    """The switches' rollers as the cams push them at an inclination."""
    for which, points in cams(settings, n).items():
        y = n.cam_y if which == "lower" else -n.cam_y
        down = pushed(points, n.roller, -90.0 - angle_deg)
        at = (0.0, settings.mechanics.hinge_height_mm - down)
        solid = rod("y", y - 3, y + 3, n.roller, at)
        yield Part(f"roller {which}", "limit switches S2 S3", Group.LOOSE, solid, SWITCH)
