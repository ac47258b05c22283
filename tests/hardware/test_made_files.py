"""What stands in hardware/ is what its tools make from the settings."""

import csv
import importlib
import re
import struct
import sys
from math import cos, hypot, pi, radians, sin
from pathlib import Path
from types import ModuleType

import msgspec
import pytest

from rig.analysis.placing import ENOUGH_RUNS, MARGIN_DEG
from rig.motion.sizing import size
from rig.procedures.quick import MEASURED_DEG, SCATTERS
from rig.procedures.series import UNATTENDED_BAD_RUNS
from rig.settings.load import load_settings
from rig.settings.model import Settings

HARDWARE = Path(__file__).parents[2] / "hardware"
TOOLS = HARDWARE / "tools"


def tool(name: str) -> ModuleType:
    sys.path.insert(0, str(TOOLS))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(TOOLS))


def text(path: str) -> str:
    return (HARDWARE / path).read_text(encoding="utf-8")


def changed_pins(**pins: int | None) -> Settings:
    base = Settings()
    return msgspec.structs.replace(base, pins=msgspec.structs.replace(base.pins, **pins))


def test_parameters_of_the_model_are_the_settings() -> None:
    assert text("model/parameters.scad") == tool("parameters").text_of(Settings())


@pytest.mark.parametrize(
    "name", ["linkage.svg", "frame.svg", "cradle.svg", "places.svg", "blade.svg"]
)
def test_drawings_are_of_these_settings(name: str) -> None:
    assert text(f"drawings/{name}") == tool("drawings").MECHANISM[name](Settings())


WIRED = {"": Settings(), "_blade": load_settings(HARDWARE / "blade.toml")}
"""Mark in the file names of netlist and diagram, and the settings they are of."""

both = pytest.mark.parametrize("mark", WIRED, ids=["reference", "blade"])


def netlist_rows(mark: str) -> list[dict[str, str]]:
    return list(csv.DictReader(text(f"netlist{mark}.csv").splitlines()))


def test_what_the_drawings_set_apart_from_the_settings_is_as_in_the_model() -> None:
    model, parts, frame, drawings = (
        text("model/rig.scad"),
        text("model/parts.scad"),
        tool("frame"),
        tool("drawings"),
    )
    assert "[" + ", ".join(f"{x:g}" for x in frame.CROSS_MM) + "]" in model
    low, high = (f"{x:g}" for x in frame.ENDS_MM)
    assert f"bar([{low}, y, rail / 2], [{high}, y, rail / 2]);" in model
    (x0, z0), (x1, z1) = frame.STRUT
    assert f"bar([{x0:g}, y, {z0:g}], [{x1:g}, y, {z1:g}]);" in model
    assert f"y = [-{frame.INNER_MM:g}, {frame.INNER_MM:g}]" in model
    assert f"bar([0, -post_y, {frame.TIE_MM:g}], [0, post_y, {frame.TIE_MM:g}]);" in model
    assert "for (x = [200, 880]) bar([x, -side_y - 10, -30]" in model
    assert "bar([190, y, -10], [890, y, -10], [20, 20]);" in model
    assert "outriggers, rails = (60.0, pivot, end - 20), (200.0, 880.0), (190.0, 890.0)" in (
        TOOLS / "frame.py"
    ).read_text(encoding="utf-8")
    assert "for (x = [60, linkage_cradle_pivot_mm, end - 20])" in model
    assert f"board_thick = {drawings.BOARD_THICK_MM:g};" in model
    assert f"rail = {drawings.RAIL_MM:g};" in model
    assert f"blade_low() = {drawings.BLADE_LOW_MM:g};" in parts
    assert f"blade_tall() = {drawings.BLADE_TALL_MM:g};" in parts
    assert f"blade_pad() = {drawings.BLADE_PAD_MM:g};" in parts


@both
def test_netlist_and_diagram_are_of_these_pins(mark: str) -> None:
    wiring = tool("wiring")
    assert text(f"netlist{mark}.csv") == wiring.csv_text(wiring.netlist(WIRED[mark]))
    assert text(f"drawings/wiring{mark}.svg") == wiring.diagram(WIRED[mark])


def test_the_second_diagram_has_every_pin_that_the_settings_know() -> None:
    assert WIRED["_blade"].blade.fitted
    assert None not in msgspec.structs.astuple(WIRED["_blade"].pins)


@both
def test_every_pin_of_the_settings_is_wired_once_to_what_it_is_for(mark: str) -> None:
    """Read from the committed file alone, by names, not by the tool that wrote it."""
    wanted = {
        "step": "step 3.3 V",
        "direction": "direction 3.3 V",
        "enable": "enable 3.3 V",
        "limit_lower": "limit lower",
        "limit_upper": "limit upper",
        "beam_1": "beam 1 out",
        "emergency_stop": "emergency stop",
        "start_button": "start",
        "stop_button": "stop",
        "lamp_red": "lamp red",
        "lamp_green": "lamp green",
        "lamp_blue": "lamp blue",
        "beam_2": "beam 2 out",
        "buzzer": "buzzer",
        "blade_step": "blade step 3.3 V",
        "blade_direction": "blade direction 3.3 V",
        "blade_enable": "blade enable 3.3 V",
        "blade_park": "blade park",
    }
    rows = netlist_rows(mark)
    found = {
        row["net"]: int(match[1])
        for row in rows
        if row["part"] == "Pi" and (match := re.search(r"GPIO (\d+)", row["terminal"]))
    }
    pins = msgspec.structs.asdict(WIRED[mark].pins)
    numbers = {name: value for name, value in pins.items() if type(value) is int}
    assert found == {wanted[name]: number for name, number in numbers.items()} | {
        "SDA": 2,
        "SCL": 3,
    }


@both
def test_the_diagram_shows_every_wire_of_the_pi_and_names_every_part_it_reaches(mark: str) -> None:
    drawn = re.findall(r">([^<>]+)</text>", text(f"drawings/wiring{mark}.svg"))
    rows = netlist_rows(mark)
    wired = {row["net"] for row in rows if row["part"] == "Pi" and "GPIO" in row["terminal"]}
    for row in rows:
        if row["part"] == "Pi" and row["net"] in wired:
            assert row["terminal"] in drawn
            assert row["net"] in drawn
        elif row["net"] in wired:
            assert row["part"] in drawn


def test_other_pins_make_another_diagram() -> None:
    wiring = tool("wiring")
    other = changed_pins(step=13, beam_2=18, buzzer=21)
    nets = wiring.netlist(other)
    assert ("step 3.3 V", "Pi", "33 (GPIO 13)") in [end[:3] for end in nets]
    assert {"beam 2 out", "buzzer"} <= {end.net for end in nets}
    assert "33 (GPIO 13)" in wiring.diagram(other)
    assert wiring.diagram(other) != text("drawings/wiring.svg")


@both
def test_no_net_has_a_single_end_and_no_terminal_two_nets(mark: str) -> None:
    rows = netlist_rows(mark)
    ends: dict[str, int] = {}
    for row in rows:
        ends[row["net"]] = ends.get(row["net"], 0) + 1
    assert [net for net, count in ends.items() if count < 2] == []
    terminals = [(row["part"], row["terminal"]) for row in rows]
    double = {t for t in terminals if terminals.count(t) > 1}
    assert double <= {("star point", "0 V")}


@both
def test_the_motor_supply_runs_through_stop_and_contactor(mark: str) -> None:
    """Follow the current: no way from 24 V to a driver that does not pass K1's contact."""
    rows = netlist_rows(mark)
    nets = {(row["part"], row["terminal"].split()[0].split(",")[0]): row["net"] for row in rows}
    assert (
        nets["F1 6.3 A slow", "2"] == nets["K1 contactor", "1"] == nets["S1 emergency stop", "11"]
    )
    assert nets["K1 contactor", "2"] == nets["M1 driver", "V+"]
    at_driver = {row["part"] for row in rows if row["net"] == nets["M1 driver", "V+"]}
    drivers = {"M1 driver", "M2 driver"} if mark else {"M1 driver"}
    assert at_driver == drivers | {"K1 contactor", "C1 1000 µF 63 V"}
    assert {row["part"] for row in rows if row["terminal"] == "V+"} == drivers
    coil = [nets["S1 emergency stop", "12"], nets["S3 limit upper", "12"], nets["S5 reset", "14"]]
    assert coil[0] == nets["S3 limit upper", "11"]
    assert coil[1] == nets["S5 reset", "13"] == nets["K1 contactor", "13"]
    assert coil[2] == nets["K1 contactor", "14"]
    assert "Pi" not in {row["part"] for row in rows if row["net"] in coil}


def test_header_pins_are_those_of_the_40_pin_header() -> None:
    """The header as gpiozero knows it (model 3B here) against the table in the tool."""
    from gpiozero import pi_info

    header = pi_info("a020d3").headers["J8"]
    for number, position in tool("wiring").HEADER_PIN.items():
        assert header.pins[position].name == f"GPIO{number}"
    for position in tool("wiring").GROUND_PINS:
        assert header.pins[position].name == "GND"


def test_readme_has_the_numbers_of_the_sizing_and_the_bill_of_materials() -> None:
    readme, page = tool("readme"), text("README.md")
    assert page == readme.filled(page, Settings())
    for figure in size(Settings()).figures:
        assert f"| {figure.name} | {figure.value:.3g}".split("e+")[0] in page
    for row in csv.DictReader(text("bom.csv").splitlines()):
        assert f"| {row['item']} | {row['quantity']} | {row['part']} |" in page
    assert size(Settings()).warnings == []


def test_the_firmware_notes_have_the_pin_map() -> None:
    page = (HARDWARE.parent / "firmware_notes" / "README.md").read_text(encoding="utf-8")
    assert page == tool("readme").filled(page, Settings())
    assert f"| `pins.step` | {Settings().pins.step} | 32 |" in page


def test_figures_of_the_blade_are_those_of_the_code() -> None:
    page, blade, bag = text("README.md"), WIRED["_blade"].blade, WIRED["_blade"].bag
    gap = f"{blade.thickness_mm:g} + {blade.overshoot_mm:g} − {blade.springback_mm:g}"
    assert f"overshoot − springback, here {gap} = {bag.gap_mm:g} mm" in page
    assert f"blade moves, {blade.speed_mm_s:g} mm/s" in page
    assert f"gpio={WIRED['_blade'].pins.blade_enable}=op,dl" in page
    assert f"on a pulley of {blade.lead_mm:g} mm round" in page
    force_n = 0.4 / (blade.lead_mm / 1000 / (2 * pi))
    assert f"about {5 * round(force_n / 5):.0f} N" in page
    assert f"agree within {MARGIN_DEG:g}°" in page
    assert ENOUGH_RUNS == 10
    assert "Make ten runs by hand" in page
    assert UNATTENDED_BAD_RUNS == 3
    assert "ends a series after three bad runs" in page
    assert (MEASURED_DEG, SCATTERS) == (3.0, 3.0)
    assert "goes fast to 3° and three\ntimes the scatter below" in page


def test_the_prop_of_the_parts_list_reaches_from_level_to_the_soft_limit() -> None:
    """Its length between pin and socket, from the numbers in the model; tubes of 500 mm."""
    model, hinge = text("model/rig.scad"), Settings().mechanics.hinge_height_mm

    def number(name: str) -> float:
        match = re.search(rf"^{name} = ([\d.]+);", model, re.MULTILINE)
        assert match is not None
        return float(match[1])

    at, drop, foot_z = number("prop_at"), number("prop_drop"), number("rail") + 6
    lengths = []
    for angle_deg in (0, 20, Settings().linkage.soft_limit_deg):
        turn = radians(angle_deg)
        x = at * cos(turn) + drop * sin(turn)
        lengths.append(hypot(x - 600, hinge + at * sin(turn) - drop * cos(turn) - foot_z))
    assert 500 + 15 < min(lengths)
    assert max(lengths) < 2 * 500 - 60  # the tubes stay in each other by three widths
    assert "28 × 2 and 22 × 2 mm, 500 mm each" in text("bom.csv")


def test_every_file_that_the_readme_names_exists() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", text("README.md")):
        if "://" not in target:
            assert (HARDWARE / target).exists(), target


def test_the_small_parts_have_their_stl_and_drawing_and_stay_small() -> None:
    names = tool("pictures").part_names()
    assert len(names) >= 8
    for name in names:
        data = (HARDWARE / "stl" / f"{name}.stl").read_bytes()
        (triangles,) = struct.unpack_from("<I", data, 80)
        assert len(data) == 84 + 50 * triangles
        assert len(data) < 200_000
        assert triangles > 12
        assert (HARDWARE / "drawings" / f"{name}.svg").exists()
    assert {p.stem for p in (HARDWARE / "stl").glob("*.stl")} == set(names)


@pytest.mark.parametrize("path", sorted((HARDWARE / "stl").glob("*.stl")), ids=lambda p: p.stem)
def test_a_part_for_the_printer_is_a_closed_solid_on_the_bed(path: Path) -> None:
    data = path.read_bytes()
    (count,) = struct.unpack_from("<I", data, 80)
    edges: dict[tuple[object, object], int] = {}
    lowest, volume = 1e9, 0.0
    for i in range(count):
        numbers = struct.unpack_from("<12f", data, 84 + 50 * i)
        corners = [tuple(round(x, 4) for x in numbers[k : k + 3]) for k in (3, 6, 9)]
        lowest = min(lowest, *(corner[2] for corner in corners))
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = corners
        volume += (
            ax * (by * cz - bz * cy) - ay * (bx * cz - bz * cx) + az * (bx * cy - by * cx)
        ) / 6
        for k in range(3):
            a, b = corners[k], corners[(k + 1) % 3]
            edges[a, b] = edges.get((a, b), 0) + 1
    assert all(edges.get((b, a), 0) == n for (a, b), n in edges.items())
    assert volume > 500
    assert lowest == pytest.approx(0, abs=1e-3)


@both
def test_every_enable_line_has_its_pull_down(mark: str) -> None:
    rows = netlist_rows(mark)
    enables = {row["net"] for row in rows if row["net"].endswith("enable 3.3 V")}
    assert len(enables) == (2 if mark else 1)
    for net in enables:
        (pull,) = (row for row in rows if row["net"] == net and "pull-down" in row["part"])
        assert pull["terminal"] == "10 kΩ to 0 V"
        assert ("0 V logic", pull["part"]) in {(row["net"], row["part"]) for row in rows}
