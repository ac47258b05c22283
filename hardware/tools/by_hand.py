"""Drawings, table and sheets of the way in without a motor: `hardware/by_hand.md`.

    python -m hardware.tools.by_hand

The board turns on a dowel and rests with another of the same thickness on a trestle, so that
sin(angle) = height / distance, as with a sine bar.
"""

from collections.abc import Iterator
from math import asin, cos, degrees, radians, sin, sqrt, tan
from pathlib import Path

from hardware.tools.paper import protractor, reading_sheet
from hardware.tools.svg import INK, RED, THIN, Point, Sheet

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "by_hand.md"
FOLDER = ROOT / "by_hand"

BOARD_MM = (1219.0, 610.0, 15.0)
APART_MM = 1000.0
"""From dowel to dowel, centre to centre."""
DOWEL_MM = 25.0
FIRST_MM = 60.0
"""Of the lower dowel from the board's lower edge."""
PLY_MM = 18.0
TIMBER_MM = (38.0, 89.0)
TRESTLES_MM = (150.0, 300.0, 450.0)
FOOT_MM = (600.0, 240.0)
HEIGHTS_MM = tuple(float(h) for h in range(100, 601, 50))


def angle_deg(height_mm: float, apart_mm: float = APART_MM) -> float:
    """Angle of the board on a trestle of this height above the lower dowel's seat."""
    return degrees(asin(height_mm / apart_mm))


def per_mm_deg(height_mm: float, apart_mm: float = APART_MM) -> tuple[float, float]:
    """Change of the angle for 1 mm more of height, and for 1 mm more between the dowels."""
    angle = radians(angle_deg(height_mm, apart_mm))
    return degrees(1.0 / (apart_mm * cos(angle))), -degrees(tan(angle) / apart_mm)


def table() -> str:
    """Heights and angles in Markdown."""
    lines = ["| height | angle | 1 mm of height | 1 mm between the dowels | µ = tan |"]
    lines.append("|" + " --- |" * 5)
    for height in HEIGHTS_MM:
        by_height, by_length = per_mm_deg(height)
        angle = angle_deg(height)
        name = f"{height:.0f} mm" + (" (trestle)" if height in TRESTLES_MM else "")
        lines.append(
            f"| {name} | {angle:.2f}° | {by_height:.3f}° | {-by_length:.3f}° |"
            f" {tan(radians(angle)):.3f} |"
        )
    return "\n".join(lines)


def upright_mm(height_mm: float) -> float:
    """Length of a trestle's upright: foot and crossbar, laid flat, make up the rest."""
    return height_mm - TIMBER_MM[0] - PLY_MM


def cut_list() -> list[str]:
    """Pieces to saw."""
    long, wide, thick = BOARD_MM
    uprights = ", ".join(f"2 × {upright_mm(h):.0f}" for h in TRESTLES_MM)
    return [
        f"board: birch plywood {thick:g}, {long:.0f} × {wide:.0f} (or your own board)",
        f"base: plywood {PLY_MM:g}, {APART_MM + 260:.0f} × 400",
        f"dowels: beech, {DOWEL_MM:g} thick, 2 × {wide:.0f}, from one rod",
        f"battens of the seat: {TIMBER_MM[0]:.0f} × 20, 2 × 400",
        f"feet: plywood {PLY_MM:g}, 3 × {FOOT_MM[0]:.0f} × {FOOT_MM[1]:.0f}",
        f"uprights: planed {TIMBER_MM[0]:.0f} × {TIMBER_MM[1]:.0f}: {uprights}",
        f"crossbars: the same, laid flat, 3 × {FOOT_MM[0]:.0f}; stop battens on them 6 × 20 × 20",
    ]


def side_view() -> str:
    """The board on its trestle from the side; 1:6."""
    sheet = Sheet(250, 162, "By hand: board, seat and trestle from the side, mm (1:6)")
    scale, height = 1 / 6, TRESTLES_MM[1]
    angle = radians(angle_deg(height))
    ux, uy = cos(angle), sin(angle)
    low = (38.0, 52.0)

    def at(along: float, above: float = 0.0) -> Point:
        """A place on the line through the dowels."""
        return (
            low[0] + (along * ux - above * uy) * scale,
            low[1] + (along * uy + above * ux) * scale,
        )

    radius = DOWEL_MM / 2
    floor = low[1] - radius * scale
    ends = (low[0] - 90 * scale, low[0] + (APART_MM * ux + 150) * scale)
    sheet.box((ends[0], floor - PLY_MM * scale), (ends[1], floor), 0.4, "#f6ecd8")
    sheet.text((ends[0] + 62, floor - 7), "base, on the floor or a firm table", 3)
    for side in (-1, 1):
        x = low[0] + side * (radius + 10.5) * scale
        sheet.box((x - 10 * scale, floor), (x + 10 * scale, floor + 30 * scale), 0.3, "#e0cfa8")
    upper = at(APART_MM)
    _trestle_side(sheet, upper[0], floor, height * scale, scale)
    top = [at(-FIRST_MM, radius), at(BOARD_MM[0] - FIRST_MM, radius)]
    over = [
        at(BOARD_MM[0] - FIRST_MM, radius + BOARD_MM[2]),
        at(-FIRST_MM, radius + BOARD_MM[2]),
    ]
    sheet.polyline([*top, *over], 0.5, INK, "#f6ecd8", close=True)
    for place in (at(0.0), upper):
        sheet.circle(place, radius * scale, 0.4, "#c9a46a")
    bag = [(600.0, 0.0), (752.0, 0.0), (752.0, 35.0), (600.0, 35.0)]
    corners = [at(x - FIRST_MM, radius + BOARD_MM[2] + y) for x, y in bag]
    sheet.polyline(corners, 0.4, INK, "#d98a8f", close=True)
    phone = [(960.0, 0.0), (1110.0, 0.0), (1110.0, 9.0), (960.0, 9.0)]
    sheet.polyline(
        [at(x - FIRST_MM, radius + BOARD_MM[2] + y) for x, y in phone], 0.3, INK, INK, close=True
    )
    sheet.text(_over(at(640.0, 90)), "bag", 3, turn_deg=degrees(angle))
    sheet.text(_over(at(975.0, 70)), "phone or level", 3, turn_deg=degrees(angle))
    sheet.dimension(at(0.0, 240), at(APART_MM, 240), f"{APART_MM:.0f} from dowel to dowel", 0.1)
    for along in (0.0, APART_MM):
        sheet.line(at(along, 20), at(along, 248), 0.18, THIN)
    right = upper[0] + 30
    sheet.line((low[0], low[1]), (right + 4, low[1]), 0.18, THIN, "3 2")
    sheet.dimension((right, low[1]), (right, upper[1]), f"height {height:.0f}", -1)
    sheet.line(upper, (right + 4, upper[1]), 0.18, THIN)
    sheet.text((low[0] + 40, low[1] + 4), f"{degrees(angle):.2f}°", 3.4, colour=RED)
    sheet.text(
        (131, 22),
        "sin(angle) = height / distance, both from centre to centre of equal dowels",
        3.4,
    )
    sheet.text(
        (131, 14),
        "Stop battens keep the lower dowel in its seat and the upper one on the trestle.",
        3,
    )
    return sheet.render()


def _over(place: Point) -> Point:
    return place[0], place[1] + 1.0


def _trestle_side(sheet: Sheet, x: float, floor: float, tall: float, scale: float) -> None:
    """Foot, upright and crossbar from the side."""
    deep, timber = FOOT_MM[1] * scale / 2, TIMBER_MM[1] * scale / 2
    bar = TIMBER_MM[0] * scale
    sheet.box((x - deep, floor), (x + deep, floor + PLY_MM * scale), 0.4, "#f6ecd8")
    sheet.box(
        (x - timber, floor + PLY_MM * scale), (x + timber, floor + tall - bar), 0.4, "#eadbb8"
    )
    sheet.box((x - timber, floor + tall - bar), (x + timber, floor + tall), 0.4, "#e0cfa8")
    for side in (-1, 1):
        edge = x + side * (DOWEL_MM / 2 + 10.5) * scale
        sheet.box(
            (edge - 10 * scale, floor + tall),
            (edge + 10 * scale, floor + tall + 20 * scale),
            0.3,
            "#e0cfa8",
        )


def trestle() -> str:
    """A trestle from the front and from the side with its sizes, and the cut list; 1:6."""
    rows = cut_list()
    sheet = Sheet(212, 158, "Trestles and cut list, mm (1:6)")
    scale, height = 1 / 6, TRESTLES_MM[1]
    x, floor, wide = 24.0, 78.0, FOOT_MM[0] / 6
    bar = TIMBER_MM[0] * scale
    sheet.box((x, floor), (x + wide, floor + PLY_MM * scale), 0.4, "#f6ecd8")
    for place in (x + 60 * scale, x + wide - 60 * scale - TIMBER_MM[0] * scale):
        low = (place, floor + PLY_MM * scale)
        high = (place + TIMBER_MM[0] * scale, floor + height * scale - bar)
        sheet.box(low, high, 0.4, "#eadbb8")
    sheet.box((x, floor + height * scale - bar), (x + wide, floor + height * scale), 0.4, "#e0cfa8")
    sheet.dimension((x, floor), (x, floor + height * scale), f"{height:.0f}", 8)
    sheet.dimension((x, floor), (x + wide, floor), f"{FOOT_MM[0]:.0f}", -8)
    middle = x + 75 * scale
    sheet.dimension(
        (middle + 12, floor + PLY_MM * scale),
        (middle + 12, floor + height * scale - bar),
        f"{upright_mm(height):.0f}",
        -4,
    )
    right = x + wide + 46
    _trestle_side(sheet, right, floor, height * scale, scale)
    deep = FOOT_MM[1] * scale / 2
    sheet.dimension((right - deep, floor), (right + deep, floor), f"{FOOT_MM[1]:.0f}", -8)
    sheet.text((x + wide / 2, floor + height * scale + 8), "front", 3, colour=THIN)
    sheet.text((right, floor + height * scale + 12), "side", 3, colour=THIN)
    for i, row in enumerate(rows):
        sheet.text((8, 58 - 5.4 * i), row, 3, "start")
    sheet.text((8, 14), "Screw a diagonal 18 × 60 on the back of the 450 mm trestle.", 3, "start")
    sheet.text(
        (8, 8), "Heights count from the base to the top of the crossbar: measure yours.", 3, "start"
    )
    return sheet.render()


def all_sheets() -> Iterator[tuple[str, str]]:
    """File name and text of every drawing and every sheet to print."""
    yield "side_view.svg", side_view()
    yield "trestle.svg", trestle()
    yield "protractor.svg", protractor()
    for paper in ("a4", "letter"):
        yield f"reading_sheet_{paper}.svg", reading_sheet(paper)


def board_kg(density_kg_m3: float = 680.0) -> float:
    """Mass of the board; birch plywood."""
    long, wide, thick = BOARD_MM
    return long * wide * thick * 1e-9 * density_kg_m3


def dowel_u_deg(height_mm: float, u_height_mm: float, u_apart_mm: float) -> float:
    """Standard uncertainty of the angle from those of height and distance."""
    by_height, by_apart = per_mm_deg(height_mm)
    return sqrt((by_height * u_height_mm) ** 2 + (by_apart * u_apart_mm) ** 2)


def filled(text: str) -> str:
    """The page with its table made again."""
    before, mark, rest = text.partition("<!-- heights -->")
    _, end, after = rest.partition("<!-- /heights -->")
    return f"{before}{mark}\n{table()}\n\n{end}{after}"


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, drawing in all_sheets():
        (FOLDER / name).write_text(drawing, encoding="utf-8")
    PAGE.write_text(filled(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
