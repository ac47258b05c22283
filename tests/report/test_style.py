"""The style of all figures, and what turns one into a file."""

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rig.analysis.friction import analyse_run
from rig.quantities.shown import METRIC, US, system
from rig.report.pictures import calibration_figures, picture
from rig.report.style import (
    FONTS,
    INK,
    KNOWN,
    PAPER,
    WASH,
    WIDTH_IN,
    finish,
    legend_above,
    look,
    looks,
    new_figure,
    own_ids,
    png_bytes,
    row_axis,
    short,
    styled,
    themed,
    value_axis,
    wrapped,
)
from tests.analysis.slides import one_beam, run_file, slide
from tests.calibration.example import calibration
from tests.report import test_drawn_answer, test_drawn_rig
from tests.report.drawn import all_texts, patches, rows

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@pytest.fixture(scope="module")
def all_figures() -> "list[Figure]":
    edges = one_beam(slide(0.45, 0.4, 1.0, [8.0, 160.0]).edges_s)
    with styled():
        slid = analyse_run(run_file(1.0, edges))
    return [*test_drawn_answer.figures(), *test_drawn_rig.figures(slid)]


def test_no_letter_is_too_small_to_read_or_louder_than_the_title(
    all_figures: "list[Figure]",
) -> None:
    for figure in all_figures:
        sizes = {text.get_fontsize() for text in all_texts(figure)}
        assert min(sizes) >= 7.5, figure.get_suptitle()
        assert max(sizes) == 11.0, figure.get_suptitle()
        assert {text.get_fontsize() for axes in figure.axes for text in axes.texts} <= {
            *(7.5, 8.0, 8.5),
            9.5,
        }


def test_no_line_is_thicker_than_a_curve(
    all_figures: "list[Figure]",
) -> None:
    for figure in all_figures:
        for axes in figure.axes:
            for line in axes.lines:
                width = line.get_linewidth()
                assert width <= 1.6, (figure.get_suptitle(), width)
                if line.get_marker() not in ("None", "none", "", None, "|", "_"):
                    assert line.get_markersize() <= 6.0, figure.get_suptitle()
            fills: list[Any] = [*axes.collections, *axes.patches]
            for fill in fills:
                assert np.max(fill.get_linewidth(), initial=0.0) <= 1.3, figure.get_suptitle()


def test_all_are_as_wide_as_a_column_and_say_what_is_on_them(
    all_figures: "list[Figure]",
) -> None:
    for figure in all_figures:
        assert figure.get_figwidth() == WIDTH_IN == 4.4
        assert figure.get_figheight() < 2.0 * WIDTH_IN
        for words in (figure.get_suptitle(), figure.get_supxlabel()):
            assert len(words) >= 8
        for axes in figure.axes:
            # No shade hides what lies over it.
            for patch in (*axes.patches, *axes.collections):
                shade = patch.get_alpha()
                assert shade is None or shade <= 0.35


def test_groups_differ_in_mark_and_filling_never_in_colour() -> None:
    assert [look(k).is_open for k in range(4)] == [False, True, False, True]
    assert [look(k).mark for k in range(5)] == ["o", "o", "s", "s", "^"]
    assert [look(k).dash for k in (0, 4)] == ["-", "-"]
    assert look(1).dash != look(2).dash != look(0).dash
    filled, open_ = look(0).marker(4.0), look(1).marker()
    assert filled == {
        "marker": "o",
        "markersize": 4.0,
        "markerfacecolor": KNOWN,
        "markeredgecolor": PAPER,
        "markeredgewidth": 0.6,
    }
    assert (open_["markersize"], open_["markerfacecolor"]) == (5.5, PAPER)
    assert (open_["markeredgecolor"], open_["markeredgewidth"]) == (KNOWN, 1.3)
    assert looks(["b", "a", "b"]) == {"b": look(0), "a": look(1)}


def test_rows_go_down_with_every_second_one_shaded() -> None:
    axes = new_figure(2.0).subplots()
    row_axis(axes, ["first", "a name that is longer than twenty-four", "third", "fourth"])
    assert rows(axes) == ["first", "a name that is longer t…", "third", "fourth"]
    assert axes.get_yticks().tolist() == [0, 1, 2, 3]
    assert axes.get_ylim() == (3.55, -0.55)
    shaded = [(patch.get_y(), patch.get_height()) for patch in patches(axes)]
    assert shaded == [(0.5, 1.0), (2.5, 1.0)]
    from matplotlib.colors import to_rgba

    for patch in axes.patches:
        assert patch.get_facecolor() == to_rgba(WASH)
        assert (patch.get_zorder(), patch.get_linewidth()) == (0, 0)
    assert axes.yaxis.get_tick_params()["length"] == 0
    assert not axes.spines["left"].get_visible()
    assert not any(line.get_visible() for line in axes.get_ygridlines())


@pytest.mark.parametrize("which", ["x", "y"])
def test_an_axis_of_values_has_grid_lines_along_it_only(which: Any) -> None:
    with styled():
        axes = new_figure(2.0).subplots()
        value_axis(axes, "angle, °", which)
        grid = {
            "x": any(line.get_visible() for line in axes.get_xgridlines()),
            "y": any(line.get_visible() for line in axes.get_ygridlines()),
        }
    labels = {"x": axes.get_xlabel(), "y": axes.get_ylabel()}
    other = "y" if which == "x" else "x"
    assert (labels[which], labels[other]) == ("angle, °", "")
    assert (grid[which], grid[other]) == (True, False)


def test_title_and_note_begin_at_the_left_and_are_wrapped() -> None:
    figure = new_figure(2.0)
    finish(figure, "t " * 40, "n " * 60 + "50 %")
    title, note = all_texts(figure)
    assert [len(line) for line in title.get_text().splitlines()] == [49, 29]
    assert max(len(line) for line in note.get_text().splitlines()) == 65
    assert note.get_text().endswith("50\u00a0%")
    for text, size in ((title, 11), (note, 8.5)):
        assert (text.get_position()[0], text.get_ha(), text.get_fontsize()) == (0.01, "left", size)
    assert title.get_fontweight() == "bold"
    assert wrapped("50 % of", 4) == "50\u00a0%\nof"


def test_the_legend_stands_over_the_right_end() -> None:
    with styled():
        axes = new_figure(2.0).subplots()
        for name in ("one", "two", "three"):
            axes.plot([0, 1], [0, 1], label=name)
        legend_above(axes, columns=2)
        legend: Any = axes.get_legend()
    anchor = axes.transAxes.inverted().transform(legend.get_bbox_to_anchor().p0)
    assert tuple(anchor) == pytest.approx((1.0, 1.0))
    assert legend.borderaxespad == 0.15
    assert legend._ncols == 2  # noqa: SLF001
    assert legend._loc == 4, "its lower right corner"  # noqa: SLF001


def test_a_name_that_fits_is_whole() -> None:
    assert short("x" * 24) == "x" * 24
    assert short("x" * 25) == "x" * 23 + "…"
    assert short("abcdef", 3) == "ab…"


def test_a_png_has_200_dots_to_the_inch() -> None:
    with styled():
        data = png_bytes(new_figure(1.0))
    assert int.from_bytes(data[16:20]) == 880
    assert int.from_bytes(data[20:24]) == 200
    assert b"Software" not in data


def test_identifiers_of_a_drawing_become_its_own() -> None:
    drawing = '<g id="a" data-id2="b"/><use href="#a"/><p clip="url(#a)"/>'
    assert own_ids(drawing, "run") == (
        '<g id="run-a" data-id2="b"/><use href="#run-a"/><p clip="url(#run-a)"/>'
    )


def test_a_page_gives_a_drawing_its_colours_and_letters() -> None:
    drawing = (
        f'<g style="fill: {KNOWN}; stroke: #123456"/>'
        f'<text style="font-size: 8px; font-family: {FONTS}; fill: {INK}">a</text>'
    )
    assert themed(drawing) == (
        '<g style="fill: var(--known); stroke: #123456"/>'
        '<text style="font-size: 8px; fill: var(--ink)">a</text>'
    )


def test_a_picture_says_its_title_and_note_in_words() -> None:
    with styled():
        figure = new_figure(1.0)
        finish(figure, "title " * 15, "note")
        made = picture("name", figure)
    assert made.title == " ".join(["title"] * 15)
    assert made.alt == f"{made.title}. note"
    assert made.name == "name"
    assert not re.search("<!--|<metadata", made.svg)
    assert not re.search(r"<[^>]*\d\.\d{3}", made.svg), "two digits are a thirtieth of a pixel"
    assert made.svg.startswith("<svg")
    assert made.svg.endswith("</svg>")


def test_a_calibration_has_one_figure() -> None:
    given = calibration(residuals_deg=(0.01, 0.02), angles_deg=(0.0, 10.0))
    ((name, figure),) = calibration_figures(given)
    assert (name, figure is not None) == ("residuals", True)


def test_units_convert_as_defined_and_show_as_many_digits_as_they_need() -> None:
    assert (system("us"), system("metric")) == (US, METRIC)
    assert US["c"].of(100.0) == pytest.approx(212.0)
    assert US["mm"].of(25.4) == pytest.approx(1.0)
    assert US["g"].of(453.59237) == pytest.approx(16.0)
    assert METRIC["per10"].of(0.2) == US["per10"].of(0.2) == 2.0
    assert [METRIC[kind].of(1.5) for kind in ("c", "mm", "g")] == [1.5] * 3
    assert US["mm"].figure(50.8, ".1f") == "2.000"
    assert US["g"].figure(50.8, ".0f") == "1.8"
    assert US["c"].figure(10.0, ".1f") == "50.0"
    assert METRIC["mm"].figure(50.8, ".1f") == "50.8"
    assert US["c"]._replace(of=int).figure(254, "d") == "254"
    assert US["mm"]._replace(of=int).figure(254, "d") == "254"
