"""What is shown: words, places of the dots, contrast; on the page and in the terminal alike."""

import io
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.commands.live_view import dot_lines, drawn, plain_line
from rig.control.request import RunRequest
from rig.panel.course import Course
from rig.panel.render import actions, sections
from rig.panel.seats import Place
from rig.panel.slides import Dot, axis, picture
from rig.panel.view import Notice, Snapshot
from rig.panel.words import degrees, duration, pressure, sentence, temperature

STATIC = Path(__file__).parents[2] / "rig/panel/static"


def snapshot(**changes: Any) -> Snapshot:
    request = RunRequest(
        rate_deg_s=1.0, dwell_s=10.0, gap_mm=8.0, u_gap_mm=1.0, bag_length_mm=152.0,
        u_bag_length_mm=4.0, bag="Heron [red]1", face="slick", repeat=2,
    )  # fmt: skip
    first = Snapshot(
        time_s=1.0, state="raising", angle_deg=12.345, cross_slope_deg=-0.001,
        step_angle_deg=12.3, temperature_c=23.0, relative_humidity_pct=51.2, pressure_hpa=1013.25,
        imu_temperature_c=25.0, beams_broken=(False,), inputs=(), wants="", waits_for_start=False,
        is_busy=True, course=Course(3, 1, 61.0, request),
        dots=(Dot(1, 20.1, 0.2, True, ""), Dot(2, None, None, False, "no slide")),
        notice=None, is_latched=False, unfinished="",
    )  # fmt: skip
    return first._replace(**changes)


def test_values_in_both_systems_of_units() -> None:
    assert temperature(100.0, "metric") == "100.0 °C"
    assert temperature(100.0, "us") == "212.0 °F"
    assert temperature(-40.0, "us") == "−40.0 °F"
    assert pressure(1013.25, "us") == "29.92 inHg"  # the standard atmosphere, ISO 2533
    assert temperature(None, "metric") == "–"
    assert sentence("Place the bag 25.4 mm above; 23 °C.", "us") == (
        "Place the bag 25.4 mm (1.00 in) above; 23 °C (73.4 °F)."
    )
    assert sentence("8 mm", "metric") == "8 mm"


def test_an_angle_never_shows_minus_nought() -> None:
    assert degrees(-0.001) == "0.00°"
    assert degrees(-0.1) == "−0.10°"
    assert degrees(None) == "–"


def test_times_are_said_no_finer_than_they_are_known() -> None:
    assert [duration(s) for s in (2, 61, 300, 9000)] == [
        "about 5 s",
        "about 60 s",
        "about 5 min",
        "about 2.5 h",
    ]


@given(st.floats(-50, 90), st.floats(0, 140))
def test_the_axis_holds_its_values_between_round_ones(low: float, span: float) -> None:
    values = axis(low, low + span)
    slack = 1e-6 * max(1.0, abs(low) + span)
    assert values[0] <= low + slack
    assert values[-1] >= low + span - slack
    assert len(values) <= 8 or span < 1e-6


@given(st.lists(st.tuples(st.floats(0, 45), st.floats(0, 2)), min_size=1, max_size=24))
def test_dots_and_bars_lie_within_the_picture(values: list[tuple[float, float]]) -> None:
    found = picture(tuple(Dot(i, a, u, True, "") for i, (a, u) in enumerate(values, 1)))
    for dot in found["dots"]:
        assert 0 < dot["x"] < 1
        assert -0.001 <= dot["y"] - dot["bar"] <= dot["y"] + dot["bar"] <= 1.001
    by_angle = sorted(range(len(values)), key=lambda i: values[i][0])
    heights = [found["dots"][i]["y"] for i in by_angle]
    assert heights == sorted(heights)


def test_what_is_shown_of_a_run() -> None:
    found = sections(snapshot(), "metric")
    assert found["angle"]["text"] == "12.35°" or found["angle"]["text"] == "12.34°"
    assert found["course"]["title"] == "Run 2 of 3"
    assert found["course"]["left"] == "about 60 s left"
    assert found["notice"]["kind"] == ""
    stopped = sections(snapshot(inputs=("emergency_stop",), is_busy=False), "metric")
    assert stopped["notice"]["title"] == "Emergency stop", "a stop that is down needs no event"


@pytest.mark.parametrize(
    ("place", "is_enabled"),
    [
        (Place("watcher", "", ""), False),
        (Place("paired", "device 1", ""), True),
        (Place("paired", "device 1", "device 2"), False),
        (Place("controller", "device 1", "device 1"), True),
    ],
)
def test_who_may_press_what(place: Place, is_enabled: bool) -> None:
    waiting = actions(snapshot(waits_for_start=True), place)
    is_paired = place.role != "watcher"
    assert waiting["start"] == {"shown": is_paired, "enabled": is_enabled}
    assert not waiting["series"]["shown"], "a series is under way"
    idle = actions(snapshot(is_busy=False, unfinished="1 of 3"), place)
    assert (idle["series"]["shown"], idle["resume"]["enabled"]) == (is_paired, is_enabled)
    latched = actions(snapshot(is_busy=False, is_latched=True), place)
    assert (latched["reset"]["enabled"], latched["series"]["shown"]) == (is_enabled, False)


def test_the_terminal_shows_the_same_and_reads_no_markup_from_names() -> None:
    from rich.console import Console

    snap = snapshot(
        notice=Notice("fault", "The machine stopped itself", "It [b]hangs.", "Help it.")
    )
    out = io.StringIO()
    Console(file=out, width=110).print(drawn(snap))
    text = out.getvalue()
    for part in (
        "Raising",
        "12.3",
        "23.0 °C",
        "Run 2 of 3",
        "Heron [red]1",
        "It [b]hangs. Help it.",
    ):
        assert part in text
    rows = dot_lines(snap)
    assert sum("●" in row for row in rows) == 1
    assert sum("x" in row.split("│")[-1] for row in rows[:-1]) == 1
    assert rows[-1].strip() == "x no angle"
    assert plain_line(snap).startswith("run 2 of 3  raising  12.3")


@pytest.mark.parametrize("columns", [40, 80])
def test_the_terminals_block_fits_into_its_columns(columns: int) -> None:
    from rich.console import Console

    many = tuple(Dot(i, 20.0 + i % 3, 0.2, True, "") for i in range(1, 25))
    out = io.StringIO()
    Console(file=out, width=columns).print(drawn(snapshot(dots=many), "us", columns))
    lines = out.getvalue().splitlines()
    assert {len(line) for line in lines} == {columns}
    assert "73.4 °F" in out.getvalue()
    picture_rows = [line for line in lines if "│" in line[2:-2]]
    assert len(picture_rows) == 6, "no row of the picture is folded"
    assert sum(line.count("●") for line in picture_rows) == min(24, (columns - 6) // 2 - 3)


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, two: str) -> float:
    high, low = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_a_known_pair() -> None:
    assert _contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert _contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


TEXTS = [
    ("ink", "paper"), ("ink", "card"), ("soft", "card"), ("soft", "paper"), ("on-go", "go"),
    ("go", "card"), ("on-mend", "mend"), ("on-stop", "stop"), ("on-fault", "fault"),
    ("on-note", "note"), ("rest", "card"), ("move", "card"), ("measure", "card"),
    ("wait", "card"), ("halt", "card"),
]  # fmt: skip


def test_no_colour_of_a_text_escapes_the_list_of_pairs() -> None:
    css = re.sub(r"/\*.*?\*/", "", (STATIC / "panel.css").read_text("utf-8"), flags=re.DOTALL)
    listed = set(TEXTS)
    fronts = {front for front, _ in listed}
    used = set(re.findall(r"(?<![\w-])(?:color|--tone): var\(--([\w-]+)\)", css)) - {"tone"}
    used |= set(re.findall(r"text \{ fill: var\(--([\w-]+)\)", css))
    assert used <= fronts
    for rule in re.findall(r"\{([^{}]*)\}", css):
        front = re.search(r"(?<![\w-])color: var\(--([\w-]+)\)", rule)
        ground = re.search(r"background: var\(--([\w-]+)\)", rule)
        if front and ground:
            assert (front[1], ground[1]) in listed, rule


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXTS)
def test_texts_stand_out_from_their_ground(theme: int, text: str, ground: str) -> None:
    css = (STATIC / "panel.css").read_text("utf-8")
    block = re.findall(r":root \{(.*?)\}", css, re.DOTALL)[theme]
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))
    assert _contrast(colours[text], colours[ground]) >= 4.5, "WCAG 2.2, 1.4.3 (AA)"


def test_the_page_needs_nothing_from_elsewhere() -> None:
    for file in STATIC.iterdir():
        text = file.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http:" not in text
        assert "https:" not in text
        assert "//cdn" not in text
