"""Fills the tables of `hardware/README.md` and `firmware_notes/README.md` from the settings.

    python -m hardware.tools.readme

A table stands between `<!-- NAME -->` and `<!-- /NAME -->`; what is between is replaced.
"""

import csv
import importlib
from pathlib import Path

import msgspec

from hardware.model.assembly import centre, rig_of
from hardware.model.cradle import framed_board, sheet
from hardware.model.shapes import Group
from hardware.tools.wiring import HEADER_PIN
from rig.motion.sizing import size
from rig.settings.keys import keys
from rig.settings.model import Settings

FASTENERS_KG = 0.6
"""Screws, brackets and cables on the cradle; estimated."""
ESTIMATED = "2026-11"
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


def boards(settings: Settings) -> str:
    """Loads with other boards than the reference."""
    rig = rig_of(settings)
    n = rig.numbers
    (framed,) = framed_board(settings, n)
    kinds = [(f"sheet of {t:g} mm", sheet(settings, n, t)) for t in (9.0, 12.0, 15.0, 18.0, 25.0)]
    kinds.append(("sheet of 15 mm on an underframe of 38 × 89 mm, legs folded", framed))
    of_cradle = rig.mass_kg(Group.CRADLE) + FASTENERS_KG
    rows = []
    for name, board in kinds:
        mass = of_cradle + board.mass_kg
        at = of_cradle * rig.centre_mm(Group.CRADLE)[0] + board.mass_kg * centre(board.solid)[0]
        loaded = msgspec.structs.replace(
            settings.mechanics, moving_mass_kg=mass, centre_of_mass_mm=at / mass
        )
        found = {}
        for rate in (1.0, 0.3):
            motion = msgspec.structs.replace(settings.motion, rate_deg_s=rate)
            changed = msgspec.structs.replace(settings, mechanics=loaded, motion=motion)
            found[rate] = {f.name: f.value for f in size(changed).figures}
        figures = found[1.0]
        rows.append(
            [
                name,
                f"{mass:.1f} kg",
                f"{at / mass:.0f} mm",
                f"{figures['push of the screw, most']:.0f} N",
                f"{figures['motor margin, raising']:.2f}",
                f"{found[0.3]['motor margin, raising']:.2f}",
                f"{figures['motor margin, raising fast']:.2f}",
                f"{figures['push that tips it sideways']:.0f} N",
            ]
        )
    head = ["board (plywood)", "all that turns", "its centre", "push", "motor margin at 1 °/s"]
    return _table([*head, "at 0.3 °/s", "at the fastest", "tips sideways at"], rows)


def costs(_: Settings) -> str:
    """Sum of the bill of materials."""
    rows = list(csv.DictReader((ROOT / "hardware" / "bom.csv").read_text("utf-8").splitlines()))
    optional = [row for row in rows if "(optional)" in row["item"]]
    with_blade = sum(int(row["cost_eur"]) for row in rows)
    blade = sum(int(row["cost_eur"]) for row in optional)
    return (
        f"**About €{with_blade - blade:,}, estimated {ESTIMATED}** from remembered shop prices "
        f"with tax and without postage; the blade €{blade} more. No offer was asked for."
    )


def pin_map(settings: Settings) -> str:
    """Each line of the header that is in use."""
    texts = {
        "step": "pulse to the driver, short and high",
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
        "blade_step": "pulse to the blade's driver",
        "blade_direction": "to the blade's driver; high drives uphill"
        if settings.pins.blade_uphill_is_high
        else "to the blade's driver; low drives uphill",
        "blade_enable": "to the blade's driver; high runs",
        "blade_park": "closed contact to ground; opens where the blade is parked",
    }
    outputs: tuple[str, ...] = ("step", "direction", "enable", "lamp", "buzzer")
    outputs += ("blade_step", "blade_direction", "blade_enable")
    rows = []
    for key in keys():
        number = getattr(settings.pins, key.name, None) if key.section == "pins" else None
        if key.name not in texts:
            continue
        way = "out" if key.name.startswith(outputs) else "in"
        place = ["not wired", ""] if number is None else [str(number), str(HEADER_PIN[number])]
        rows.append([f"`pins.{key.name}`", *place, way, texts[key.name]])
    rows.append(["I2C data", "2", "3", "bus", f"`/dev/i2c-{settings.bus.number}`"])
    rows.append(["I2C clock", "3", "5", "bus", ""])
    return _table(["setting", "GPIO", "header pin", "way", "what"], rows)


REGISTERS = {
    "rig.devices.lsm6": {
        "WHO_AM_I": "identity",
        "CTRL1_XL": "rate, range, second low-pass",
        "CTRL2_G": "gyroscope off",
        "CTRL3_C": "block update, counting addresses, reset",
        "CTRL4_C": "no data ready before the filters settle",
        "CTRL8_XL": "corner of the second low-pass",
        "FIFO_CTRL1": "first of the block that is read back",
        "FIFO_CTRL3": "rate into the FIFO",
        "FIFO_CTRL4": "bypass or continuous",
        "FIFO_STATUS1": "fill level, overrun",
        "FIFO_DATA_OUT_TAG": "tag and three words, four samples a transfer",
        "INTERNAL_FREQ_FINE": "trim of the rate, 0.15 % a step",
        "OUT_TEMP_L": "temperature, 256 counts/K",
        "STATUS_REG": "data ready (polled mode)",
        "OUTX_L_A": "newest sample (polled mode)",
    },
    "rig.devices.mpu6050": {
        "WHO_AM_I": "identity",
        "PWR_MGMT_1": "awake, clock, reset",
        "SMPLRT_DIV": "1 kHz divided by this plus one",
        "CONFIG": "low-pass",
        "ACCEL_CONFIG": "range",
        "FIFO_EN": "accelerometer into the FIFO",
        "USER_CTRL": "FIFO on, FIFO reset",
        "INT_STATUS": "overflow, data ready",
        "FIFO_COUNT_H": "fill level in bytes",
        "FIFO_R_W": "samples, five a transfer",
        "ACCEL_XOUT_H": "newest sample (polled mode)",
        "TEMP_OUT_H": "temperature, 340 counts/K",
        "SELF_TEST_X": "factory trim, part of the identity",
    },
    "rig.devices.climate": {
        "IDENTITY": "identity",
        "RESET": "reset (by the driver package)",
        "TRIM_T_P": "trimming constants",
        "TRIM_H": "trimming constants of humidity",
        "CTRL_MEAS": "oversampling and mode",
        "CONFIG": "standby and filter",
        "DATA": "pressure, temperature, humidity",
    },
}
"""Registers in use, by the names that the drivers give them."""


def registers(_: Settings) -> str:
    """Registers of the drivers, their numbers taken from the code."""
    rows = []
    for module_name, names in REGISTERS.items():
        module = importlib.import_module(module_name)
        chip = module_name.rpartition(".")[2]
        rows += [[chip, f"`{n}`", f"0x{getattr(module, n):02X}", t] for n, t in names.items()]
    return _table(["driver", "register", "number", "used for"], rows)


TABLES = {
    "boards": boards,
    "costs": costs,
    "loads": loads,
    "margins": margins,
    "parts": parts,
    "pins": pin_map,
    "registers": registers,
}


def filled(text: str, settings: Settings) -> str:
    """The text with every table in it made again."""
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
