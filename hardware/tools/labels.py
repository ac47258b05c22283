"""Labels and signs to print at full size, on one sheet of A4."""

from typing import NamedTuple

from hardware.tools.svg import INK, Sheet
from rig.devices.lamp import PATTERNS, Pattern
from rig.settings.model import Settings

YELLOW, RED, WHITE = "#ffd23f", "#c8322b", "white"
MARKS = ("S1", "S2", "S3", "S4", "S5", "S6", "S7", "K1", "F1", "M1", "M2", "PE")
COLOURS = {"r": "red", "g": "green", "b": "blue", "rg": "yellow", "rgb": "white"}
MEANS = {"placing": "put the bag back", "halted": "halted: it says why"}
"""Where a state's own name says too little."""
SLOW_S = 0.5


class Sign(NamedTuple):
    """Place and size on the sheet in mm, colour, and lines, the first of them large."""

    x: float
    y: float
    wide: float
    tall: float
    colour: str
    lines: tuple[str, ...]


def _signs(settings: Settings) -> list[Sign]:
    m = settings.mechanics
    edge = ("HANDS OFF BELOW THE BOARD", "It moves by itself.", "Set the prop before you reach in.")
    stop = ("EMERGENCY STOP", "Cuts the motor's supply.", "Pull it out, then S5.")
    start = ("START / STOP", "green: next run", "black: end the run", "S5: motor supply on")
    after = (
        "AFTER A STOP",
        "1  Prop in, power off",
        "2  Crank on, push in, clip: lift off the prop",
        "3  Prop out, hand off",
        "4  Crank down, clip out, crank off",
    )
    prop = (
        "PROP",
        "Swing up, notch on the pin,",
        "pin through the next hole,",
        "crank down on it.",
    )
    mains = (
        f"{m.supply_v:g} V DC, {m.supply_a:g} A",
        "Mains inside: licensed electrician.",
        "Switch off, pull the plug, wait 10 s.",
    )
    dry = ("DO NOT OIL THE SCREW", "Dry, it holds the board; oiled, it may not.")
    masses = f"base {m.base_mass_kg:g} kg, cradle and board {m.moving_mass_kg:g} kg"
    heavy = ("TWO PERSONS", masses)
    line = ("KEEP BEHIND THE LINE", "This board moves without warning. 1 m on all sides.")
    return [
        Sign(10, 236, 92, 36, YELLOW, edge),
        Sign(107, 236, 92, 36, YELLOW, edge),
        Sign(10, 192, 92, 38, RED, stop),
        Sign(107, 192, 92, 38, WHITE, start),
        Sign(10, 142, 92, 44, YELLOW, after),
        Sign(107, 142, 92, 44, YELLOW, prop),
        Sign(10, 112, 92, 24, WHITE, mains),
        Sign(107, 112, 92, 24, WHITE, dry),
        Sign(10, 82, 92, 24, WHITE, heavy),
        Sign(107, 82, 92, 24, YELLOW, ("CRANK", "Pulled out while the motor may run.")),
        *(Sign(10 + 15.8 * i, 64, 14, 11, WHITE, (mark,)) for i, mark in enumerate(MARKS)),
        Sign(10, 34, 189, 24, YELLOW, line),
    ]


def labels(settings: Settings) -> str:
    """Signs for board, post, crank, prop and box; print without scaling and cover with film."""
    sheet = Sheet(210, 297, "Labels, print at 100 % and cut")
    for sign in _signs(settings):
        sheet.box((sign.x, sign.y), (sign.x + sign.wide, sign.y + sign.tall), 0.6, sign.colour)
        colour = "white" if sign.colour == RED else INK
        step = min(6.4, (sign.tall - 6) / len(sign.lines))
        top = sign.y + sign.tall / 2 + step * (len(sign.lines) - 1) / 2
        for i, line in enumerate(sign.lines):
            size = min(4.6 if i == 0 else 3.4, 1.6 * sign.wide / max(len(line), 1))
            at = (sign.x + sign.wide / 2, top - step * i - 1.4)
            sheet.text(at, line, size, colour=colour, bold=i == 0)
    for i, line in enumerate(lamp_lines()):
        sheet.text((10, 25 - 5 * i), line, 3, "start")
    return sheet.render()


def lamp_lines() -> list[str]:
    """What the lamp shows in each state, three to a line."""
    shown = [
        f"{COLOURS[pattern.colours]} {_rhythm(pattern)} {MEANS.get(state, state)}"
        for state, pattern in PATTERNS.items()
    ]
    lines = [" · ".join(shown[i : i + 3]) for i in range(0, len(shown), 3)]
    return [f"Lamp: {lines[0]}", *lines[1:]]


def _rhythm(pattern: Pattern) -> str:
    if not pattern.dark_s:
        return "steady"
    return "slow" if pattern.lit_s >= SLOW_S else "fast"
