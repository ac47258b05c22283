"""What stands in hardware/ is what its tools make from the settings."""

import csv
import re
import struct
from math import pi
from pathlib import Path

import msgspec
import pytest

from hardware.model import belt, loose, small
from hardware.model.assembly import Rig
from hardware.model.drawn import drawn, parts_by_item
from hardware.model.numbers import NUMBERS
from hardware.tools import drawings, labels, pictures, readme, turned, views, wiring
from rig.analysis.placing import ENOUGH_RUNS, MARGIN_DEG
from rig.devices.lamp import PATTERNS
from rig.motion.sizing import size
from rig.procedures.series.series import UNATTENDED_BAD_RUNS
from rig.settings.load import load_settings
from rig.settings.method import MEASURED_DEG
from rig.settings.model import Settings
from tests.motion.changed import changed

pytestmark = pytest.mark.long


HARDWARE = Path(__file__).parents[2] / "hardware"


def text(path: str) -> str:
    return (HARDWARE / path).read_text(encoding="utf-8")


def changed_pins(**pins: int | None) -> Settings:
    base = Settings()
    return msgspec.structs.replace(base, pins=msgspec.structs.replace(base.pins, **pins))


WIRED = {"": Settings(), "_run": Settings(), "_blade": load_settings(HARDWARE / "blade.toml")}
"""Mark in the file names of netlist and diagram, and the settings they are of."""

each = pytest.mark.parametrize("mark", WIRED, ids=["reference", "run input", "blade"])


def test_drawings_are_of_these_settings_and_no_other_is_there() -> None:
    made = dict(drawings.all_drawings(Settings()))
    for name, drawing in made.items():
        assert text(f"drawings/{name}") == drawing, name
    there = {path.name for path in (HARDWARE / "drawings").glob("*.svg")}
    assert there == set(made) | {f"wiring{mark}.svg" for mark in WIRED}


def netlist_rows(mark: str) -> list[dict[str, str]]:
    return list(csv.DictReader(text(f"netlist{mark}.csv").splitlines()))


@each
def test_netlist_and_diagram_are_of_these_pins(mark: str) -> None:
    run = mark == "_run"
    table = wiring.csv_text(wiring.netlist(WIRED[mark], run_input=run))
    assert text(f"netlist{mark}.csv") == table
    assert text(f"drawings/wiring{mark}.svg") == wiring.diagram(WIRED[mark], run_input=run)


def test_the_second_diagram_has_every_pin_that_the_settings_know() -> None:
    assert WIRED["_blade"].blade.fitted
    assert None not in msgspec.structs.astuple(WIRED["_blade"].pins)


@each
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


@each
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
    other = changed_pins(step=13, beam_2=18, buzzer=21)
    nets = wiring.netlist(other)
    assert ("step 3.3 V", "Pi", "33 (GPIO 13)") in [end[:3] for end in nets]
    assert {"beam 2 out", "buzzer"} <= {end.net for end in nets}
    assert "33 (GPIO 13)" in wiring.diagram(other)
    assert wiring.diagram(other) != text("drawings/wiring.svg")


@each
def test_no_net_has_a_single_end_and_no_terminal_two_nets(mark: str) -> None:
    rows = netlist_rows(mark)
    ends: dict[str, int] = {}
    for row in rows:
        ends[row["net"]] = ends.get(row["net"], 0) + 1
    assert [net for net, count in ends.items() if count < 2] == []
    terminals = [(row["part"], row["terminal"]) for row in rows]
    double = {t for t in terminals if terminals.count(t) > 1}
    assert double <= {("star point", "0 V")}


@each
def test_the_motor_supply_runs_through_stop_and_contactor(mark: str) -> None:
    """Follow the current: no way from 24 V to a driver that does not pass K1's contact."""
    rows = netlist_rows(mark)
    nets = {(row["part"], row["terminal"].split()[0].split(",")[0]): row["net"] for row in rows}
    assert (
        nets["F1 6.3 A slow", "2"] == nets["K1 contactor", "1"] == nets["S1 emergency stop", "11"]
    )
    assert nets["K1 contactor", "2"] == nets["M1 driver", "V+"]
    at_driver = {row["part"] for row in rows if row["net"] == nets["M1 driver", "V+"]}
    drivers = {"M1 driver", "M2 driver"} if mark == "_blade" else {"M1 driver"}
    ena = {"": {"R7 2.2 kΩ 1 W"}, "_run": set(), "_blade": {"R7 2.2 kΩ 1 W", "R8 2.2 kΩ 1 W"}}
    assert at_driver == drivers | {"K1 contactor", "C1 1000 µF 63 V"} | ena[mark]
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
    for number, position in wiring.HEADER_PIN.items():
        assert header.pins[position].name == f"GPIO{number}"
    for position in wiring.GROUND_PINS:
        assert header.pins[position].name == "GND"


def test_readme_has_the_numbers_of_the_sizing_and_the_bill_of_materials() -> None:
    page = text("README.md")
    assert page == readme.filled(page, Settings())
    for figure in size(Settings()).figures:
        assert f"| {figure.name} | {figure.value:.3g}".split("e+")[0] in page
    for row in csv.DictReader(text("bom.csv").splitlines()):
        assert f"| {row['item']} | {row['quantity']} | {row['part']} |" in page
    assert size(Settings()).warnings == []


def test_the_firmware_notes_have_the_pin_map() -> None:
    page = (HARDWARE.parent / "firmware_notes" / "README.md").read_text(encoding="utf-8")
    assert page == readme.filled(page, Settings())
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
    assert MEASURED_DEG == 3.0
    assert "fast to 3° below the slide that it found" in page


def test_every_file_that_the_readme_names_exists() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", text("README.md")):
        if "://" not in target:
            assert (HARDWARE / target).exists(), target


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


@each
def test_every_enable_line_has_its_pull_down(mark: str) -> None:
    rows = netlist_rows(mark)
    enables = {row["net"] for row in rows if row["net"].endswith("enable 3.3 V")}
    assert len(enables) == (2 if mark == "_blade" else 1)
    for net in enables:
        (pull,) = (row for row in rows if row["net"] == net and "pull-down" in row["part"])
        assert pull["terminal"] == "10 kΩ to 0 V"
        assert ("0 V logic", pull["part"]) in {(row["net"], row["part"]) for row in rows}


@pytest.mark.parametrize("mark", ["", "_blade"])
def test_a_disabling_input_is_driven_until_the_pi_drives_enable(mark: str) -> None:
    """With the relay at rest a current flows from the motor supply through ENA to 0 V."""
    rows = netlist_rows(mark)

    def nets(part: str) -> dict[str, str]:
        return {r["terminal"].split()[0].rstrip(","): r["net"] for r in rows if r["part"] == part}

    axes = [("M1 driver", "K2 relay", "R7 2.2 kΩ 1 W", "Q5 driver", "")]
    if mark:
        axes.append(("M2 driver", "K3 relay", "R8 2.2 kΩ 1 W", "Q6 driver", "blade "))
    for driver, relay, series, switch, prefix in axes:
        assert nets(series)["1"] == "motor supply"
        assert nets(series)["2"] == nets(driver)["ENA+"]
        assert nets(driver)["ENA−"] == nets(relay)["11"]
        (closed,) = [r for r in rows if r["part"] == relay and r["terminal"].startswith("11")]
        assert closed["terminal"] == "11 (closed)"
        assert nets(relay)["12"] == "0 V power"
        assert nets(relay)["A1"] == "5 V"
        assert nets(relay)["A2"] == nets(switch)["collector"]
        assert nets(switch)["base"] == f"{prefix}enable 3.3 V"
        assert nets(switch)["emitter"] == "0 V logic"
    current_ma = (24 - 1.2) / 2.2
    assert 8 < current_ma < 15


def test_a_run_input_is_off_unless_the_pi_drives_enable() -> None:
    rows = netlist_rows("_run")
    assert not any("relay" in row["part"] or "ENA" in row["terminal"] for row in rows)
    run = {row["net"] for row in rows if row["terminal"] == "RUN+ (opto)"}
    assert run == {"enable 5 V"}
    assert {r["part"] for r in rows if r["net"] == "enable 5 V"} == {"U1 buffer", "M1 driver"}


@each
def test_every_contact_has_its_pull_up_and_its_filter(mark: str) -> None:
    rows = netlist_rows(mark)
    contacts = {row["net"] for row in rows if row["net"].endswith(" contact")}
    assert len(contacts) == (6 if mark == "_blade" else 5)
    for net in contacts:
        parts = {row["part"]: row["terminal"] for row in rows if row["net"] == net}
        (pull,) = [part for part in parts if "pull-up" in part]
        assert parts[pull] == "1.5 kΩ to 3.3 V"
        assert ("3.3 V", pull) in {(row["net"], row["part"]) for row in rows}
        (chain,) = [part for part in parts if "filter" in part]
        inner = {row["net"]: row["terminal"] for row in rows if row["part"] == chain}
        assert inner[net.removesuffix(" contact")] == "1 kΩ; 100 nF to 0 V here"
    assert (wiring.PULL_UP_OHM, wiring.FILTER_OHM, wiring.FILTER_F) == (1500, 1000, 100e-9)


@each
def test_s3_has_two_contacts_that_share_no_terminal(mark: str) -> None:
    rows = [row for row in netlist_rows(mark) if row["part"] == "S3 limit upper"]
    assert {row["terminal"].split()[0] for row in rows} == {"11", "12", "21", "22"}
    power = {row["net"] for row in rows if row["terminal"].startswith("1")}
    logic = {row["net"] for row in rows if row["terminal"].startswith("2")}
    assert power == {"coil", "coil 2"}
    assert logic == {"limit upper contact", "0 V logic"}


def bom() -> list[dict[str, str]]:
    return list(csv.DictReader(text("bom.csv").splitlines()))


def test_every_part_of_the_list_is_drawn_or_named_as_bought() -> None:
    there = {path.stem for path in (HARDWARE / "drawings").glob("*.svg")}
    named: set[str] = set()
    for row in bom():
        named |= set(row["drawing"].split())
        assert row["source"] in ("made", "bought"), row["item"]
        if row["source"] == "made":
            assert row["drawing"], f"{row['item']} is made and has no drawing"
        assert set(row["drawing"].split()) <= there, row["item"]
        assert int(row["cost_eur"]) > 0
    made = set(drawn(Settings(), NUMBERS))
    assert made <= named, "a drawing of a part that is not in the list"
    page = text("README.md")
    for name in there - named:
        assert f"(drawings/{name}.svg)" in page, name


def test_every_part_of_the_model_is_in_the_list() -> None:
    listed = {row["item"] for row in bom()}
    rig = Rig(Settings())
    loose_parts = [*loose.prop(Settings(), NUMBERS, 20), *loose.crank(Settings(), NUMBERS, 0)]
    loose_parts += [*loose.blade(Settings(), NUMBERS, 300.0), *belt.drive(NUMBERS)]
    assert set(parts_by_item([*rig.parts, *loose_parts])) <= listed


def test_lengths_in_the_list_are_those_of_the_parts() -> None:
    figures = {row["item"]: row["figures_that_matter"] for row in bom()}
    parts = {part.item: part for part in Rig(Settings()).parts}
    for item in ("cradle rails", "cradle crossbars", "side rails", "outriggers", "hinge bar",
                 "push tube", "screw", "pivot pin", "crank shaft"):  # fmt: skip
        box = parts[item].solid.bounding_box()
        long = max(box[i + 3] - box[i] for i in range(3))
        assert f"{long:,.0f} mm" in figures[item], (item, long)


def test_sizes_of_plates_and_angles_in_the_list_are_those_of_the_parts() -> None:
    figures = {row["item"]: row["figures_that_matter"] for row in bom()}
    parts = Rig(Settings()).parts
    for name in ("side panel", "back board", "tie board", "crank bracket"):
        count, size = views.sawn(parts, name)
        assert size in figures["panels"], name
        assert f">{count} × {size}<" in text("drawings/frame.svg")
    for name in ("prop angle", "prop foot angle"):
        boxes = [p.solid.bounding_box() for p in parts if p.name == name]
        assert f"{len(boxes)} × {boxes[0][3] - boxes[0][0]:.0f} mm" in figures["prop angles"], name
    (shaft,) = [p.solid.bounding_box() for p in belt.drive(NUMBERS) if p.name == "blade shaft"]
    assert f"shaft 8 h6 × {shaft[4] - shaft[1]:.0f} mm" in figures["blade belts (optional)"]


def test_another_rig_has_other_figures_on_its_drawings() -> None:
    """What a drawing says comes from the settings, also where it stands in a sentence."""
    other = changed(mechanics={"screw_diameter_mm": 12.0, "hinge_height_mm": 560.0},
                    screw={"lead_mm": 3.0})  # fmt: skip
    turned_end = turned.screw(other)
    assert "Screw Tr12×3, mm" in turned_end
    assert "turned from the core of 8.5:" in turned_end
    made = dict(drawings.all_drawings(other))
    _, size = views.sawn(Rig(other).parts, "back board")
    assert size == "202 × 356"
    assert f">1 × {size}<" in made["frame.svg"]
    assert made["screw.svg"] == turned_end


def test_the_lamps_legend_is_what_the_lamp_shows() -> None:
    lines = " · ".join(labels.lamp_lines()).removeprefix("Lamp: ").split(" · ")
    assert len(lines) == len(PATTERNS)
    assert "green slow put the bag back" in lines
    assert "blue fast raising" in lines
    assert "white steady sliding" in lines
    for (state, pattern), line in zip(PATTERNS.items(), lines, strict=True):
        colour, rhythm, means = line.split(" ", 2)
        assert labels.COLOURS[pattern.colours] == colour
        assert (rhythm == "steady") == (pattern.dark_s == 0), state
        assert means
        assert line in text("drawings/labels.svg")


def test_resistors_on_the_diagram_are_the_constants(monkeypatch: pytest.MonkeyPatch) -> None:
    names = ("PULL_UP_OHM", "FILTER_OHM", "PULL_DOWN_OHM", "BASE_OHM", "LAMP_OHM", "ENA_OHM",
             "BEAM_PULL_UP_OHM")  # fmt: skip
    for i, name in enumerate(names):
        monkeypatch.setattr(wiring, name, 47_000.0 + i)
    monkeypatch.setattr(wiring, "FILTER_F", 33e-9)
    table = wiring.csv_text(wiring.netlist(WIRED["_blade"]))
    for i in range(len(names)):
        assert wiring.ohm(47_000.0 + i) in table
    assert "33 nF" in table
    assert {found[:2] for found in re.findall(r"[\d.]+ k?Ω", table)} == {"47"}


def test_what_is_turned_is_turned_from_the_core_of_the_screw() -> None:
    assert max(NUMBERS.journal[0], NUMBERS.shaft_end[0]) < 11.5
    thread, seat = Settings().mechanics.screw_length_mm, NUMBERS.journal[1]
    assert f">{thread + seat + NUMBERS.shaft_end[1]:g}<" in text("drawings/screw.svg")


def test_figures_of_the_page_are_those_of_the_model() -> None:
    page, m = text("README.md"), Settings().mechanics
    figures = {figure.name: figure.value for figure in size(Settings()).figures}
    sideways, downhill = (
        figures["push that tips it sideways"],
        figures["push that tips it downhill"],
    )
    assert f"{sideways:.0f} N sideways, {downhill:.0f} N downhill" in page
    along, uplift = figures["hinge along the floor, most"], figures["uplift on the hinge, most"]
    assert f"pushed downhill by {along:.0f} N and lifted by {uplift:.0f} N" in page
    assert f"(base {m.base_mass_kg:g} kg)" in page
    assert f"by up to {NUMBERS.slot_run:g} mm in the slots" in page
    turns = figures["stroke"] / Settings().screw.lead_mm
    assert f"{turns:.0f} turns from the top" in page
    assert f"({figures['weight on a hand at the free end']:.0f} N at the free end)" in page
    assert f"serious, unlikely: {figures['energy of a fall from the top']:.0f} J" in page
    reach = NUMBERS.cross_half - Settings().board.width_mm / 2
    assert f"feet reach {reach:.0f} mm beyond the board" in page


def test_pictures_are_there_and_shown() -> None:
    names = {*pictures.PICTURES, "order.png"}
    assert {path.name for path in (HARDWARE / "pictures").glob("*.png")} == names
    for name in names:
        assert f"](pictures/{name})" in text("README.md")


def test_files_for_the_printer_are_those_of_the_model() -> None:
    names = small.printed(Settings(), NUMBERS)
    assert {path.stem for path in (HARDWARE / "stl").glob("*.stl")} == set(names)
    for name in names:
        data = (HARDWARE / "stl" / f"{name}.stl").read_bytes()
        assert len(data) < 400_000, name
        assert data == pictures.stl(name), name
