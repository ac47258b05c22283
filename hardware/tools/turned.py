"""Drawing of the screw: the whole of it, and its turned end at full size."""

from hardware.model.numbers import NUMBERS, Numbers
from hardware.tools.svg import THIN, Sheet
from rig.motion.lead_screw import trapezoidal
from rig.settings.model import Settings


def trade_name(settings: Settings) -> str:
    """As a trapezoidal screw is sold: diameter × lead."""
    return f"Tr{settings.mechanics.screw_diameter_mm:g}×{settings.screw.lead_mm:g}"


def screw(settings: Settings, n: Numbers = NUMBERS) -> str:
    """The screw, 1:4, and its turned end, 1:1."""
    m, scale = settings.mechanics, 1 / 4
    kind = trade_name(settings)
    _, core_mm = trapezoidal(m.screw_diameter_mm, settings.screw.lead_mm)
    sheet = Sheet(215, 150, f"Screw {kind}, mm (1:4; turned end 1:1)")
    wide, (journal, seat, thread), (shaft, end) = m.screw_diameter_mm, n.journal, n.shaft_end
    steps = [(end, shaft), (seat, journal), (m.screw_length_mm, wide)]
    whole = sum(long for long, _ in steps)
    x, y = 40.0, 118.0
    for long, thick in steps:
        half = thick * scale / 2
        sheet.box((x, y - half), (x + long * scale, y + half), 0.4, "#eef1f4")
        sheet.dimension((x, y + 3), (x + long * scale, y + 3), f"{long:g}", 5)
        x += long * scale
    sheet.dimension((40, y - 3), (x, y - 3), f"{whole:g}", -7)
    x, y = 24.0, 76.0
    for long, thick in ((end, shaft), (thread, journal), (seat - thread, journal), (26.0, wide)):
        sheet.box((x, y - thick / 2), (x + long, y + thick / 2), 0.4, "#eef1f4")
        sheet.dimension((x, y + 9), (x + long, y + 9), "thread" if long == 26 else f"{long:g}", 5)
        x += long
    for root in (y - journal / 2 + 0.6, y + journal / 2 - 0.6):
        sheet.line((24 + end, root), (24 + end + thread, root), 0.18, THIN)
    sheet.text((24 + end / 2, y - 1), f"⌀{shaft:g} h7", 3)
    sheet.text((24 + end + thread / 2, y - 10), "M10×1", 3)
    sheet.text((24 + end + thread + 14, y - 1), f"⌀{journal:g} h6", 3)
    lines = (
        f"1 × trapezoidal screw {kind}, rolled, {whole:g} long, lower end turned",
        f"Everything is turned from the core of {core_mm:g}: no journal is thicker than it.",
        "Shoulder square to the axis; run-out of both seats 0.05. Chamfers 0.5 × 45°.",
        "The bearing unit of size 10 sits on ⌀10 between the shoulder, with its spacer ring, and a",
        "lock nut M10×1. Bevel gear and coupling sit on ⌀8; flats for their screws.",
        "Upper end: faced, tap M6 × 20 for the tip washer ⌀24 × 4 with a countersunk screw.",
    )
    for i, line in enumerate(lines):
        sheet.text((8, 50 - 5.2 * i), line, 3, "start", bold=i == 0)
    return sheet.render()
