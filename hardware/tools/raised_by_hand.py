"""The board that a jack raises, from the side, with its cut list: `hardware/raised_by_hand/`.

python -m hardware.tools.raised_by_hand
"""

from itertools import pairwise
from math import atan, cos, degrees, hypot, radians, sin
from pathlib import Path

from hardware.tools.svg import INK, RED, THIN, Point, Sheet

FOLDER = Path(__file__).parents[1] / "raised_by_hand"
NAME = "side_view.svg"

BOARD_MM = (1219.0, 18.0)
BASE_MM = (1300.0, 18.0)
HINGE_MM = 110.0
"""Axis above the base: the board lies flat on the jack at its lowest, pad and saddle included."""
FIRST_MM = 20.0
"""Of the hinges from the board's lower edge."""
JACK_AT_MM, GRIPPY_AT_MM = 380.0, 330.0
JACK_MM = (95.0, 380.0)
PROP_FOOT_MM, PROP_BOLT_MM, PROP_HEAD_MM = 640.0, 30.0, 1100.0
"""Its bolt from the hinge and above the base; its head along the board, below a cleat."""
TUBE_MM, OVERLAP_MM = 490.0, 150.0
REST_AT_MM = 1150.0
SHOWN_MM = 260.0
"""Height of the jack in the drawing."""


def angle_deg(jack_mm: float, at_mm: float = JACK_AT_MM) -> float:
    """Inclination of the board with the jack this high."""
    return degrees(atan((jack_mm - JACK_MM[0]) / at_mm))


def prop_mm(angle_deg: float) -> float:
    """Length of the prop with the board at an angle, from its bolt to its head."""
    turn = radians(angle_deg)
    x = PROP_HEAD_MM * cos(turn) - PROP_FOOT_MM
    return hypot(x, HINGE_MM + PROP_HEAD_MM * sin(turn) - PROP_BOLT_MM)


def cut_list() -> list[str]:
    """Pieces to saw, and what holds them."""
    tall = HINGE_MM
    return [
        f"base: plywood {BASE_MM[1]:g}, {BASE_MM[0]:.0f} × 650",
        f"hinge blocks, rest blocks: planed 89 × 89, 4 × {tall:.0f} high, end grain up",
        "side guides: planed 38 × 89, 2 × 400, each with a foot of 200",
        "pad: hardwood 120 × 60 × 20, groove 5 deep for the saddle; catch: batten 20 × 36 × 600",
        f"prop: steel tubes 28 × 2 and 22 × 2, {TUBE_MM:.0f} each, holes 8.5 every 20; foot M8",
        "cleat for its head: 38 × 89 × 100, glued and screwed under the board's edge",
        "screws: hinges 16 of 5 × 40, blocks and guides 12 of 6 × 100 from below, jack 4 of 6 × 30",
    ]


def side_view() -> str:
    """From the side, raised, and where it lies when flat; 1:7."""
    sheet = Sheet(250, 182, "Raised by hand: board, jack, prop and rests from the side, mm (1:7)")
    scale, angle = 1 / 7, radians(angle_deg(SHOWN_MM))
    axis = (34.0, 72.0)
    floor = axis[1] - HINGE_MM * scale

    def on(along: float, above: float = 0.0, turn: float = angle) -> Point:
        """A place along the board's underside from the hinge, and above it."""
        return (
            axis[0] + (along * cos(turn) - above * sin(turn)) * scale,
            axis[1] + (along * sin(turn) + above * cos(turn)) * scale,
        )

    left = axis[0] - 60 * scale
    sheet.box(
        (left, floor - BASE_MM[1] * scale), (left + BASE_MM[0] * scale, floor), 0.4, "#f6ecd8"
    )
    for place in (0.0, REST_AT_MM):
        x = axis[0] + place * scale
        sheet.box((x - 44 * scale, floor), (x + 44 * scale, axis[1]), 0.4, "#e0cfa8")
    ends = (-FIRST_MM, BOARD_MM[0] - FIRST_MM)
    flat = [on(ends[0], 0, 0.0), on(ends[1], 0, 0.0), on(ends[1], BOARD_MM[1], 0.0)]
    for a, b in pairwise(flat):
        sheet.line(a, b, 0.25, THIN, "3 2")
    outline = [on(ends[0]), on(ends[1]), on(ends[1], BOARD_MM[1]), on(ends[0], BOARD_MM[1])]
    sheet.polyline(outline, 0.5, INK, "#f6ecd8", close=True)
    sheet.circle(axis, 1.2, 0.4, "#5b6570")
    _jack(sheet, axis[0] + JACK_AT_MM * scale, floor, scale)
    foot = (axis[0] + PROP_FOOT_MM * scale, floor + PROP_BOLT_MM * scale)
    head = on(PROP_HEAD_MM)
    sheet.line(foot, head, 1.6, RED)
    cleat = [(0.0, 0.0), (70.0, 0.0), (70.0, -38.0), (0.0, -38.0)]
    below = [on(PROP_HEAD_MM + x, y) for x, y in cleat]
    sheet.polyline(below, 0.4, INK, "#e0cfa8", close=True)
    sheet.circle(foot, 1.4, 0.4, "white")
    bag = [(520.0, 0.0), (672.0, 0.0), (672.0, 35.0), (520.0, 35.0)]
    top = [on(x, BOARD_MM[1] + y) for x, y in bag]
    sheet.polyline(top, 0.4, INK, "#d98a8f", close=True)
    stop = [(30.0, 0.0), (66.0, 0.0), (66.0, 20.0), (30.0, 20.0)]
    corners = [on(x, BOARD_MM[1] + y) for x, y in stop]
    sheet.polyline(corners, 0.4, INK, "#e0cfa8", close=True)
    turn = degrees(angle)
    for along, word in ((596.0, "bag"), (48.0, "catch"), (455.0, "beam")):
        sheet.text(on(along, 75.0), word, 3, turn_deg=turn)
    beam = on(512.0, BOARD_MM[1] + 7.0)
    sheet.circle(beam, 0.8, 0.3, "#b3261e")
    sheet.text((head[0] + 8, head[1] - 24), "prop: in before", 3, "start", RED)
    sheet.text((head[0] + 8, head[1] - 28.5), "anyone reaches under", 3, "start", RED)
    sheet.text((axis[0] + REST_AT_MM * scale, floor - 7), "rest block", 3)
    sheet.text((axis[0] - 2, floor - 13), "hinge block", 3)
    jack = (axis[0] + JACK_AT_MM * scale, floor)
    sheet.dimension((axis[0], floor), jack, f"{JACK_AT_MM:.0f}", -6)
    sheet.dimension((left, floor), (left, axis[1]), f"{HINGE_MM:.0f}", 8)
    sheet.dimension(jack, (foot[0], floor), f"{PROP_FOOT_MM - JACK_AT_MM:.0f}", -6)
    place = (axis[0] + 900.0 * scale, axis[1] + 4)
    sheet.text(place, f"{turn:.1f}° with the jack at {SHOWN_MM:.0f}", 3)
    for i, row in enumerate(cut_list()):
        sheet.text((8, 38 - 5.2 * i), row, 3, "start")
    return sheet.render()


def _jack(sheet: Sheet, x: float, floor: float, scale: float) -> None:
    """A scissor jack with its pad."""
    tall, wide = SHOWN_MM * scale, 120.0 * scale
    sides = [
        (x, floor),
        (x + wide, floor + tall / 2),
        (x, floor + tall),
        (x - wide, floor + tall / 2),
    ]
    sheet.polyline(sides, 0.8, INK, close=True)
    sheet.line((x - wide, floor + tall / 2), (x + wide * 1.3, floor + tall / 2), 0.6)
    sheet.box((x - 7, floor + tall), (x + 7, floor + tall + 15 * scale), 0.4, "#c9a46a")
    sheet.text((x, floor + tall / 2 + 2), "scissor jack", 3)


def main() -> None:
    """Write the drawing."""
    (FOLDER / NAME).write_text(side_view(), "utf-8")


if __name__ == "__main__":
    main()
