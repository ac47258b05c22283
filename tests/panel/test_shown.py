"""What is shown in the terminal, and how well the page can be read."""

import io
import re
from pathlib import Path

import pytest

from rig.commands.run.live_view import dot_lines, drawn, plain_line
from rig.panel.slides import Dot
from rig.panel.view import Notice
from tests.panel.paper import snapshot

STATIC = Path(__file__).parents[2] / "rig/panel/static"


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
