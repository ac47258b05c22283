"""Draws `hardware/drawings/*.svg` from the settings; the small parts from the model as well.

    python hardware/tools/drawings.py [--parts] [rig.toml]

`--parts` needs OpenSCAD. The drawings of the mechanism need nothing.
"""

import re
import subprocess
import sys
import tempfile
from math import cos, radians, sin
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from frame import cradle, frame
from pictures import HARDWARE, MODEL, part_names
from svg import INK, RED, THIN, Point, Sheet

from rig.motion.clearances import pivots_mm
from rig.settings.kinematics import Kinematics
from rig.settings.load import load_settings
from rig.settings.model import Settings

DRAWINGS = HARDWARE / "drawings"

# As in model/rig.scad and model/parts.scad.
BOARD_THICK_MM = 18.0
RAIL_MM = 40.0
BLADE_LOW_MM, BLADE_TALL_MM, BLADE_PAD_MM = 4.0, 36.0, 1.0
LEG_FOOT_MM = 4.0
"""The legs end this far above the side rail, in the carriage's slot."""


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
    length = Kinematics(place, settings.screw)
    sheet.dimension(hinge, at(*base), f"a = {place.base_pivot_mm:g}", -7)
    sheet.dimension(hinge, at(*raised), f"b = {place.cradle_pivot_mm:g}", 9)
    sheet.dimension(at(*raised), at(*base), f"{length.length_mm(top):.1f} at {top:g}°", 9, 0.24)
    home = place.home_angle_deg
    sheet.dimension(at(*cradle), at(*base), f"{length.length_mm(home):.1f} at {home:g}°", -8)
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
        f"{m.pivot_drop_mm:g} below the hinge's plane",
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


def blade(settings: Settings) -> str:
    """The blade's plate, seen uphill, with its two legs; 1:4."""
    side, top = 25.0, RAIL_MM / 2 + BOARD_THICK_MM + BLADE_LOW_MM - LEG_FOOT_MM
    notch = settings.board.width_mm + 30
    span, tall, scale = notch + 2 * side, BLADE_TALL_MM, 1 / 4
    sheet_mm = settings.blade.thickness_mm - BLADE_PAD_MM
    sheet = Sheet(215, 74, f"Blade, plate of {sheet_mm:g} mm sheet, mm (scale 1:4)")
    x0, y0 = 24.0, 34.0

    def at(x: float, y: float) -> Point:
        return x0 + x * scale, y0 + y * scale

    outline = [(0.0, 0.0), (side, 0.0), (side, top), (side + notch, top), (side + notch, 0.0)]
    outline += [(span, 0.0), (span, top + tall), (0.0, top + tall), (0.0, 0.0)]
    sheet.polyline([at(*point) for point in outline], 0.6, INK)
    for x in (10.0, span - 10.0):
        sheet.circle(at(x, 3), 0.45, 0.3, "white")
    sheet.box(at(side, top), at(side + notch, top + tall), 0.2, "#d6dade")
    sheet.line(at(0, top + tall - 2), at(span, top + tall - 2), 0.2, THIN, "3 2")
    sheet.dimension(at(0, 0), at(span, 0), f"{span:g}", -12)
    sheet.dimension(at(side, 0), at(side + notch, 0), f"{notch:g}", -5)
    sheet.dimension(at(0, 0), at(0, top + tall), f"{top + tall:g}", 6)
    sheet.dimension(at(span, top), at(span, top + tall), f"{tall:g}", -6)
    sheet.text(
        (107, 13),
        f"Grey: {BLADE_PAD_MM:g} mm of cork on the uphill face. Dashed: stiffener 15 × 15 × 2 on "
        "the downhill side, flush with the top.",
        2.8,
    )
    sheet.text(
        (107, 8),
        f"Holes ⌀3.4, 10 from the side and 3 up, for the carriages. Lower edge {BLADE_LOW_MM:g} mm "
        f"above a board of {BOARD_THICK_MM:g} mm.",
        2.8,
    )
    return sheet.render()


def part(name: str) -> str:
    """Top, front and right view of a small part, with its outer dimensions; 1:1."""
    views = {view: _outline(name, view) for view in ("top", "front", "right")}
    sizes = {}
    for view, (low, high, _) in views.items():
        sizes[view] = (high[0] - low[0], high[1] - low[1])
    wide, deep = sizes["top"]
    tall = sizes["front"][1]
    width = max(26 + wide + 30 + sizes["right"][0] + 22, 26 + wide + 30 + 68)
    rows = sum(len(_openings(low, path)) for low, _, path in views.values())
    drop = max(0.0, 5 + 4.6 * (rows + 1) - deep - 26)
    sheet = Sheet(width, 26 + drop + tall + 26 + deep + 26, f"{name.replace('_', ' ')}, mm (1:1)")
    spots = {
        "front": (22.0, 18 + drop + deep + 26),
        "top": (22.0, 18.0 + drop),
        "right": (22 + wide + 30, 18 + drop + deep + 26),
    }
    for view, (low, high, path) in views.items():
        x, y = spots[view]
        shift = f"translate({x - low[0]:.3f} {sheet.height - y + low[1]:.3f})"
        sheet.raw(
            f'<path d="{path}" transform="{shift}" fill="#eef1f4" stroke="#1b1f24" '
            f'stroke-width="0.35" fill-rule="evenodd"/>'
        )
        size = sizes[view]
        sheet.dimension((x, y), (x + size[0], y), f"{size[0]:.4g}", -6)
        sheet.dimension((x, y), (x, y + size[1]), f"{size[1]:.4g}", 6)
        sheet.text((x + size[0] / 2, y - 13), view, 2.8, colour=THIN)
        del high
    row = spots["front"][1] - 27
    sheet.text((22 + wide + 30, row), "openings, from the lower left corner:", 2.8, "start", THIN)
    for view, (low, _, path) in views.items():
        for text in _openings(low, path):
            row -= 4.6
            sheet.text((22 + wide + 30, row), f"{view}: {text}", 2.8, "start")
    return sheet.render()


def _openings(low: Point, path: str) -> list[str]:
    """Size and centre of each opening in a view; the loop with the largest extent is the rim."""
    loops = []
    for loop in path.split("M")[1:]:
        found = re.findall(r"(-?[\d.]+),(-?[\d.]+)", loop)
        xs, ys = [float(x) for x, _ in found], [-float(y) for _, y in found]
        centre = ((min(xs) + max(xs)) / 2 - low[0], (min(ys) + max(ys)) / 2 - low[1])
        loops.append((max(xs) - min(xs), max(ys) - min(ys), len(found), centre))
    loops.sort(key=lambda loop: loop[0] * loop[1], reverse=True)
    texts = []
    for wide, tall, corners, (x, y) in loops[1:]:
        is_round = corners > 8 and abs(wide - tall) < 0.02
        size = f"⌀{wide:.3g}" if is_round else f"{wide:.3g} × {tall:.3g}"
        texts.append(f"{size} at {x:.4g}, {y:.4g}")
    return texts


def _outline(name: str, view: str) -> tuple[Point, Point, str]:
    """Corners and SVG path of a view, as OpenSCAD projects it (y down, as SVG has it)."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "view.svg"
        choice = ["-D", f'part="{name}"', "-D", f'view="{view}"']
        command = ["openscad", "-o", str(target), *choice, str(MODEL / "print.scad")]
        subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - ours
        text = target.read_text(encoding="utf-8")
    path = " ".join(re.findall(r' d="([^"]+)"', text, re.DOTALL)).replace("\n", " ")
    points = [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path)]
    xs, ys = zip(*points, strict=True)
    return (min(xs), -max(ys)), (max(xs), -min(ys)), path


MECHANISM = {
    "linkage.svg": linkage,
    "frame.svg": frame,
    "cradle.svg": cradle,
    "places.svg": places,
    "blade.svg": blade,
}

if __name__ == "__main__":
    files = [Path(text) for text in sys.argv[1:] if not text.startswith("--")]
    chosen = load_settings(files[0]) if files else Settings()
    for file_name, make in MECHANISM.items():
        (DRAWINGS / file_name).write_text(make(chosen), encoding="utf-8")
    if "--parts" in sys.argv:
        for small in part_names():
            (DRAWINGS / f"{small}.svg").write_text(part(small), encoding="utf-8")
