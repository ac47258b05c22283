"""Makes netlist and diagram of the rig that a person raises, from those of the motor rig.

    python -m hardware.tools.wiring_raised_by_hand

What hangs on the motor, its supply and the switches is left out; what stays is wired alike, so that
a motor can be added later without moving a wire.
"""

from pathlib import Path

import msgspec

from hardware.tools.svg import INK, Sheet
from hardware.tools.wiring import End, csv_text, netlist, signals
from rig.settings.model import MotionSettings, Settings

FOLDER = Path(__file__).parents[1] / "raised_by_hand"
SETTINGS = Settings(name="raised by hand", motion=MotionSettings(raised_by="hand"))
ABSENT = (
    *("mains inlet", "24 V supply", "frame bond", "star point", "F1", "C1", "K1", "K2", "S1", "S2"),
    *("S3", "S5", "M1", "U1", "R5 ", "R7", "Q5"),
)
"""Parts that only a motor rig has, by the beginning of their names."""
PLUG = "5 V plug-in supply"
NOTES = (
    "Extra-low voltage only: a plug-in USB-C supply with its own approval feeds the Pi, and the Pi"
    " feeds the rest. Nothing here is connected to the mains.",
    "There is no motor, so there is nothing for an emergency stop to cut: start button, stop button"
    " and lamp are for the program alone.",
    "Moving board: one screened, highly flexible cable (SDA with 0 V and SCL with 0 V as pairs,"
    " 3.3 V, 5 V, beam outputs), a loop at the hinge, screen to 0 V at the Pi's end only.",
    "Bus: the Pi's 1.8 kΩ pull-ups are enough; boards' own ones may bring them to no less than 1 kΩ"
    " (3 mA). At 100 kHz up to 400 pF: some 3 m of cable.",
)


def hand_netlist(settings: Settings = SETTINGS) -> list[End]:
    """Every connection, net by net."""
    pins = settings.pins
    gone = {pins.step, pins.direction, pins.enable, pins.limit_lower, pins.limit_upper}
    gone.add(pins.emergency_stop)
    dead = {
        end.net
        for end in netlist(settings)
        if any(end.terminal.endswith(f"(GPIO {number})") for number in gone)
    }
    dead |= {f"{net} contact" for net in dead}
    kept = [
        end._replace(part=PLUG) if end.part == "5 V supply" else end
        for end in netlist(settings)
        if end.net not in dead and not end.part.startswith(ABSENT)
    ]
    # The pull-up of a contact that is gone has one wire left.
    pulled = {end.part for end in kept if end.net.endswith(" contact") or end.net.endswith(" out")}
    kept = [end for end in kept if not end.part.endswith("pull-up") or end.part in pulled]
    many = [end.net for end in kept]
    return [end for end in kept if many.count(end.net) > 1]


def hand_diagram(settings: Settings = SETTINGS) -> str:
    """The Pi with each of its signals, as in the motor rig's diagram."""
    ends = hand_netlist(settings)
    sheet = Sheet(420, 240, f"Wiring — {settings.name} (every wire: the netlist beside it)")
    signals(sheet, [end for end in ends if end.part == "Pi"], ends)
    for i, text in enumerate(NOTES):
        sheet.text((8, 26 - 5.2 * i), text, 2.7, "start", INK)
    return sheet.render()


def with_pins(**pins: int | None) -> Settings:
    """The settings with some other pins."""
    return msgspec.structs.replace(SETTINGS, pins=msgspec.structs.replace(SETTINGS.pins, **pins))


if __name__ == "__main__":
    (FOLDER / "netlist.csv").write_text(csv_text(hand_netlist()), encoding="utf-8")
    (FOLDER / "wiring.svg").write_text(hand_diagram(), encoding="utf-8")
