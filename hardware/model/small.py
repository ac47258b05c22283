"""Small parts that a printer makes, each as it is printed: flat, without support."""

from manifold3d import Manifold

from hardware.model import belt, cams
from hardware.model.numbers import Numbers
from hardware.model.shapes import Point, block, plate, rod, slot
from rig.settings.model import Settings

SLOT_SCREW = 5.3
"""Hole for an M5 screw."""
BRACKET_UP = 96.0
BRACKET_TALL = 185.0
"""Height of a beam bracket for a sheet, and for a board with an underframe of 89 mm."""
BRACKET_OFF = 36.0
"""Middle of the side rail to the bracket's outer face."""
PAD = 1.0
"""Cork on the blade's uphill face."""
BLADE_LOW, BLADE_TALL = 4.0, 36.0
"""The blade above the board, and its height."""


def sensor_tray() -> Manifold:
    """Tray of the angle sensor; the two lands on its top are the seat of a spirit level."""
    solid = block((0, 0, 0), (90, 60, 6))
    for y in (0, 48):
        solid += block((0, y, 0), (90, y + 12, 16))
    for x in (32, 58):
        for y in (20, 40):
            solid += rod("z", 0, 10, 7, (x, y))
            solid -= rod("z", 2, 20, 2.2, (x, y))
    for x in (10, 80):
        solid -= slot("z", -1, 60, SLOT_SCREW, (x, 27), (x, 33))
    return solid - block((82, 24, 6), (102, 36, 12))


def beam_bracket(tall: float = BRACKET_UP) -> Manifold:
    """Bracket of an emitter or receiver, under the side rail; adjustable along it and in height."""
    solid = block((0, 0, 0), (44, 46, 6)) + block((0, 0, 0), (44, 10, tall))
    solid -= slot("z", -1, 60, SLOT_SCREW, (14, BRACKET_OFF), (30, BRACKET_OFF))
    return solid - slot("y", -1, 19, 8.2, (22, tall - 36), (22, tall - 9))


def slit_mask() -> Manifold:
    """Slit before the receiver: 1 mm across the slide."""
    solid = block((0, 0, 0), (24, 20, 2)) - block((11.5, 4, -1), (12.5, 16, 3))
    for x in (4, 20):
        solid -= rod("z", -1, 60, 3.2, (x, 10))
    return solid


def blade_sheet(settings: Settings) -> float:
    """Thickness of the blade's plate."""
    return settings.blade.thickness_mm - PAD


def blade_carriage(settings: Settings, n: Numbers) -> Manifold:
    """Carriage of the blade on the side rail; its slot takes a leg of the plate, its lug a belt."""
    sheet = blade_sheet(settings)
    solid = block((0, 0, 0), (60, 34, 26)) + block((18, -13, 15), (42, 6, 39))
    solid -= block((-1, 6.7, 15), (61, 6.7 + n.side + 0.6, 27))
    solid -= block((30 - sheet / 2 - 0.1, -1, -1), (30 + sheet / 2 + 0.1, 35, 12))
    solid -= rod("x", -1, 61, 3.2, (17, 7))
    for y in (-8.5, 2.5):  # on both sides of the belt
        solid -= rod("z", 26, 60, 2.6, (30, y))
    return solid


def blade_plate(settings: Settings, n: Numbers) -> Manifold:
    """The blade: a plate over the board with a leg down to a carriage on either side."""
    span, wide = 2 * n.side_y + 20, settings.board.width_mm + 30
    leg = n.board_thick + n.rail - n.side + BLADE_LOW - 4
    sheet = blade_sheet(settings)
    solid = block((-span / 2, -leg, 0), (span / 2, BLADE_TALL, sheet))
    solid -= block((-wide / 2, -leg - 1, -1), (wide / 2, 0, sheet + 1))
    inner = n.side_y + 2  # it passes between the eyes of the beam
    for low, high in ((-span, -inner), (inner, span)):
        solid -= block((low, -8, -1), (high, BLADE_TALL + 1, sheet + 1))
    for s in (-1, 1):
        solid -= rod("z", -1, 9, 3.4, (s * (span / 2 - 10), -leg + 3))
    return solid


def cam(settings: Settings, n: Numbers, which: str) -> Manifold:
    """A cam, its hub up; a screw in the hub clamps it on the bar."""
    points: list[Point] = cams.cams(settings, n)[which]
    wide = n.cam_wide
    solid = plate(points, 0, wide)
    # the hub of either cam points to the middle of the rig: the lower one's away from +y
    low, high = (-12.0, wide) if which == "lower" else (0.0, wide + 12)
    solid += rod("y", low, high, 42)
    solid -= rod("y", -50, 50, n.bar + 0.4)
    solid -= rod("z", 0, 40, 4.2, (0, low + 6 if which == "lower" else high - 6))
    return _on_bed(solid.rotate((-90 if which == "lower" else 90, 0, 0)))


def bush(n: Numbers) -> Manifold:
    """Bush of the crank's shaft, in the crank bracket and in the hollow trunnion."""
    return rod("z", 0, n.ply, 11.8) + rod("z", 0, 2, 18) - rod("z", -1, 60, 8.3)


def strap_foot(n: Numbers) -> Manifold:
    """Cap under a clamp's heel screw."""
    del n
    return rod("z", 0, 10, 18) - rod("z", 3, 20, 8.3)


def _on_bed(solid: Manifold) -> Manifold:
    return solid.translate((0, 0, -solid.bounding_box()[2]))


def printed(settings: Settings, n: Numbers) -> dict[str, Manifold]:
    """All of them by name."""
    return {
        "sensor_tray": sensor_tray(),
        "beam_bracket": beam_bracket(),
        "beam_bracket_tall": beam_bracket(BRACKET_TALL),
        "slit_mask": slit_mask(),
        "blade_carriage": blade_carriage(settings, n),
        "cam_lower": cam(settings, n, "lower"),
        "cam_upper": cam(settings, n, "upper"),
        "bush": bush(n),
        "heel_cap": strap_foot(n),
        **belt.printed(n),
    }
