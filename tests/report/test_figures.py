"""The figures: same data, same bytes; readable without colour; nothing cut off."""

import re
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rig.quantities.shown import METRIC
from rig.report.evidence import Evidence
from rig.report.figures_series import order_figure
from rig.report.pictures import study_figures
from rig.report.style import COLOURS, Picture, look, png_bytes, styled, svg_text
from tests.report.conftest import NASTY

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NEEDED = {
    "path-1",
    "effects",
    "day-slick",
    "weather",
    "droop",
    "order",
    "run",
    "onset",
    "budget",
    "residuals",
    "home",
}


@pytest.fixture(scope="module")
def drawn(evidence: Evidence) -> "dict[str, Figure]":
    with styled():
        return {name: one for name, one in study_figures(evidence) if one is not None}


def test_a_whole_study_has_all_figures(drawn: "dict[str, Figure]") -> None:
    assert NEEDED <= set(drawn)


def test_each_says_units_n_and_what_a_bar_means(drawn: "dict[str, Figure]") -> None:
    for name, figure in drawn.items():
        note = " ".join(figure.get_supxlabel().split())
        assert "n = " in note or name == "onset", name
        assert re.search(r"[Bb]ars?[: ]|band: 95 %", note), (name, note)
        labels = " ".join(a.get_xlabel() + a.get_ylabel() for a in figure.axes)
        labels += "°" if name.startswith("path") else ""  # each of its ticks says so
        assert "°" in labels, name


@pytest.mark.long
def test_nothing_is_cut_off_and_no_words_lie_on_words(drawn: "dict[str, Figure]") -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.text import Text

    with styled():
        for name, figure in drawn.items():
            canvas = FigureCanvasAgg(figure)
            canvas.draw()
            renderer = canvas.get_renderer()
            width, height = canvas.get_width_height()
            boxes = []
            for text in figure.findobj(Text):
                if not text.get_visible() or not text.get_text().strip():
                    continue
                box = text.get_window_extent(renderer)
                if box.width < 1 or _outside_its_axis(text, box):
                    continue
                assert box.x0 > -1, (name, text.get_text())
                assert box.y0 > -1, (name, text.get_text())
                assert box.x1 < width + 1, (name, text.get_text())
                assert box.y1 < height + 1, (name, text.get_text())
                boxes.append((text.get_text(), box))
            for (one, a), (other, b) in combinations(boxes, 2):
                across = min(a.x1, b.x1) - max(a.x0, b.x0)
                along = min(a.y1, b.y1) - max(a.y0, b.y0)
                assert "beam" in one + other or across < 2 or along < 2, (name, one, other)


def _outside_its_axis(text: object, box: object) -> bool:
    """Tick labels beyond the limits are there but never drawn."""
    from matplotlib.axis import Axis

    figure = text.figure  # type: ignore[attr-defined]
    for axes in figure.axes:
        if not axes.axison:
            if text in axes.findobj(type(text)):
                return True
            continue
        for axis in (axes.xaxis, axes.yaxis):
            assert isinstance(axis, Axis)
            ticks = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
            low, high = sorted(axis.get_view_interval())
            for tick in ticks:
                if text in (tick.label1, tick.label2) and not low <= tick.get_loc() <= high:
                    return True
    return False


def test_the_same_data_give_the_same_bytes(evidence: Evidence) -> None:
    with styled():
        first, second = (
            svg_text(order_figure(evidence.slides[:9], METRIC["c"], "t")) for _ in range(2)
        )
    assert first == second
    assert first.startswith("<svg")
    assert "<!--" not in first
    assert not re.search(r"20\d\d-\d\d-\d\dT", first)


def test_a_name_that_is_html_or_formula_draws(pictures: list[Picture]) -> None:
    for one in pictures:
        assert "<script" not in one.svg
        assert NASTY not in one.svg


def test_a_figure_is_a_png_too(evidence: Evidence) -> None:
    with styled():
        figure = order_figure(evidence.slides[:3], METRIC["c"], "Three slides")
        assert png_bytes(figure).startswith(b"\x89PNG")


def lightness(colour: str) -> float:
    """CIE L* (CIE 15:2004) from sRGB (IEC 61966-2-1)."""
    y = float(np.dot((0.2126, 0.7152, 0.0722), linear(colour)))
    return 116.0 * y ** (1.0 / 3.0) - 16.0 if y > 0.008856 else 903.3 * y


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def test_colours_differ_in_grey() -> None:
    values = [lightness(colour) for colour in COLOURS]
    assert all(after - before > 11.0 for before, after in pairwise(values))


BLIND = {
    # G. M. Machado et al., IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291, severity 1.0;
    # from memory.
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


@pytest.mark.parametrize("kind", BLIND)
def test_colours_differ_for_colour_blind_eyes(kind: str) -> None:
    seen = [lab(np.clip(np.array(BLIND[kind]) @ linear(colour), 0.0, 1.0)) for colour in COLOURS]
    for one, other in combinations(seen, 2):
        assert float(np.linalg.norm(one - other)) > 15.0


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE L*a*b* of linear sRGB, white D65."""
    matrix = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    ratio = np.array(matrix) @ rgb / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > 0.008856, np.cbrt(ratio), 7.787 * ratio + 16.0 / 116.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


def test_groups_differ_in_mark_as_well() -> None:
    assert len({(look(k).mark, look(k).is_open) for k in range(8)}) == 8
