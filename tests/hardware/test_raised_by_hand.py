"""What stands in hardware/raised_by_hand is what its tool makes, and fits the program."""

import csv
import re
import tomllib
from math import atan, cos, degrees, radians, sin
from pathlib import Path

import msgspec
import pytest

from hardware.tools import raised_by_hand, wiring_raised_by_hand
from hardware.tools.wiring import csv_text
from rig.settings.model import Pins, Settings

FOLDER = Path(__file__).parents[2] / "hardware" / "raised_by_hand"
README = (FOLDER / "README.md").read_text("utf-8")


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((FOLDER / name).read_text("utf-8").splitlines()))


def test_netlist_and_diagram_are_made_by_the_tool() -> None:
    netlist = csv_text(wiring_raised_by_hand.hand_netlist())
    assert (FOLDER / "netlist.csv").read_text("utf-8") == netlist
    assert (FOLDER / "wiring.svg").read_text("utf-8") == wiring_raised_by_hand.hand_diagram()
    assert (FOLDER / "side_view.svg").read_text("utf-8") == raised_by_hand.side_view()
    assert "(side_view.svg)" in README


def test_the_prop_holds_the_board_wherever_the_jack_does() -> None:
    """By coordinates: head at 1,100 mm along the board, bolt 640 mm from the hinge, 30 mm high."""
    top_deg = degrees(atan((380.0 - 95.0) / 330.0))
    for angle_deg in (5.0, 20.0, top_deg):
        turn = radians(angle_deg)
        x, y = 1100.0 * cos(turn) - 640.0, 110.0 + 1100.0 * sin(turn) - 30.0
        assert raised_by_hand.prop_mm(angle_deg) == pytest.approx((x**2 + y**2) ** 0.5)
    assert raised_by_hand.prop_mm(5.0) >= raised_by_hand.TUBE_MM - 2.0
    longest = 2.0 * raised_by_hand.TUBE_MM - raised_by_hand.OVERLAP_MM
    assert raised_by_hand.prop_mm(top_deg) < longest
    at_top = raised_by_hand.prop_mm(raised_by_hand.angle_deg(380.0))
    assert f"{raised_by_hand.prop_mm(5.0):.0f} mm) to the top ({at_top:.0f} mm)" in README


def test_each_pin_that_the_program_claims_is_wired_and_no_other() -> None:
    """Read from the committed file alone."""
    pins = Pins()
    wanted = {pins.beam_1, pins.start_button, pins.stop_button}
    wanted |= {pins.lamp_red, pins.lamp_green, pins.lamp_blue, 2, 3}
    wired = [
        int(found[1])
        for row in rows("netlist.csv")
        if row["part"] == "Pi" and (found := re.search(r"GPIO (\d+)\)", row["terminal"]))
    ]
    assert sorted(wired) == sorted(wanted)


@pytest.mark.parametrize("word", ["mains", "24 V", "motor", "driver V", "contactor", "emergency"])
def test_nothing_of_the_motor_is_left(word: str) -> None:
    told = (FOLDER / "netlist.csv").read_text("utf-8")
    assert word not in told


def test_no_wire_has_one_end() -> None:
    nets = [row["net"] for row in rows("netlist.csv")]
    assert all(nets.count(net) > 1 for net in nets)


def test_the_cost_is_the_sum_of_the_parts() -> None:
    total = sum(float(row["cost_eur"]) for row in rows("parts.csv"))
    told = re.search(r"About €(\d+), estimated 2026-11", README)
    assert told is not None
    assert abs(float(told[1]) - total) <= 5.0


@pytest.mark.parametrize(("distance_mm", "told"), [(380.0, "36.9°"), (330.0, "40.8°")])
def test_the_angles_that_the_jack_reaches(distance_mm: float, told: str) -> None:
    assert told in README
    assert f"{degrees(atan((380.0 - 95.0) / distance_mm)):.1f}°" == told


def test_the_settings_that_it_shows_are_good() -> None:
    block = re.search(r"```toml\n(.+?)```", README, re.DOTALL)
    assert block is not None
    settings = msgspec.convert(tomllib.loads(block[1]), Settings)
    assert settings.motion.raised_by == "hand"


def test_the_jacks_load() -> None:
    """10 kg with its middle at 600 mm, lifted 380 mm from the hinge."""
    assert f"{10.0 * 9.80665 * 600.0 / 380.0:.0f} N" in README
