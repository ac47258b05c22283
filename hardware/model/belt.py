"""What moves the blade: two belts below the side rails, a shaft across, a motor, and their holders.

The holders are printed. Each hangs under a side rail by M5 and T-nuts; here they are made in the
frame of the cradle, on the side of +y.
"""

from collections.abc import Iterator

from manifold3d import Manifold

from hardware.model.numbers import Numbers
from hardware.model.shapes import (
    MOTOR,
    PLASTIC,
    RUBBER,
    STEEL,
    Group,
    Part,
    block,
    both,
    rod,
    slot,
)

IDLER_AT, SHAFT_AT = 240.0, 840.0
"""Axes of the idlers and of the shaft, from the hinge."""
BELT_IN = 20.0
"""Middle of a belt, inward of the middle of its rail."""
BELT_WIDE, BELT_THICK = 6.0, 1.4
BELT_BACK = 6.8
"""From an axis: 20 teeth of 2 mm, and the belt's back beyond its pitch line (from memory)."""
AXIS_DOWN = 10.0
"""Axes below the underside of the rails."""
PULLEY = 16.0
"""Over its rims."""
SHAFT = 8.0
BEARING = (22.0, 7.0)
MOTOR_FACE = 48.0
"""Outward of the middle of the rail: room for a coupling of 25 mm beside the rail."""
MOTOR_WIDE, MOTOR_LONG, MOTOR_SCREWS = 42.0, 40.0, 31.0
SCREW = 5.3
CLAMP_TALL = 5.0


def axis_z(n: Numbers) -> float:
    """Height of both axes in the frame of the cradle."""
    return n.rail_low - AXIS_DOWN


def idler_holder(n: Numbers) -> Manifold:
    """Holder of an idler on a screw M5; its slot under the rail tightens the belt."""
    x, y, low = IDLER_AT, n.side_y, n.rail_low
    start, end = x - 16, x + 10
    solid = block((start, y - 10, low - 5), (x + 40, y + 10, low))
    solid += block((start, y - 32, low - 18), (start + 6, y + 10, low))
    for d in (14.0, 32.0):
        solid += block((start, y - d, low - 18), (end, y - d + 6, low))
    solid -= rod("y", y - 40, y, SCREW, (x, axis_z(n)))
    return solid - slot("z", low - 10, low + 1, SCREW, (x + 20, y), (x + 32, y))


def bearing_holder(n: Numbers) -> Manifold:
    """Holder of a bearing of the shaft, on the inner side of the pulley."""
    x, y, low = SHAFT_AT, n.side_y, n.rail_low
    end, z = x + 20, axis_z(n)
    solid = block((x - 32, y - 10, low - 5), (end, y + 10, low))
    solid += block((x + 12, y - 40, low - 25), (end, y + 10, low))
    solid += block((x - 15, y - 40, low - 25), (end, y - 30, low + 4))
    solid -= rod("y", y - 30 - BEARING[1], y - 29, BEARING[0] + 0.1, (x, z))
    solid -= rod("y", y - 41, y - 29, 14, (x, z))
    for at in (x - 25, x - 12):
        solid -= rod("z", low - 10, low + 1, SCREW, (at, y))
    return solid


def motor_holder(n: Numbers) -> Manifold:
    """The same with a plate for the motor, outside of the rail; its screws stay in reach."""
    x, y, z = SHAFT_AT, n.side_y, axis_z(n)
    half, face, end = MOTOR_WIDE / 2, y + MOTOR_FACE, x + 27
    solid = bearing_holder(n)
    solid += block((x + 20, y - 40, n.rail_low - 25), (end, y + 12, n.rail_low))
    solid += block((x + half, y + 12, z - half), (end, face, z + half))
    solid += block((x - half, face - 6, z - half), (end, face, z + half))
    solid -= rod("y", face - 7, face + 1, 22.6, (x, z))
    for dx in (-1, 1):
        for dz in (-1, 1):
            at = (x + dx * MOTOR_SCREWS / 2, z + dz * MOTOR_SCREWS / 2)
            solid -= rod("y", face - 7, face + 1, 3.4, at)
    return solid


def belt_clamp() -> Manifold:
    """Plate that presses both ends of a belt on the carriage's lug; grooves for its teeth."""
    solid = block((0, 0, 0), (24, 19, CLAMP_TALL))
    for i in range(12):
        solid -= rod(
            "y", 9.5 - BELT_WIDE / 2 - 0.3, 9.5 + BELT_WIDE / 2 + 0.3, 1.3, (1 + 2 * i, CLAMP_TALL)
        )
    for y in (4.0, 15.0):
        solid -= rod("z", -1, 6, 3.4, (12, y))
    return solid


def printed(n: Numbers) -> dict[str, Manifold]:
    """The holders as they are printed, on the wall that carries all the others."""

    def lying(solid: Manifold, turn_deg: float) -> Manifold:
        turned = solid.rotate((0, turn_deg, 0))
        x, y, z, *_ = turned.bounding_box()
        return turned.translate((-x, -y, -z))

    return {
        "belt_idler": lying(idler_holder(n), -90),
        "belt_bearing": lying(bearing_holder(n), 90),
        "belt_bearing_motor": lying(motor_holder(n), 90),
        "belt_clamp": belt_clamp(),
    }


def drive(n: Numbers) -> Iterator[Part]:
    """All of it in its place under the side rails, but the clamps on the carriages."""
    holders, item = "belt holders (optional)", "blade belts (optional)"
    y, z = n.side_y - BELT_IN, axis_z(n)

    def part(name: str, item: str, solid: Manifold, material: object) -> Part:
        return Part(name, item, Group.CRADLE, solid, material)  # type: ignore[arg-type]

    for solid in both(idler_holder(n)):
        yield part("belt idler holder", holders, solid, PLASTIC)
    yield part("belt bearing holder", holders, bearing_holder(n), PLASTIC)
    yield part("belt motor holder", holders, motor_holder(n).mirror((0, 1, 0)), PLASTIC)
    end = n.side_y + MOTOR_FACE
    shaft = rod("y", 26 - end, y + 7, SHAFT, (SHAFT_AT, z))
    yield part("blade shaft", item, shaft, STEEL)
    for x, bore in ((IDLER_AT, 5.0), (SHAFT_AT, SHAFT)):
        pulley = rod("y", y - 4.5, y + 4.5, PULLEY, (x, z)) - rod("y", y - 5, y + 5, bore, (x, z))
        for solid in both(pulley):
            yield part("pulley", item, solid, STEEL)
    inner = BELT_BACK - BELT_THICK
    belt = Manifold()
    for s in (-1, 1):
        low, high = sorted((z + s * inner, z + s * (inner + BELT_THICK)))
        belt += block((IDLER_AT, y - BELT_WIDE / 2, low), (SHAFT_AT, y + BELT_WIDE / 2, high))
    for solid in both(belt):
        yield part("belt", item, solid, RUBBER)
    half = MOTOR_WIDE / 2
    motor = block((SHAFT_AT - half, -end - MOTOR_LONG, z - half), (SHAFT_AT + half, -end, z + half))
    motor += rod("y", -end, 24 - end, 5, (SHAFT_AT, z))
    yield part("blade motor", "blade motor M2 (optional)", motor, MOTOR)
