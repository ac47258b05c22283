"""A few shapes of SVG, and dimension lines; millimetres in, millimetres on paper out."""

from math import atan2, cos, degrees, hypot, radians, sin
from xml.sax.saxutils import escape

INK, THIN, RED = "#1b1f24", "#5b6570", "#b3261e"
FONT = "DejaVu Sans, Arial, sans-serif"

Point = tuple[float, float]


class Sheet:
    """A drawing; y points up, as on paper, from the lower left corner.

    Args:
        width_mm: of the sheet.
        height_mm: of the sheet.
        title: written at its top, and as the file's title.
    """

    def __init__(self, width_mm: float, height_mm: float, title: str) -> None:
        self.width, self.height, self.title = width_mm, height_mm, title
        self._parts: list[str] = []
        self.text((8, height_mm - 10), title, size=5, anchor="start", bold=True)

    def _y(self, y: float) -> float:
        return self.height - y

    def line(
        self, a: Point, b: Point, width: float = 0.5, colour: str = INK, dash: str = ""
    ) -> None:
        """A straight line."""
        style = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<line x1="{a[0]:.2f}" y1="{self._y(a[1]):.2f}" x2="{b[0]:.2f}" '
            f'y2="{self._y(b[1]):.2f}" stroke="{colour}" stroke-width="{width}"{style}/>'
        )

    def polyline(
        self,
        points: list[Point],
        width: float = 0.5,
        colour: str = INK,
        fill: str = "none",
        *,
        close: bool = False,
    ) -> None:
        """A chain of lines."""
        kind = "polygon" if close else "polyline"
        text = " ".join(f"{x:.2f},{self._y(y):.2f}" for x, y in points)
        self._parts.append(
            f'<{kind} points="{text}" fill="{fill}" stroke="{colour}" stroke-width="{width}"/>'
        )

    def box(
        self, low: Point, high: Point, width: float = 0.5, fill: str = "none", colour: str = INK
    ) -> None:
        """A rectangle between two corners."""
        (x0, y0), (x1, y1) = low, high
        self.polyline([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], width, colour, fill, close=True)

    def circle(self, at: Point, radius: float, width: float = 0.5, fill: str = "none") -> None:
        """A circle."""
        self._parts.append(
            f'<circle cx="{at[0]:.2f}" cy="{self._y(at[1]):.2f}" r="{radius:.2f}" fill="{fill}" '
            f'stroke="{INK}" stroke-width="{width}"/>'
        )

    def text(
        self,
        at: Point,
        text: str,
        size: float = 3.2,
        anchor: str = "middle",
        colour: str = INK,
        turn_deg: float = 0.0,
        *,
        bold: bool = False,
    ) -> None:
        """A line of text; `turn_deg` counter-clockwise."""
        x, y = at[0], self._y(at[1])
        turn = f' transform="rotate({-turn_deg:.2f} {x:.2f} {y:.2f})"' if turn_deg else ""
        weight = ' font-weight="bold"' if bold else ""
        self._parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size}" '
            f'text-anchor="{anchor}" fill="{colour}"{weight}{turn}>{escape(text)}</text>'
        )

    def dimension(
        self, a: Point, b: Point, text: str, offset: float = 8.0, part: float = 0.5
    ) -> None:
        """A dimension from a to b, drawn `offset` to the left; its text lies at this part of it."""
        length = hypot(b[0] - a[0], b[1] - a[1])
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        nx, ny = -uy, ux
        gap, over = (1.0, 1.5) if offset > 0 else (-1.0, -1.5)
        ends = []
        for x, y in (a, b):
            self.line(
                (x + nx * gap, y + ny * gap),
                (x + nx * (offset + over), y + ny * (offset + over)),
                0.18,
                THIN,
            )
            ends.append((x + nx * offset, y + ny * offset))
        self.line(ends[0], ends[1], 0.25, THIN)
        for (x, y), way in zip(ends, (1, -1), strict=True):
            tip = [
                (x, y),
                (x + way * ux * 2.4 + nx * 0.6, y + way * uy * 2.4 + ny * 0.6),
                (x + way * ux * 2.4 - nx * 0.6, y + way * uy * 2.4 - ny * 0.6),
            ]
            self.polyline(tip, 0.1, THIN, THIN, close=True)
        turn = degrees(atan2(uy, ux))
        if not -90.01 < turn <= 90.01:
            turn += 180 if turn < 0 else -180
        lift = 1.2
        (x0, y0), (x1, y1) = ends
        cx, cy = x0 + (x1 - x0) * part, y0 + (y1 - y0) * part
        t = radians(turn)
        self.text((cx - sin(t) * lift, cy + cos(t) * lift), text, turn_deg=turn)

    def raw(self, text: str) -> None:
        """A piece of SVG as it is (y down)."""
        self._parts.append(text)

    def render(self) -> str:
        """The file's text."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}mm" '
            f'height="{self.height:g}mm" viewBox="0 0 {self.width:g} {self.height:g}">'
        )
        page = f'<rect width="{self.width:g}" height="{self.height:g}" fill="white"/>'
        body = "\n".join([head, f"<title>{escape(self.title)}</title>", page, *self._parts])
        return body + "\n</svg>\n"
