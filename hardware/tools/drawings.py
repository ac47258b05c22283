"""Draws `hardware/drawings/*.svg` from the settings and the model.

python -m hardware.tools.drawings [rig.toml]
"""

import sys
from collections.abc import Iterator
from math import cos, radians, sin
from pathlib import Path

from hardware.model.drawn import drawn
from hardware.model.numbers import NUMBERS
from hardware.tools.assemblies import ASSEMBLIES
from hardware.tools.labels import labels
from hardware.tools.sheets import part_sheet
from hardware.tools.svg import RED, THIN, Point, Sheet
from hardware.tools.turned import screw
from rig.motion.clearances import pivots_mm
from rig.settings.kinematics import Kinematics
from rig.settings.load import load_settings
from rig.settings.model import Settings

DRAWINGS = Path(__file__).parents[1] / "drawings"


def linkage(settings: Settings) -> str:
    """Side view of hinge, screw and board, lowered and at the soft limit; 1:8."""
    sheet = Sheet(215, 242, f"Linkage, side view, mm (scale 1:8) — {settings.name}")
    m, place, scale = settings.mechanics, settings.linkage, 1 / 8
    hinge = (38.0, 20 + m.hinge_height_mm * scale)
    top = place.soft_limit_deg

    def at(x: float, z: float) -> Point:
        return hinge[0] + x * scale, hinge[1] + z * scale

    sheet.line((10, 20), (207, 20), 0.7)
    sheet.text((201, 15.5), "floor", 3)
    for angle, colour, width in ((place.home_angle_deg, "#1b1f24", 0.8), (top, "#7a8794", 0.5)):
        turn = radians(angle)
        cradle, base = pivots_mm(settings, angle)
        low = at(-30 * cos(turn), -30 * sin(turn))
        high = at(settings.board.length_mm * cos(turn), settings.board.length_mm * sin(turn))
        sheet.line(low, high, width * 2.4, colour)
        foot_of = settings.linkage.cradle_pivot_mm
        sheet.line(at(foot_of * cos(turn), foot_of * sin(turn)), at(*cradle), 1.6, colour)
        sheet.line(at(*base), at(*cradle), width, colour)
        length = Kinematics(place, settings.screw).length_mm(angle)
        ux, uz = (base[0] - cradle[0]) / length, (base[1] - cradle[1]) / length
        end = (base[0] + ux * m.motor_overhang_mm, base[1] + uz * m.motor_overhang_mm)
        sheet.line(at(*base), at(*end), width * 3, colour)
        sheet.circle(at(*cradle), 1.3, 0.4, "white")
    _, base = pivots_mm(settings, 0)
    sheet.circle(hinge, 1.6, 0.5, "white")
    sheet.circle(at(*base), 1.5, 0.5, "white")
    sheet.line(hinge, at(*base), 0.2, THIN, "4 2")
    cradle, _ = pivots_mm(settings, 0)
    raised, _ = pivots_mm(settings, top)
    sheet.line(hinge, at(*cradle), 0.2, THIN, "4 2")
    screw_of = Kinematics(place, settings.screw)
    sheet.dimension(hinge, at(*base), f"a = {place.base_pivot_mm:g}", -7)
    sheet.dimension(hinge, at(*raised), f"b = {place.cradle_pivot_mm:g}", 9)
    sheet.dimension(at(*raised), at(*base), f"{screw_of.length_mm(top):.1f} at {top:g}°", 9, 0.24)
    home = place.home_angle_deg
    sheet.dimension(at(*cradle), at(*base), f"{screw_of.length_mm(home):.1f} at {home:g}°", -8)
    sheet.dimension((hinge[0], 20), hinge, f"hinge {m.hinge_height_mm:g}", 16)
    foot = at(*base)[0]
    sheet.dimension((foot, 20), at(*base), f"{m.hinge_height_mm + base[1]:.1f}", -24)
    sheet.dimension((hinge[0], 20), (foot, 20), f"{base[0]:.1f} along the floor", -9)
    turn, long = radians(top), settings.board.length_mm
    sheet.dimension(hinge, at(long * cos(turn), long * sin(turn)), f"board {long:g}", 20)
    arc = [at(300 * cos(radians(t)), 300 * sin(radians(t))) for t in range(0, round(top) + 1)]
    sheet.polyline(arc, 0.25, RED)
    sheet.text(at(330, 120), f"{top:g}°", 3.2, colour=RED)
    sheet.text(
        (107, 225),
        f"γ₀ = {place.level_angle_deg:g}° between a and b with the board level; cradle pivot "
        + (f"{m.pivot_drop_mm:g} below" if m.pivot_drop_mm else "in")
        + " the plane of the hinge",
        3,
    )
    return sheet.render()


def places(settings: Settings) -> str:
    """The board from above with all places measured uphill from its lower edge; 1:6."""
    sheet = Sheet(240, 196, f"Places on the board, from above, mm (scale 1:6) — {settings.name}")
    board, beam, bag = settings.board, settings.beam, settings.bag
    scale, origin = 1 / 6, (20.0, 34.0)

    def at(x: float, y: float) -> Point:
        return origin[0] + x * scale, origin[1] + y * scale

    width = board.width_mm
    sheet.box(at(0, 0), at(board.length_mm, width), 0.7, "#f6ecd8")
    hole = (board.hole_start_mm + board.hole_end_mm) / 2
    radius = (board.hole_end_mm - board.hole_start_mm) / 2 * scale
    sheet.circle(at(hole, width / 2), radius, 0.5, "white")
    lead = beam.position_mm + bag.gap_mm
    low, high = width / 2 - bag.width_mm / 2, width / 2 + bag.width_mm / 2
    sheet.box(at(lead, low), at(lead + bag.length_mm, high), 0.5, "#d98a8f")
    sheet.text(at(lead + bag.length_mm / 2, width / 2 - 8), "bag", 3.2)
    second = beam.position_mm - beam.second_spacing_mm
    sheet.line(at(beam.position_mm, -25), at(beam.position_mm, width + 25), 0.5, RED)
    sheet.line(at(second, -25), at(second, width + 25), 0.5, RED, "3 2")
    sheet.box(at(board.catch_mm - 12, 0), at(board.catch_mm, width), 0.4, "#6b7280")
    sheet.text(at(board.catch_mm - 32, width / 2), "catch / parked blade", 3, turn_deg=90)
    sensor = lead + bag.length_mm / 2 + settings.mechanics.sensor_offset_mm
    sheet.box(at(sensor - 45, width + 6), at(sensor + 45, width + 40), 0.4, "#e8a33d")
    sheet.text(at(sensor, width + 52), "sensor tray", 3)
    sheet.text(at(30, width + 40), "lower edge, hinge", 3, "start")
    sheet.text(at(beam.position_mm + 6, -34), "beam 1", 3, "start", RED)
    sheet.text(at(second - 6, -34), "beam 2", 3, "end", RED)
    row = [
        (board.catch_mm, "catch"),
        (second, "beam 2"),
        (beam.position_mm, "beam 1"),
        (board.hole_start_mm, "hole"),
        (board.hole_end_mm, "hole, far rim"),
        (board.length_mm, "upper edge"),
    ]
    for i, (x, name) in enumerate(row):
        sheet.dimension(at(0, width), at(x, width), f"{x:g}  {name}", 11.5 + 5.4 * i)
    sheet.dimension(at(lead, low), at(lead + bag.length_mm, low), f"{bag.length_mm:g}", -5)
    sheet.dimension(at(board.length_mm, 0), at(board.length_mm, width), f"{width:g}", -7)
    sheet.text(
        (120, 10),
        f"Bag's leading edge {bag.gap_mm:g} mm above beam 1; beams {beam.height_mm:g} mm above "
        f"the board's highest place; slide is from right to left",
        3.2,
    )
    return sheet.render()


MECHANISM = {
    "linkage.svg": linkage,
    "places.svg": places,
    "labels.svg": labels,
    "screw.svg": screw,
    **ASSEMBLIES,
}


def all_drawings(settings: Settings) -> Iterator[tuple[str, str]]:
    """File name and text of every drawing but the wiring."""
    for name, make in MECHANISM.items():
        yield name, make(settings)
    for name, part in drawn(settings, NUMBERS).items():
        yield f"{name}.svg", part_sheet(name, part)


if __name__ == "__main__":
    chosen = load_settings(Path(sys.argv[1])) if len(sys.argv) > 1 else Settings()
    for old in DRAWINGS.glob("*.svg"):
        if not old.name.startswith("wiring"):
            old.unlink()
    for file_name, text in all_drawings(chosen):
        (DRAWINGS / file_name).write_text(text, encoding="utf-8")
