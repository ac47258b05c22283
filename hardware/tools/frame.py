"""Drawings of the base frame and of the cradle with their cut lists, by the numbers of the model.

What is set apart from the settings here stands in model/rig.scad with the same numbers.
"""

from math import hypot

from svg import INK, THIN, Point, Sheet

from rig.motion.clearances import pivots_mm
from rig.settings.model import Settings

TIMBER_MM = 40.0
ENDS_MM = (-140.0, 1320.0)
"""The long rails, from the hinge."""
CROSS_MM = (-120.0, 600.0, 1120.0, 1300.0)
"""Middles of the cross rails."""
INNER_MM = 75.0
"""The inner rails, from the middle of the frame."""
STRUT = ((30.0, 380.0), (390.0, 35.0))
TIE_MM = 330.0
WOOD, METAL = "#ecd9b8", "#d9dde2"


def frame(settings: Settings) -> str:
    """Base frame from above and from the side, with the cut list; 1:10."""
    sheet = Sheet(262, 200, f"Base frame, timber 40 × 40, mm (scale 1:10) — {settings.name}")
    m, t = settings.mechanics, TIMBER_MM
    _, base = pivots_mm(settings, 0)
    side = m.hinge_spacing_mm / 2 + 60
    post, pivot_post = m.hinge_height_mm - 30 - t, m.hinge_height_mm + base[1] + 25 - t
    low, high = ENDS_MM

    def plan(x: float, y: float) -> Point:
        return 40 + x / 10, 134 + y / 10

    def view(x: float, z: float) -> Point:
        return 40 + x / 10, 14 + z / 10

    def beam(at, x0: float, y0: float, x1: float, y1: float) -> None:  # type: ignore[no-untyped-def]
        sheet.box(at(x0, y0), at(x1, y1), 0.4, WOOD)

    for y in (-side, side):
        beam(plan, low, y - t / 2, high, y + t / 2)
    for x in CROSS_MM:
        beam(plan, x - t / 2, -side + t / 2, x + t / 2, side - t / 2)
    for y in (-INNER_MM, INNER_MM):
        beam(plan, CROSS_MM[1] + t / 2, y - t / 2, CROSS_MM[2] - t / 2, y + t / 2)
        beam(plan, base[0] - t / 2, y - t / 2, base[0] + t / 2, y + t / 2)
        sheet.line(plan(base[0] - 20, y - 20), plan(base[0] + 20, y + 20), 0.2)
    for y in (-side, side):
        beam(plan, -t / 2, y - t / 2, t / 2, y + t / 2)
        sheet.line(plan(-20, y - 20), plan(20, y + 20), 0.2)
    sheet.line(plan(0, -side - 40), plan(0, side + 40), 0.25, THIN, "4 2")
    for i, x in enumerate((CROSS_MM[1], CROSS_MM[2], CROSS_MM[3])):
        sheet.dimension(plan(0, -side), plan(x, -side), f"{x:g}", -8 - 5.5 * i)
    sheet.dimension(plan(CROSS_MM[0], side), plan(0, side), f"{-CROSS_MM[0]:g}", 8)
    sheet.dimension(plan(low, side), plan(high, side), f"{high - low:g}", 14)
    sheet.dimension(plan(0, side), plan(base[0], side), f"{base[0]:.1f} base pivot", 8)
    sheet.dimension(plan(high, -side), plan(high, side), f"{2 * side:g} between middles", -8)
    sheet.dimension(plan(low, -INNER_MM), plan(low, INNER_MM), f"{2 * INNER_MM:g}", 8)

    beam(view, low, 0, high, t)
    beam(view, -t / 2, t, t / 2, t + post)
    beam(view, base[0] - t / 2, t, base[0] + t / 2, t + pivot_post)
    (x0, z0), (x1, z1) = STRUT
    sheet.line(view(x0, z0), view(x1, z1), 4.8, INK)
    sheet.line(view(x0, z0), view(x1, z1), 4.0, WOOD)
    sheet.text(view(x0 + 200, z0 - 120), "strut", 2.6, "start", THIN)
    sheet.box(view(-t / 2, TIE_MM - t / 2), view(t / 2, TIE_MM + t / 2), 0.3, "#d9bf90")
    sheet.text(view(-30, TIE_MM - 10), "tie", 2.6, "end", THIN)
    sheet.circle(view(0, m.hinge_height_mm), 0.9, 0.4, "white")
    sheet.circle(view(*_above_floor(settings, base)), 0.9, 0.4, "white")
    sheet.dimension(view(low, 0), view(low, m.hinge_height_mm), f"hinge {m.hinge_height_mm:g}", 6)
    foot = base[0] + 60
    height = m.hinge_height_mm + base[1]
    sheet.dimension(view(foot, 0), view(foot, height), f"{height:.1f}", -6)
    cuts = [
        (2, high - low, "long rail"),
        (4, 2 * side - t, "cross rail"),
        (1, 2 * side - t, "tie between the posts"),
        (2, post, "hinge post"),
        (2, hypot(x1 - x0, z1 - z0), "strut, ends cut to fit"),
        (2, CROSS_MM[2] - CROSS_MM[1] - t, "inner rail"),
        (2, pivot_post, "post of the base pivot"),
        (1, 140.0, "limit switches' bar"),
        (1, m.hinge_height_mm - 200 - t, "post of the emergency stop"),
    ]
    _cut_list(sheet, (186, 70), cuts)
    return sheet.render()


def _above_floor(settings: Settings, place: Point) -> Point:
    return place[0], settings.mechanics.hinge_height_mm + place[1]


def cradle(settings: Settings) -> str:
    """Cradle from above without the board, with the cut list; 1:10."""
    sheet = Sheet(250, 128, f"Cradle, aluminium profile, mm (scale 1:10) — {settings.name}")
    board, rail_y = settings.board, settings.mechanics.hinge_spacing_mm / 2
    side_y, end = board.width_mm / 2 + 30, board.length_mm
    pivot = settings.linkage.cradle_pivot_mm
    bars, outriggers, rails = (60.0, pivot, end - 20), (200.0, 880.0), (190.0, 890.0)

    def at(x: float, y: float) -> Point:
        return 30 + x / 10, 58 + y / 10

    half = board.width_mm / 2
    for x in outriggers:
        sheet.box(at(x - 10, -side_y - 10), at(x + 10, side_y + 10), 0.3, "#eef1f4")
    for y in (-side_y, side_y):
        sheet.box(at(rails[0], y - 10), at(rails[1], y + 10), 0.3, "#eef1f4")
    for x in bars:
        sheet.box(at(x - 20, -rail_y + 20), at(x + 20, rail_y - 20), 0.4, METAL)
    for y in (-rail_y, rail_y):
        sheet.box(at(-30, y - 20), at(end, y + 20), 0.4, METAL)
    for a, b in (((0, -half), (end, -half)), ((0, half), (end, half)), ((end, -half), (end, half))):
        sheet.line(at(*a), at(*b), 0.25, THIN, "4 2")
    sheet.line(at(0, -rail_y - 90), at(0, rail_y + 90), 0.25, INK, "6 2 1 2")
    sheet.text(at(-35, rail_y + 70), "hinge", 2.6, "end")
    sheet.text(at(rails[1] + 20, side_y - 5), "side rail", 2.6, "start", THIN)
    sheet.text(at(outriggers[1] - 20, 0), "outrigger", 2.6, colour=THIN, turn_deg=90)
    sheet.text(at(end - 10, half - 30), "board", 2.6, "end", THIN)
    for i, x in enumerate((bars[0], pivot, bars[2])):
        sheet.dimension(at(0, -side_y), at(x, -side_y), f"{x:g}", -5 - 5 * i)
    for i, x in enumerate(outriggers):
        sheet.dimension(at(0, side_y), at(x, side_y), f"{x:g}", 5 + 5 * i)
    sheet.dimension(at(end, -rail_y), at(end, rail_y), f"{2 * rail_y:g}", -6)
    sheet.dimension(at(end, -side_y), at(end, side_y), f"{2 * side_y:g}", -13)
    cuts = [
        (2, end + 30, "rail 40 × 40"),
        (3, 2 * rail_y - 40, "crossbar 40 × 40, in the rails' plane"),
        (2, 2 * side_y + 20, "outrigger 20 × 20, under the rails"),
        (2, rails[1] - rails[0], "side rail 20 × 20, on the outriggers"),
    ]
    _cut_list(sheet, (172, 90), cuts)
    return sheet.render()


def _cut_list(sheet: Sheet, place: Point, cuts: list[tuple[int, float, str]]) -> None:
    x, y = place
    sheet.text((x, y), "cut", 3.2, "start", bold=True)
    for i, (count, length, name) in enumerate(cuts, 1):
        sheet.text((x, y - 5 * i), f"{count} × {length:.0f}", 2.8, "start")
        sheet.text((x + 18, y - 5 * i), name, 2.8, "start")
