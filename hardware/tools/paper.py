"""What is printed at true scale: a protractor for droop, and a sheet for readings by hand."""

from math import cos, radians, sin

from hardware.tools.svg import INK, RED, THIN, Point, Sheet
from rig.study.slides.from_csv import COLUMNS, NEEDED

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
TEST_MM = 100.0
RADIUS_MM = 150.0
OVERHANG_MM = 51.0
"""Usual overhang of a bag, 2 in."""

WIDTHS = {
    "at": 27.0,
    "reader": 18.0,
    "bag": 25.0,
    "face": 17.0,
    "board": 22.0,
    "angle_deg": 17.0,
    "temperature_c": 21.5,
    "relative_humidity_pct": 19.0,
    "note": 24.0,
}
WORDS = {
    "at": "day and time",
    "reader": "read by",
    "bag": "bag",
    "face": "face down",
    "board": "board",
    "angle_deg": "angle, °",
    "temperature_c": "air, °C",
    "relative_humidity_pct": "humidity, %",
    "note": "note",
}
EDGE_MM = 10.0
ROW_MM = 8.2


def protractor() -> str:
    """A quarter circle below a table's edge; fits A4 and Letter, to be printed at 100 %."""
    width, height = PAPERS_MM["a4"][0], PAPERS_MM["letter"][1]
    sheet = Sheet(width, height, "Protractor for droop, print at 100 %")
    corner = (30.0, height - 50.0)

    def at(angle_deg: float, radius: float) -> Point:
        turn = radians(angle_deg)
        return corner[0] + radius * cos(turn), corner[1] - radius * sin(turn)

    sheet.line((12.0, corner[1]), (corner[0] + RADIUS_MM + 18, corner[1]), 0.4)
    sheet.text((corner[0] + 60, corner[1] + 3), "the table’s top continues along this line", 3)
    for angle in range(91):
        inner = RADIUS_MM - (12.0 if angle % 10 == 0 else 8.0 if angle % 5 == 0 else 5.0)
        sheet.line(at(angle, inner), at(angle, RADIUS_MM), 0.3 if angle % 5 == 0 else 0.15)
        if angle % 10 == 0:
            x, y = at(angle, RADIUS_MM + 5.0)
            sheet.text((x, y - 1.2), f"{angle}°", 4.0, bold=True)
            sheet.line(at(angle, 12.0), at(angle, inner - 2.0), 0.12, THIN, "1 2")
    for radius in (RADIUS_MM, OVERHANG_MM):
        arc = [at(angle, radius) for angle in range(91)]
        sheet.polyline(arc, 0.3 if radius == RADIUS_MM else 0.25, INK)
    x, y = at(45.0, OVERHANG_MM)
    sheet.text((x + 4, y - 4), f"overhang {OVERHANG_MM:g} mm", 3, "start", turn_deg=-45.0)
    sheet.line((corner[0] - 4, corner[1]), (corner[0] + 4, corner[1]), 0.4, RED)
    sheet.line((corner[0], corner[1] - 4), (corner[0], corner[1] + 4), 0.4, RED)
    _test_line(sheet, (30.0, 30.0))
    for i, line in enumerate(
        (
            "Glue it to stiff card. Hold it upright beside the bag, the red cross on the table’s"
            " edge,",
            "the line along the table’s top. Flatten the bag, push it over the edge to the"
            " overhang, let it hang.",
            "Sight along the bag’s upper face and read the angle below the horizontal to 1°.",
        )
    ):
        sheet.text((12.0, 62.0 - 5.0 * i), line, 3.2, "start")
    return sheet.render()


def reading_sheet(paper: str) -> str:
    """Rows for readings whose columns are those of `rig study reading --from`."""
    width, height = PAPERS_MM[paper]
    sheet = Sheet(width, height, "Slide angles by hand")
    sheet.text(
        (width - EDGE_MM, height - 10), "one line for each slide; ditto marks will do", 3, "end"
    )
    top, foot = height - 18.0, 34.0
    head = 15.0
    n = int((top - head - foot) // ROW_MM)
    scale = (width - 2 * EDGE_MM) / sum(WIDTHS[name] for name in COLUMNS)
    x = EDGE_MM
    for name in COLUMNS:
        wide = WIDTHS[name] * scale
        sheet.text((x + wide / 2, top - 4.6), WORDS[name], 2.4, bold=True)
        for i, part in enumerate(_parts(name)):
            sheet.text((x + wide / 2, top - 9.0 - 3.0 * i), part, 2.4, colour=THIN)
        sheet.line((x, top), (x, top - head - n * ROW_MM), 0.25)
        x += wide
    sheet.line((x, top), (x, top - head - n * ROW_MM), 0.25)
    sheet.line((EDGE_MM, top), (x, top), 0.4)
    for row in range(n + 1):
        y = top - head - row * ROW_MM
        sheet.line((EDGE_MM, y), (x, y), 0.4 if row == 0 else 0.15)
    optional = [WORDS[name] for name in COLUMNS if name not in NEEDED]
    for i, line in enumerate(
        (
            "Type it into a spreadsheet with the small names as first line, save it as CSV, then:"
            " rig study reading STUDY --from FILE.csv",
            f"Day and time as 2026-05-30 19:40. May stay empty: {', '.join(optional)}.",
        )
    ):
        sheet.text((EDGE_MM, foot - 8.0 - 4.6 * i), line, 2.9, "start")
    _test_line(sheet, (EDGE_MM, 9.0))
    return sheet.render()


def _parts(name: str) -> list[str]:
    """A column's name on one line or, if it is long, on two."""
    first, mark, rest = name.partition("_")
    return [f"{first}_", rest] if mark and len(name) > 13 else [name]


def _test_line(sheet: Sheet, place: Point) -> None:
    """A line whose length shows whether the printer has scaled."""
    x, y = place
    sheet.line((x, y), (x + TEST_MM, y), 0.4)
    for end in (x, x + TEST_MM):
        sheet.line((end, y - 2), (end, y + 2), 0.4)
    sheet.text(
        (x + TEST_MM + 3, y - 1), f"must be {TEST_MM:.0f} mm: measure it before use", 2.9, "start"
    )
