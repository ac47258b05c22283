"""Makes `hardware/netlist.csv` and `hardware/drawings/wiring.svg` from the pins in the settings.

    python -m hardware.tools.wiring [rig.toml]

Without a file it makes three pairs: of the built-in settings with the usual driver, whose ENA input
disables it; of the same with a driver whose input must be driven to run (`_run`); and of
`hardware/blade.toml`, which has everything that is optional (`_blade`). The netlist comes first: a
row per end of a wire. The diagram is drawn from those rows, so the two cannot differ.
"""

import csv
import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from hardware.tools.svg import INK, RED, THIN, Sheet
from rig.settings.load import load_settings
from rig.settings.model import Pins, Settings

HARDWARE = Path(__file__).parents[1]
BLADE = HARDWARE / "blade.toml"

HEADER_PIN = {
    2: 3, 3: 5, 4: 7, 14: 8, 15: 10, 17: 11, 18: 12, 27: 13, 22: 15, 23: 16, 24: 18, 10: 19,
    9: 21, 25: 22, 11: 23, 8: 24, 7: 26, 0: 27, 1: 28, 5: 29, 6: 31, 12: 32, 13: 33, 19: 35,
    16: 36, 26: 37, 20: 38, 21: 40,
}  # fmt: skip
"""GPIO number to pin of the 40-pin header, all models since 2014."""

GROUND_PINS = (6, 9, 14, 20, 25, 30, 34, 39)


PULL_UP_OHM, FILTER_OHM, FILTER_F = 1500.0, 1000.0, 100e-9
"""Of every contact: pull-up to 3.3 V on its side, resistor and capacitor before the Pi."""


PULL_DOWN_OHM, BASE_OHM, LAMP_OHM = 10e3, 1000.0, 150.0
"""Of an enable line, of a transistor's base, of a colour of the lamp."""
BEAM_PULL_UP_OHM = 2200.0
ENA_OHM = 2200.0
"""Gives a disabling input its current from the motor supply; 1 W."""


def ohm(value: float) -> str:
    """A resistance as it is written on a diagram."""
    return f"{value / 1000:g} kΩ" if value >= 1000 else f"{value:g} Ω"


def contact_ma() -> float:
    """Current through a closed contact."""
    return 3.3 / PULL_UP_OHM * 1000


def filter_ms() -> tuple[float, float]:
    """Time constants of the filter when a contact closes, and when it opens."""
    return 1e3 * FILTER_OHM * FILTER_F, 1e3 * (FILTER_OHM + PULL_UP_OHM) * FILTER_F


class Axis(NamedTuple):
    """A motor with its driver, its buffer, and what keeps it off."""

    prefix: str
    motor: str
    buffer: str
    resistor: str
    relay: str
    switch: str
    series: str
    pins: tuple[tuple[str, int | None], ...]


def axes(pins: Pins) -> list[Axis]:
    """The screw's motor, and the blade's if it has pins."""
    screw = (("step", pins.step), ("direction", pins.direction), ("enable", pins.enable))
    blade = (
        ("step", pins.blade_step),
        ("direction", pins.blade_direction),
        ("enable", pins.blade_enable),
    )
    found = [Axis("", "M1", "U1 buffer", "R5 pull-down", "K2 relay", "Q5 driver", "R7", screw)]
    if pins.blade_step is not None:
        parts = ("M2", "U2 buffer", "R6 pull-down", "K3 relay", "Q6 driver", "R8")
        found.append(Axis("blade ", *parts, blade))
    return found


class End(NamedTuple):
    """One end of a wire."""

    net: str
    part: str
    terminal: str
    note: str = ""


def netlist(settings: Settings, *, run_input: bool = False) -> list[End]:
    """Every connection of the rig, net by net.

    Args:
        settings: pins, and what is fitted.
        run_input: whether the drivers have an input that must be driven to run; else one that
            disables them while it is driven.
    """
    pins = settings.pins

    def pi(number: int) -> tuple[str, str]:
        return "Pi", f"{HEADER_PIN[number]} (GPIO {number})"

    ends: list[End] = []
    contacts = list(enumerate(_contacts(pins), 11))
    spare = "" if run_input else "3A, "

    def net(name: str, *places: tuple[str, str] | tuple[str, str, str]) -> None:
        ends.extend(End(name, *place) for place in places)

    # mains and the motor's supply: everything that moves hangs behind K1
    net("earth", ("mains inlet", "PE"), ("24 V supply", "PE"), ("frame bond", "M5"),
        ("star point", "PE link (PELV)"))  # fmt: skip
    net("live", ("mains inlet", "L, 2 A slow, switched"), ("24 V supply", "L"),
        ("5 V supply", "L"))  # fmt: skip
    net("neutral", ("mains inlet", "N, switched"), ("24 V supply", "N"), ("5 V supply", "N"))
    net("24 V", ("24 V supply", "+"), ("F1 6.3 A slow", "1"))
    net("24 V fused", ("F1 6.3 A slow", "2"), ("S1 emergency stop", "11 (closed)"),
        ("K1 contactor", "1"))  # fmt: skip
    net("coil", ("S1 emergency stop", "12"), ("S3 limit upper", "11 (closed)"))
    net("coil 2", ("S3 limit upper", "12"), ("S5 reset", "13 (open)"),
        ("K1 contactor", "13 (holds itself)"))  # fmt: skip
    net("coil held", ("S5 reset", "14"), ("K1 contactor", "14, A1", "varistor across the coil"))
    motors = axes(pins)
    relays = [] if run_input else motors
    net("motor supply", ("K1 contactor", "2"), ("C1 1000 µF 63 V", "+"),
        *((f"{axis.motor} driver", "V+") for axis in motors),
        *((f"{axis.series} {ohm(ENA_OHM)} 1 W", "1") for axis in relays))  # fmt: skip
    net("0 V power", ("24 V supply", "−"), ("K1 contactor", "A2"), ("C1 1000 µF 63 V", "−"),
        *((f"{axis.motor} driver", "GND") for axis in motors),
        *((axis.relay, "12") for axis in relays), ("star point", "0 V"))  # fmt: skip
    for axis in motors:
        for phase in "AB":
            wires = f"{phase}+, {phase}−"
            net(f"{axis.prefix}phase {phase}", (f"{axis.motor} driver", wires),
                (f"{axis.motor} motor", wires, "screened, screen at driver"))  # fmt: skip

    # logic supplies; the Pi is fed through its own socket, and feeds the small parts
    second, park = pins.beam_2 is not None, pins.blade_park is not None
    net("5 V USB", ("5 V supply", "USB-C, 5.1 V"), ("Pi", "USB-C"))
    net("5 V", ("Pi", "2, 4 (5 V)"), *((axis.buffer, "VCC") for axis in motors),
        ("beam 1", "+5 V"),
        *([("beam 2", "+5 V")] if second else []), ("lamp", "common anode"),
        *((axis.relay, "A1", "diode across the coil") for axis in relays),
        *([("buzzer", "+")] if pins.buzzer is not None else []))  # fmt: skip
    net("3.3 V", ("Pi", "1, 17 (3.3 V)"), ("angle sensor", "VIN"), ("climate sensor", "VIN"),
        ("R1 pull-up", "3.3 V"), *([("R2 pull-up", "3.3 V")] if second else []),
        *((f"R{i + 10} pull-up", "3.3 V") for i, (_, number, *_) in contacts if number is not None)
        )  # fmt: skip
    net("0 V logic", ("Pi", ", ".join(map(str, GROUND_PINS)) + " (GND)"), ("star point", "0 V"),
        *((axis.buffer, f"GND, {spare}4A, all OE") for axis in motors),
        *((axis.resistor, "0 V") for axis in motors), ("angle sensor", "GND"),
        ("climate sensor", "GND"), ("S1 emergency stop", "22"), ("S2 limit lower", "12"),
        ("S3 limit upper", "22"), ("S4 start", "14"), ("S6 stop", "14"),
        *([("S7 blade park", "12")] if park else []),
        *((axis.switch, "emitter") for axis in relays), ("beam 1", "0 V"),
        *([("beam 2", "0 V")] if second else []), ("Q1-Q3 lamp drivers", "emitters"),
        *([("Q4 buzzer driver", "emitter")] if pins.buzzer is not None else []))  # fmt: skip

    # step, direction, enable: 5 V buffer, opto-isolated inputs, off unless the Pi drives it high
    for axis in motors:
        words = ("PUL", "DIR", "RUN")
        for i, ((name, number), word) in enumerate(zip(axis.pins, words, strict=True), 1):
            if number is None:
                continue
            line = f"{axis.prefix}{name}"
            off = [(axis.resistor, f"{ohm(PULL_DOWN_OHM)} to 0 V")] if name == "enable" else []
            if name == "enable" and not run_input:
                _disable_input(net, axis, line, pi(number))
                continue
            net(f"{line} 3.3 V", pi(number), *off, (axis.buffer, f"{i}A"))
            net(f"{line} 5 V", (axis.buffer, f"{i}Y"), (f"{axis.motor} driver", f"{word}+ (opto)"))
    returns = "PUL−, DIR−, RUN−" if run_input else "PUL−, DIR−"
    net("opto return", *((f"{axis.motor} driver", returns) for axis in motors),
        ("star point", "0 V"))  # fmt: skip

    # inputs: contacts to ground against a pull-up of their own; closed at rest except the buttons
    for i, (name, number, part, terminal) in contacts:
        if number is None:
            continue
        net(
            name,
            pi(number),
            (f"R{i} filter", f"{ohm(FILTER_OHM)}; {1e9 * FILTER_F:g} nF to 0 V here"),
        )
        net(f"{name} contact", (f"R{i} filter", "field side"),
            (f"R{i + 10} pull-up", f"{ohm(PULL_UP_OHM)} to 3.3 V"), (part, terminal))  # fmt: skip
    polarity = "high" if pins.beam_broken_is_high else "low"
    for name, beam, resistor in (("beam 1", pins.beam_1, "R1"), ("beam 2", pins.beam_2, "R2")):
        if beam is not None:
            net(f"{name} out", pi(beam),
                (f"{resistor} pull-up", f"{ohm(BEAM_PULL_UP_OHM)} to 3.3 V"),
                (name, f"open collector, {polarity} if broken"))  # fmt: skip

    # the bus to the moving board; the Pi carries 1.8 kΩ pull-ups on these two pins
    for name, number in (("SDA", 2), ("SCL", 3)):
        net(name, pi(number), ("climate sensor", name, "on the frame, off the board's heat"),
            ("angle sensor", name, "on the moving board"))  # fmt: skip

    # lamp and buzzer
    colours = (("red", pins.lamp_red), ("green", pins.lamp_green), ("blue", pins.lamp_blue))
    for i, (colour, number) in enumerate(colours, 1):
        net(f"lamp {colour}", pi(number), ("Q1-Q3 lamp drivers", f"base {i}, {ohm(BASE_OHM)}"))
        net(f"lamp {colour} −", ("Q1-Q3 lamp drivers", f"collector {i}"),
            ("lamp", f"{colour}, {ohm(LAMP_OHM)}"))  # fmt: skip
    if pins.buzzer is not None:
        net("buzzer", pi(pins.buzzer), ("Q4 buzzer driver", f"base, {ohm(BASE_OHM)}"))
        net("buzzer −", ("Q4 buzzer driver", "collector"), ("buzzer", "−"))
    return ends


def _contacts(pins: Pins) -> tuple[tuple[str, int | None, str, str], ...]:
    """Net, GPIO number, part and terminal of every contact."""
    return (
        ("emergency stop", pins.emergency_stop, "S1 emergency stop", "21 (closed)"),
        ("limit lower", pins.limit_lower, "S2 limit lower", "11 (closed)"),
        ("limit upper", pins.limit_upper, "S3 limit upper", "21 (closed)"),
        ("start", pins.start_button, "S4 start", "13 (open)"),
        ("stop", pins.stop_button, "S6 stop", "13 (open)"),
        ("blade park", pins.blade_park, "S7 blade park", "11 (closed)"),
    )


def _disable_input(net: Callable[..., None], axis: Axis, line: str, at: tuple[str, str]) -> None:
    """An ENA input that is driven, and so the driver off, until a relay opens its return.

    The relay is a small one with a closed contact; with the Pi off it rests, and the input has its
    current from the motor's own supply.
    """
    net(
        f"{line} 3.3 V",
        at,
        (axis.resistor, f"{ohm(PULL_DOWN_OHM)} to 0 V"),
        (axis.switch, f"base, {ohm(BASE_OHM)}"),
    )
    net(f"{line} coil", (axis.switch, "collector"), (axis.relay, "A2"))
    net(
        f"{line} ENA+",
        (f"{axis.series} {ohm(ENA_OHM)} 1 W", "2"),
        (f"{axis.motor} driver", "ENA+ (opto)"),
    )
    net(f"{line} ENA−", (axis.relay, "11 (closed)"), (f"{axis.motor} driver", "ENA− (opto)"))


def csv_text(ends: list[End]) -> str:
    """The netlist as a table."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(End._fields)
    writer.writerows(ends)
    return out.getvalue()


class Box(NamedTuple):
    """Where a part is drawn: left side, top, width."""

    x: float
    y: float
    width: float


def diagram(settings: Settings, *, run_input: bool = False) -> str:
    """The wiring as labelled boxes: a terminal names its net, and nets of the Pi are drawn."""
    ends = netlist(settings, run_input=run_input)
    parts: dict[str, list[End]] = {}
    for end in ends:
        parts.setdefault(end.part, []).append(end)
    sheet = Sheet(420, 297, f"Wiring — {settings.name} (every wire: the netlist beside it)")
    _power(sheet, parts)
    signals(sheet, parts["Pi"], ends)
    _notes(sheet)
    return sheet.render()


def _part(
    sheet: Sheet, name: str, rows: list[End], box: Box, fill: str
) -> dict[str, tuple[float, float, float]]:
    """Draw a part with a line for each terminal; returns each net's left, right and height."""
    height = 7 + 4.6 * len(rows)
    sheet.box((box.x, box.y - height), (box.x + box.width, box.y), 0.5, fill)
    sheet.text((box.x + 2, box.y - 4.6), name, 3.1, "start", bold=True)
    places: dict[str, tuple[float, float, float]] = {}
    for i, row in enumerate(rows):
        y = box.y - 9.4 - 4.6 * i
        places.setdefault(row.net, (box.x, box.x + box.width, y + 0.9))
        sheet.text((box.x + 2, y), row.terminal, 2.4, "start")
        sheet.text((box.x + box.width - 2, y), row.net, 2.4, "end", THIN)
    return places


def _power(sheet: Sheet, parts: dict[str, list[End]]) -> None:
    """The upper band: mains, emergency stop and contactor before the driver."""
    sheet.text((8, 279), "Power: the emergency stop opens K1; no software between", 3.6, "start")
    boxes = {
        "mains inlet": Box(8, 275, 50), "24 V supply": Box(70, 275, 38),
        "F1 6.3 A slow": Box(120, 275, 36), "S1 emergency stop": Box(166, 275, 54),
        "S3 limit upper": Box(226, 275, 42),
        "S5 reset": Box(274, 275, 30), "K1 contactor": Box(318, 275, 38),
        "C1 1000 µF 63 V": Box(366, 275, 46), "5 V supply": Box(8, 244, 50),
        "frame bond": Box(70, 236, 38), "star point": Box(120, 252, 36),
    }  # fmt: skip
    at = {}
    for name, box in boxes.items():
        fill = "#fde2df" if name[:2] in ("S1", "S3", "S5", "K1") else "#f3f4f6"
        at[name] = _part(sheet, name, parts[name], box, fill)
    _part(sheet, "lamp", parts["lamp"], Box(366, 118, 46), "#f3f4f6")

    def join(
        net: str, first: str, second: str, lead: float, lane: float = 0, enter: float = 0
    ) -> None:
        """A wire from the right of one part to the left of another, along a lane if need be."""
        _, x0, y0 = at[first][net]
        x1, _, y1 = at[second][net]
        if not lane:
            bends = [(x0 + lead, y0), (x0 + lead, y1)]
        else:
            bends = [(x0 + lead, y0), (x0 + lead, lane), (x1 - enter, lane), (x1 - enter, y1)]
            sheet.circle((x0 + lead, y0), 0.8, 0.1, RED)
        sheet.polyline([(x0, y0), *bends, (x1, y1)], 0.55, RED)

    join("24 V", "24 V supply", "F1 6.3 A slow", 6)
    join("24 V fused", "F1 6.3 A slow", "S1 emergency stop", 6)
    join("24 V fused", "F1 6.3 A slow", "K1 contactor", 3, 240, 4)
    join("coil", "S1 emergency stop", "S3 limit upper", 3)
    join("coil 2", "S3 limit upper", "S5 reset", 5)
    join("coil 2", "S3 limit upper", "K1 contactor", 3, 246, 8)
    join("coil held", "S5 reset", "K1 contactor", 3)
    join("motor supply", "K1 contactor", "C1 1000 µF 63 V", 3)
    x, y = at["K1 contactor"]["motor supply"][1] + 6, at["C1 1000 µF 63 V"]["motor supply"][2]
    sheet.circle((x, y), 0.8, 0.1, RED)
    for name, prefix, top in (("M1", "", 196.0), ("M2", "blade ", 90.0)):
        if f"{name} driver" not in parts:
            continue
        box, below = Box(366, top, 46), Box(366, top - 56 if name == "M1" else top - 49, 46)
        driver = _part(sheet, f"{name} driver", parts[f"{name} driver"], box, "#fff4d6")
        motor = _part(sheet, f"{name} motor", parts[f"{name} motor"], below, "#fff4d6")
        end = driver["motor supply"]
        sheet.polyline([(x, y), (x, end[2]), (end[0], end[2])], 0.55, RED)
        if name == "M1" and "M2 driver" in parts:
            sheet.circle((x, end[2]), 0.8, 0.1, RED)
        for phase, lead in (("A", 3), ("B", 4.5)):
            net = f"{prefix}phase {phase}"
            (_, x0, y0), (_, x1, y1) = driver[net], motor[net]
            sheet.polyline([(x0, y0), (x0 + lead, y0), (x1 + lead, y1), (x1, y1)], 0.5, INK)


MOTOR_LINES = ("step", "direction", "enable")


def signals(sheet: Sheet, of_pi: list[End], ends: list[End]) -> None:
    """The Pi in the middle, each of its signals drawn as a wire to the part that it reaches."""
    rows = [end for end in of_pi if "(GPIO" in end.terminal]
    supplies = [end for end in of_pi if end not in rows]
    motors = tuple(f"{way}{name}" for way in ("", "blade ") for name in MOTOR_LINES)
    right_nets = (*motors, "lamp", "buzzer")
    left = [row for row in rows if not row.net.startswith(right_nets)]
    right = [row for row in rows if row.net.startswith(right_nets)]
    top = 196.0
    pitch = 13.0 if max(len(left), len(right)) <= 8 else 12.0
    x0, x1 = 186.0, 236.0
    bottom = top - pitch * max(len(left), len(right)) - 29
    sheet.box((x0, bottom), (x1, top), 0.7, "#dcebdc")
    sheet.text(((x0 + x1) / 2, top - 5), "Raspberry Pi, 40-pin header", 2.8, bold=True)
    for i, row in enumerate(supplies):
        sheet.text(((x0 + x1) / 2, bottom + 17 - 4.2 * i), f"{row.net}: {row.terminal}", 2.1)
    for side, signals in (("left", left), ("right", right)):
        for i, row in enumerate(signals):
            y = top - 13 - pitch * i
            edge = x0 if side == "left" else x1
            way = -1 if side == "left" else 1
            anchor = "start" if side == "left" else "end"
            sheet.text((edge - way * 2, y - 0.9), row.terminal, 2.6, anchor)
            _wire(sheet, ends, row, (edge, y), way)


def _wire(sheet: Sheet, ends: list[End], row: End, start: tuple[float, float], way: int) -> None:
    """A wire from the Pi outward with all that hangs on its net, and on the net that follows."""
    follow = {f"{row.net} contact", f"{row.net} −"}
    follow |= {row.net.replace("3.3 V", to) for to in ("5 V", "coil", "ENA−")}
    chain = [e for e in ends if e.part != "Pi" and e.net in {row.net, *follow}]
    merged: list[list[End]] = []
    for end in chain:  # both sides of a part that a wire passes through are one box
        if merged and merged[-1][0].part == end.part:
            merged[-1].append(end)
        else:
            merged.append([end])
    x, y = start
    at = x + way * 33
    far = 8.0 if way < 0 else 354.0
    width = min((abs(far - at) - 4 * (len(merged) - 1)) / len(merged), 62.0)
    sheet.line((x, y), (at, y), 0.5)
    sheet.text((x + way * 3, y + 1.2), row.net, 2.7, "end" if way < 0 else "start", RED)
    for i, group in enumerate(merged):
        low, high = sorted((at, at + way * width))
        sheet.box((low, y - 5), (high, y + 5), 0.35, "#f3f4f6")
        size = min(2.5, 1.6 * width / len(group[0].part))
        sheet.text(((low + high) / 2, y + 0.9), group[0].part, size, bold=True)
        order = group if way > 0 else group[::-1]
        terminals = " → ".join(end.terminal for end in order)
        size = min(2.1, 1.75 * width / len(terminals))
        sheet.text(((low + high) / 2, y - 3.2), terminals, size)
        at += way * width
        if i + 1 < len(merged):
            sheet.line((at, y), (at + way * 4, y), 0.5)
            at += way * 4


NOTES = (
    "Mains side by a licensed electrician. Earth: supply, frame, motor case. Earth, 0 V and small "
    "supplies are named, not drawn; all 0 V meet at the star point only. A dot joins lines.",
    "S1 to ISO 13850: red on yellow, latching, two contacts opened by force. Letting it go "
    "restarts nothing: K1 stays open until S5 is pressed. S3's second contact opens K1 at the top.",
    "The varistor across K1's coil lets it open quickly; a bare diode would hold it. S1 to S3 are "
    "closed at rest: a broken wire reads as a stop.",
    "Off while the Pi is off or dead. Usual driver: its ENA input disables while a current "
    "flows; R7 gives it that from the motor supply, K2 opens the way back only when the Pi drives",
    "    enable. A driver with a RUN input needs no K2 (netlist_run.csv). U1: 5 V buffer with TTL "
    "inputs (74HCT kind) takes 3.3 V to the 5 V, about 10 mA, of the opto inputs.",
    "Moving board: one screened, highly flexible cable (SDA with 0 V and SCL with 0 V as pairs, "
    "3.3 V, 5 V, beam outputs), a loop at the hinge, screen to 0 V at the Pi's end only.",
    "Bus: the Pi's 1.8 kΩ pull-ups are enough; boards' own ones may bring them to no less than "
    "1 kΩ (3 mA). At 100 kHz up to 400 pF: some 3 m of cable.",
)


def _notes(sheet: Sheet) -> None:
    for i, text in enumerate(NOTES):
        sheet.text((8, 38 - 4.8 * i), text, 2.7, "start", INK)


if __name__ == "__main__":
    chosen = load_settings(Path(sys.argv[1])) if len(sys.argv) > 1 else Settings()
    pairs = {"": chosen, "_run": chosen}
    if len(sys.argv) == 1:
        pairs["_blade"] = load_settings(BLADE)
    for mark, of in pairs.items():
        run = mark == "_run"
        table = csv_text(netlist(of, run_input=run))
        (HARDWARE / f"netlist{mark}.csv").write_text(table, encoding="utf-8")
        target = HARDWARE / "drawings" / f"wiring{mark}.svg"
        target.write_text(diagram(of, run_input=run), encoding="utf-8")
