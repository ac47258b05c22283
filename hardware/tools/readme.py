"""Fills the tables of `hardware/README.md` and `firmware_notes/README.md` from the settings.

    python hardware/tools/readme.py

A table stands between `<!-- NAME -->` and `<!-- /NAME -->`; what is between is replaced.
"""

import csv
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from wiring import HEADER_PIN

from rig.motion.sizing import size
from rig.settings.keys import keys
from rig.settings.model import Settings

ROOT = Path(__file__).parents[2]
FILES = (ROOT / "hardware" / "README.md", ROOT / "firmware_notes" / "README.md")


def _table(head: list[str], rows: list[list[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def loads(settings: Settings) -> str:
    """The loads over the travel."""
    head = ["angle", "screw", "lever", "push", "torque", "pulses/s", "pull-out", "margin"]
    head += ["buckling", "one pulse"]
    rows = [
        [
            f"{s.angle_deg:g}°",
            f"{s.screw_mm:.0f} mm",
            f"{s.lever_mm:.0f} mm",
            f"{s.force_n:.0f} N",
            f"{s.torque_n_m:.2f} N·m",
            f"{s.pulse_rate_hz:.0f}",
            f"{s.pull_out_n_m:.2f} N·m",
            f"{s.motor_margin:.1f}×",
            f"{s.buckling_margin:.1f}×",
            f"{1e3 * s.deg_per_pulse:.2f} m°",
        ]
        for s in size(settings).stations
    ]
    return _table(head, rows)


def margins(settings: Settings) -> str:
    """The figures and what they must keep."""
    rows = []
    for figure in size(settings).figures:
        bound = ""
        if figure.least is not None:
            bound = f"at least {figure.least:g}"
        elif figure.most is not None:
            bound = f"at most {figure.most:g}"
        value = f"{figure.value:.3g}".replace("e+03", "e3")
        rows.append([figure.name, f"{value} {figure.unit}".strip(), bound, figure.about])
    return _table(["figure", "value", "must be", "remark"], rows)


def parts(_: Settings) -> str:
    """The bill of materials."""
    text = (ROOT / "hardware" / "bom.csv").read_text(encoding="utf-8")
    head, *rows = csv.reader(text.splitlines())
    return _table([name.replace("_", " ") for name in head], rows)


def pin_map(settings: Settings) -> str:
    """Each line of the header that is in use."""
    texts = {
        "step": "pulse to the driver, high 10 µs or more",
        "direction": "to the driver; high raises"
        if settings.pins.direction_raises_high
        else "to the driver; low raises",
        "enable": "to the driver; high runs, low or nothing: motor without current",
        "limit_lower": "closed contact to ground; opens at home",
        "limit_upper": "closed contact to ground; opens at the top",
        "beam_1": "receiver of the upper beam",
        "beam_2": "receiver of the lower beam",
        "emergency_stop": "second closed contact of the button; opens when pressed",
        "start_button": "open contact to ground",
        "stop_button": "open contact to ground",
        "lamp_red": "lamp",
        "lamp_green": "lamp",
        "lamp_blue": "lamp",
        "buzzer": "buzzer",
    }
    outputs = ("step", "direction", "enable", "lamp", "buzzer")
    rows = []
    for key in keys():
        number = getattr(settings.pins, key.name, None) if key.section == "pins" else None
        if isinstance(number, bool) or (number is None and key.name not in ("beam_2", "buzzer")):
            continue
        way = "out" if key.name.startswith(outputs) else "in, pull-up"
        place = ["not wired", ""] if number is None else [str(number), str(HEADER_PIN[number])]
        rows.append([f"`pins.{key.name}`", *place, way, texts[key.name]])
    rows.append(["I2C data", "2", "3", "bus", f"`/dev/i2c-{settings.bus.number}`"])
    rows.append(["I2C clock", "3", "5", "bus", ""])
    return _table(["setting", "GPIO", "header pin", "way", "what"], rows)


TABLES = {"loads": loads, "margins": margins, "parts": parts, "pins": pin_map}


def filled(text: str, settings: Settings) -> str:
    """The text with every table in it made anew."""
    for name, make in TABLES.items():
        before, mark, rest = text.partition(f"<!-- {name} -->")
        if mark:
            _, end, after = rest.partition(f"<!-- /{name} -->")
            text = f"{before}{mark}\n{make(settings)}\n\n{end}{after}"
    return text


if __name__ == "__main__":
    for file in FILES:
        if file.exists():
            file.write_text(filled(file.read_text(encoding="utf-8"), Settings()), encoding="utf-8")
