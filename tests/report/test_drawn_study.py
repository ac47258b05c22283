"""Figures of a study from inputs made by hand: every value in its place, every word said."""

from types import SimpleNamespace as Made
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rig.quantities.shown import METRIC, US
from rig.report.figures_climate import choice_figure, climate_figure, last_levels, sets_figure
from rig.report.figures_effects import cells_figure, effects_figure, paired_figure
from rig.report.figures_series import order_figure
from rig.report.style import COLOURS, FAINT, INK, look, styled
from rig.study.compare_changes import Place
from rig.study.rows import BagFace, BagInfo, Row
from tests.report.drawn import legend, marks, patches, points, rows, texts, words, xs, ys

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PLACE = Place("slick", "shed board")
BAGS = {
    "Heron": BagInfo(role="treated", treatment="rinse"),
    "Dunlin": BagInfo(role="control"),
    "Plover": BagInfo(role="reference"),
}


def cell(bag: str, stage: str, angle: float, climate: str = "22 °C", **changes: Any) -> Any:
    values = {"lower_deg": angle - 1.0, "upper_deg": angle + 1.0, "n_runs": 3}
    place = {"face": PLACE.face, "board": PLACE.board}
    return Made(
        bag=bag, stage=stage, climate=climate, angle_deg=angle, **(place | values | changes)
    )


def cells(*given: Any) -> "Figure":
    figure = cells_figure(given, BAGS, PLACE)
    assert figure is not None
    return figure


def test_cells_lie_in_the_row_of_their_bag_apart_by_stage() -> None:
    figure = cells(
        cell("Heron", "baseline", 20.0),
        cell("Heron", "after 1", 18.0, n_runs=4),
        cell("Dunlin", "baseline", 21.0, lower_deg=None),
        cell("Plover", "after 1", 22.0, upper_deg=None, face="grip"),
    )
    (axes,) = figure.axes
    assert rows(axes) == ["Dunlin · controls", "Heron · rinse"]
    # A third of a row apart, the earlier stage above.
    spots = {(x, round(y, 2)) for line in marks(axes) for x, y in points(line)}
    assert spots == {(20.0, 0.82), (18.0, 1.18), (21.0, -0.18)}
    bars = sorted(points(line) for line in axes.lines if len(xs(line)) == 2)
    assert [[x for x, _ in bar] for bar in bars] == [[17.0, 19.0], [19.0, 21.0]]
    assert legend(axes) == ["baseline", "after 1"]
    assert axes.get_title() == "22 °C at the board"
    assert axes.get_xlabel() == "slide angle, °"
    assert "n = 10 runs of 2 bags" in figure.get_supxlabel()
    assert all(line.get_visible() for line in axes.get_xgridlines())


def test_one_stage_lies_in_the_middle_of_the_row_and_each_climate_has_a_panel() -> None:
    figure = cells(
        cell("Plover", "baseline", 20.0, "22 °C"),
        cell("Plover", "baseline", 21.0, "25 °C"),
        cell("Dunlin", "baseline", 24.0, "25 °C"),
    )
    first, second = figure.axes
    assert [points(line) for line in marks(first)] == [[[20.0, 0.0]]]
    assert rows(first) == ["Plover · reference"]
    assert rows(second) == ["Dunlin · controls", "Plover · reference"]
    assert [points(line) for line in marks(second)] == [[[21.0, 1.0]], [[24.0, 0.0]]]
    grid = first.get_gridspec()
    assert grid is not None
    heights = grid.get_height_ratios()
    assert heights == [2.0, 3.0]
    assert figure.get_figheight() == pytest.approx(1.35 + 0.27 * 5)


def test_no_cell_there_no_figure() -> None:
    assert cells_figure([cell("Plover", "baseline", 20.0, face="grip")], BAGS, PLACE) is None


def change(bag: str, group: str, before: float, by: float) -> Any:
    return Made(bag=bag, group=group, before_deg=before, change_deg=by)


def test_each_bag_goes_from_before_to_before_and_its_change() -> None:
    made = [
        change("Heron", "rinse", 20.0, -2.0),
        change("Knot", "rinse", 22.0, -1.0),
        change("Dunlin", "controls", 21.0, 0.5),
    ]
    figure = paired_figure(made, PLACE, "baseline", "after 1")
    controls, rinse = figure.axes
    assert [points(line) for line in controls.lines] == [[[0.0, 21.0], [1.0, 21.5]]]
    assert [points(line)[1] for line in rinse.lines] == [[1.0, 18.0], [1.0, 21.0]]
    assert controls.get_title() == "controls\n+0.50°, n = 1"
    assert rinse.get_title() == "rinse\n−1.50°, n = 2"
    assert controls.lines[0].get_color() == look(0).colour
    assert {line.get_color() for line in rinse.lines} == {look(1).colour}
    assert [label.get_text() for label in rinse.get_xticklabels()] == ["baseline", "after 1"]
    assert (rinse.get_xticks().tolist(), rinse.get_xlim()) == ([0, 1], (-0.3, 1.3))
    assert not any(line.get_visible() for line in rinse.get_xgridlines())
    assert controls.get_ylabel() == "slide angle, °"
    assert "n = 3 bags in all" in " ".join(figure.get_supxlabel().split())
    assert "slick face on shed board" in " ".join(figure.get_suptitle().split())
    long = [change("Heron", "a very long name of a treatment indeed, too long", 20.0, 0.0)]
    (alone,) = paired_figure(long, PLACE, "before all", "after 1").axes
    assert alone.get_xticklabels()[0].get_text() == "before a…"
    assert len(alone.get_title().splitlines()[0]) == 40


def compared(**given: Any) -> Any:
    return Made(**given)


def effect(deg: float, **changes: Any) -> Any:
    values = {
        "treatment": "rinse",
        "against": "controls",
        "face": "slick",
        "board": "shed board",
        "effect_deg": deg,
        "lower_deg": deg - 1.0,
        "upper_deg": deg + 1.0,
        "family_lower_deg": deg - 2.0,
        "family_upper_deg": deg + 2.0,
        "blocked": False,
        "found": False,
        "found_in_family": False,
    }
    return Made(**(values | changes))


def test_an_effect_has_both_intervals_and_a_mark_that_says_how_sure_it_is() -> None:
    endless = {"family_lower_deg": -float("inf"), "family_upper_deg": float("inf")}
    given = [
        effect(-3.0, found=True, found_in_family=True),
        effect(1.5, found=True),
        effect(0.5, against=None),
        effect(0.2, blocked=True, **endless),
    ]
    figure = effects_figure(compared(effects=given, before="baseline", after="after 1", n_bags=7))
    assert figure is not None
    (axes,) = figure.axes
    first = [line for line in axes.lines if 0.0 in ys(line) and len(xs(line)) == 2]
    ends = {line.get_linewidth(): [x for x, _ in points(line)] for line in first}
    assert ends[1.2] == [-5.0, -1.0]
    assert ends[3.6] == [-4.0, -2.0]
    found = marks(axes)
    assert [points(one)[0] for one in found] == [[-3.0, 0], [1.5, 1], [0.5, 2], [0.2, 3]]
    assert [one.get_marker() for one in found] == ["o", "s", "D", "D"]
    assert [one.get_markerfacecolor() for one in found] == [COLOURS[0], *["white"] * 3]
    colours = [
        {
            line.get_color()
            for line in axes.lines
            if points(line)[0][1] == y and len(points(line)) == 2
        }
        for y in (0, 2, 3)
    ]
    assert colours == [{COLOURS[0], INK}, {COLOURS[1]}, {FAINT}]
    assert [sum(ys(line)[0] == 3 for line in axes.lines)] == [2], "no endless bar"
    assert rows(axes)[0] == "rinse − controls\nslick, shed board"
    assert rows(axes)[2].startswith("rinse − nothing")
    assert [0.0, 0.0] in [xs(line) for line in axes.lines], "the line of no effect"
    assert "left: slides earlier" in axes.get_xlabel()
    assert all(line.get_visible() for line in axes.get_xgridlines())
    assert "From baseline to after 1; n = 7 bags" in figure.get_supxlabel()
    assert figure.get_suptitle().startswith("What each treatment did")
    assert figure.get_figheight() == pytest.approx(1.5 + 0.46 * 4)
    assert effects_figure(compared(effects=[])) is None


class Model:
    """A climate model by hand: 0.1° for each %, ± 1°."""

    ranges = {"surface_humidity_pct": (40.0, 60.0)}  # noqa: RUF012
    slope_known, slopes, n_sessions, provisional = True, "of each face", 6, False

    def __init__(self, units: list[BagFace], **changes: Any) -> None:
        self._units = units
        for name, value in changes.items():
            setattr(self, name, value)

    def units(self) -> list[BagFace]:
        return self._units

    def predict(self, unit: BagFace, air: Any) -> Any:
        at = 15.0 + 0.1 * air.surface_humidity_pct
        return Made(angle_deg=at, lower_deg=at - 1.0, upper_deg=at + 1.0)


def row(bag: str, angle: float, order: int = 0, **changes: Any) -> Row:
    values: dict[str, Any] = {
        "face": "slick",
        "board": "shed board",
        "stage": "baseline",
        "session": "s1",
        "series": "1",
    }
    return Row(bag=bag, onset_angle_deg=angle, order=order, **(values | changes))


UNITS = [BagFace(bag, "slick", "shed board", "baseline") for bag in ("A", "B", "C", "D")]


def climate(units: list[BagFace], *given: Row, **changes: Any) -> "Figure":
    model: Any = Model(units, **changes)
    figure = climate_figure(model, given, "slick", "shed board")
    assert figure is not None
    return figure


def test_the_curve_of_the_climate_goes_a_little_beyond_what_was_measured() -> None:
    given = [row(unit.bag, 20.0, surface_humidity_pct=50.0) for unit in UNITS]
    figure = climate(UNITS, *given, row("E", 20.0), row("A", 25.0, session="s2"))
    assert [one.get_title() for one in figure.axes if one.axison] == [
        f"{bag}\nbaseline" for bag in "ABCD"
    ]
    first = figure.axes[0]
    curve, own = first.lines
    assert (points(curve)[0], points(curve)[-1]) == ([34.0, 18.4], [66.0, 21.6])
    assert len(points(curve)) == 25
    # Of two sessions only one has a humidity.
    assert points(own) == [[50.0, 20.0]]
    band = np.asarray(first.collections[0].get_paths()[0].vertices)
    at_start = sorted({round(float(y), 3) for x, y in band if x == 34.0})
    assert at_start == [17.4, 19.4]
    (ground,) = patches(first)
    assert (ground.get_x(), ground.get_width()) == (40.0, 20.0)
    assert ground.get_zorder() < curve.get_zorder()
    assert [one.axison for one in figure.axes] == [True] * 4 + [False] * 2
    assert [one.get_ylabel() for one in figure.axes[:4]] == [
        "slide angle, °",
        "",
        "",
        "slide angle, °",
    ]
    # Below the last panel of each column, where nothing else is.
    assert [one.get_xlabel() for one in figure.axes] == [
        "",
        "%RH at the board",
        "%RH at the board",
        "%RH at the board",
        "",
        "",
    ]
    for axes in figure.axes[1:4]:
        assert axes.xaxis.get_tick_params()["labelbottom"], "the numbers, too"
    note = " ".join(figure.get_supxlabel().split())
    assert "n = 6 sessions; slopes: of each face" in note
    assert "PROVISIONAL" not in note


@pytest.mark.parametrize(("low", "high", "ends"), [(2.0, 50.0, (0, 56)), (50.0, 97.0, (44, 100))])
def test_no_humidity_is_drawn_that_cannot_be(low: float, high: float, ends: object) -> None:
    ranges = {"surface_humidity_pct": (low, high)}
    figure = climate(UNITS[:1], row("A", 20.0), ranges=ranges, provisional=True, slope_known=False)
    xs = [x for x, _ in points(figure.axes[0].lines[0])]
    assert (xs[0], xs[-1]) == ends
    note = " ".join(figure.get_supxlabel().split())
    assert "PROVISIONAL: too few climates." in note
    assert "no slope is known" in note


def test_without_humidities_or_bags_there_is_no_climate_figure() -> None:
    given = [row("A", 20.0)]
    for model, face in ((Model(UNITS, ranges={}), "slick"), (Model(UNITS), "grip")):
        assert climate_figure(model, given, face, "shed board") is None  # type: ignore[arg-type]


def test_more_bags_than_panels_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rig.report.figures_climate.MOST_PANELS", 3)
    figure = climate(UNITS, *(row(unit.bag, 20.0) for unit in UNITS))
    assert [axes.axison for axes in figure.axes] == [True] * 3
    assert figure.get_figheight() == pytest.approx(1.5 + 1.5)


def choice(*angles: float) -> "Figure":
    candidates = [
        Made(
            bag=f"bag {i}",
            face="slick" if i % 2 else "grip",
            angle_deg=angle,
            lower_deg=angle - 1.5,
            upper_deg=angle + 1.5,
            chance_pct=80.4 - i,
        )
        for i, angle in enumerate(angles)
    ]
    made: Any = Made(
        candidates=candidates,
        wish=Made(angle_deg=20.0, tolerance_deg=0.5),
        board="shed board",
        air=Made(surface_humidity_pct=54.6),
    )
    return choice_figure(made)


def test_the_choice_ranks_faces_around_the_wish() -> None:
    figure = choice(20.1, 21.0)
    (axes,) = figure.axes
    assert rows(axes) == ["bag 0 · grip", "bag 1 · slick"]
    shaded = max(patches(axes), key=lambda patch: patch.get_alpha() or 0.0)
    assert (shaded.get_x(), shaded.get_width()) == (19.5, 1.0)
    wish, bar, mark, other, second = axes.lines
    assert xs(wish) == [20.0, 20.0]
    assert points(bar) == [[pytest.approx(18.6), 0], [pytest.approx(21.6), 0]]
    assert (points(mark), points(other)[1], points(second)) == ([[20.1, 0]], [22.5, 1], [[21, 1]])
    assert (mark.get_markerfacecolor(), second.get_markerfacecolor()) == (COLOURS[1], COLOURS[0])
    assert (bar.get_color(), other.get_color()) == (COLOURS[1], COLOURS[0])
    assert words(axes) == ["80 %", "79 %", "chance"]
    # Beside the panel, each at the height of its row; the head above the first.
    assert [text.xy for text in texts(axes)] == [(1.01, 0), (1.01, 1), (1.01, -0.75)]
    assert all(line.get_visible() for line in axes.get_xgridlines())
    assert axes.get_xlabel() == "predicted slide angle, °"
    assert figure.get_suptitle() == "Choice of the day on shed board, 55\u00a0%RH"
    note = " ".join(figure.get_supxlabel().split())
    assert "wish 20.0°; shaded: within 0.5° of it; chance: to lie there. n = 2 faces." in note
    assert figure.get_figheight() == pytest.approx(1.7 + 0.27 * 2)


def test_a_long_choice_says_what_is_not_drawn() -> None:
    figure = choice(*(20.0 for _ in range(32)))
    assert len(rows(figure.axes[0])) == 30
    assert "n = 32 faces, 2 not drawn." in " ".join(figure.get_supxlabel().split())
    whole = choice(*(20.0 for _ in range(30)))
    assert "not drawn" not in whole.get_supxlabel()


def test_a_set_is_a_line_from_its_smallest_to_its_largest() -> None:
    levels = {
        BagFace("Heron 2", "slick", "shed board", "baseline"): 21.0,
        BagFace("Heron 1", "slick", "shed board", "baseline"): 20.0,
        BagFace("Heron 3", "slick", "shed board", "baseline"): 25.0,
        BagFace("Heron 1", "grip", "shed board", "baseline"): 30.0,
        BagFace("Heron 1", "slick", "barn", "baseline"): 10.0,
        BagFace("Plover", "slick", "shed board", "baseline"): 11.0,
    }
    sets = {f"Heron {i}": "Heron" for i in (1, 2, 3)}
    figure = sets_figure(levels, sets, "shed board")
    assert figure is not None
    (axes,) = figure.axes
    assert rows(axes) == ["Heron · grip", "Heron · slick"]
    in_row = [points(line) for line in axes.lines if ys(line)[0] == 1]
    assert in_row == [[[20, 1], [25, 1]], [[20, 1]], [[21, 1]], [[25, 1]], [[22, 1]]]
    assert axes.lines[-1].get_marker() == "|"
    assert words(axes) == ["1", "1", "2", "3"]
    # Above and below by turns, so that near ones do not lie on each other.
    offsets = [(text.xyann, text.get_va(), text.get_ha()) for text in texts(axes)[1:]]
    assert offsets == [
        ((0, 6), "bottom", "center"),
        ((0, -7), "top", "center"),
        ((0, 6), "bottom", "center"),
    ]
    assert axes.lines[1].get_markerfacecolor() == COLOURS[1], "grip"
    assert axes.lines[4].get_markerfacecolor() == COLOURS[0], "slick"
    assert axes.get_xlabel() == "slide angle in the study’s mean air, °"
    assert all(line.get_visible() for line in axes.get_xgridlines())
    assert "n = 4 bag faces" in figure.get_supxlabel()
    assert figure.get_suptitle() == "Do the bags of a set match? On shed board"
    assert figure.get_figheight() == pytest.approx(1.5 + 0.5 * 2)
    assert sets_figure(levels, {}, "shed board") is None


def test_the_last_levels_are_those_of_the_last_stage_on_each_board() -> None:
    given = [row("A", 20.0, 0), row("A", 19.0, 1, stage="after 1"), row("A", 22.0, 2, board="barn")]
    levels = {
        BagFace("A", "slick", "shed board", "baseline"): 20.0,
        BagFace("A", "slick", "shed board", "after 1"): 19.0,
        BagFace("A", "slick", "barn", "baseline"): 22.0,
    }
    assert sorted(last_levels(levels, given).values()) == [19.0, 22.0]


def ordered() -> list[Row]:
    air: dict[str, Any] = {"surface_humidity_pct": 50.0, "temperature_c": 20.0, "u_run_deg": 0.2}
    return [
        row("Heron", 20.0, **air),
        row("Plover", 22.0, **air),
        row("Heron", 21.0, session="s2", **air | {"surface_humidity_pct": 60.0}),
        row("Heron", 23.0, session="s2", face="grip", **air | {"temperature_c": None}),
    ]


def test_runs_stand_in_the_order_of_time_with_their_air_below() -> None:
    figure = order_figure(ordered(), US["c"], "In order", "Plover")
    top, middle, bottom = figure.axes
    spots = {
        str(one.get_label()): (points(one[0]), one[0].get_markerfacecolor())
        for one in top.containers
    }
    assert spots == {
        "grip down": ([[4, 23]], COLOURS[0]),
        "slick down": ([[1, 20], [3, 21]], COLOURS[1]),
        "reference bag": ([[2, 22]], COLOURS[2]),
    }
    assert list(spots)[-1] == "reference bag"
    assert legend(top) == list(spots)
    first = top.containers[0][2][0].get_segments()[0]
    assert [float(y) for _, y in first] == pytest.approx([22.8, 23.2])
    assert points(middle.lines[0]) == [[1, 50], [2, 50], [3, 60], [4, 50]]
    assert points(bottom.lines[0]) == [[1, 68], [2, 68], [3, 68]]
    assert middle.get_ylim() == pytest.approx((55.0 - 6.5, 55.0 + 6.5))
    assert bottom.get_ylim() == pytest.approx((67.0, 69.0)), "one degree at least to each side"
    assert [axes.get_ylabel() for axes in figure.axes] == [
        "slide angle, °",
        "%RH at\nthe board",
        "air,\n°F",
    ]
    assert not any(line.get_visible() for line in top.get_xgridlines())
    assert (middle.lines[0].get_color(), bottom.lines[0].get_color()) == COLOURS[:2]
    for line in (middle.lines[0], bottom.lines[0]):
        assert (line.get_linewidth(), line.get_markersize()) == (0.0, 3.5), "dashes apart"
    for axes in figure.axes:
        assert xs(axes.lines[-1]) == [2.5, 2.5], "between two sessions"
    margins = top.margins()
    assert margins is not None
    assert margins[1] == 0.12
    assert bottom.get_xlim() == (0.0, 5.0)
    assert bottom.get_xlabel() == "run, in order of time"
    assert figure.get_suptitle() == "In order"
    note = " ".join(figure.get_supxlabel().split())
    assert note.startswith("n = 4 runs that count, 2 sessions, parted by lines; bars: standard")
    grid = top.get_gridspec()
    assert grid is not None
    assert grid.get_height_ratios() == (3.4, 1.1, 1.1)
    assert figure.get_figheight() == 4.9


def test_without_air_or_uncertainties_it_says_so() -> None:
    figure = order_figure([row("Heron", 20.0), row("Heron", 21.0)], METRIC["c"], "In order")
    top, middle, bottom = figure.axes
    assert not top.collections
    for axes in (middle, bottom):
        assert words(axes) == ["not recorded"]
        assert axes.texts[0].get_position() == (0.5, 0.5)
        assert not axes.lines
    assert figure.get_supxlabel() == "n = 2 runs that count, 1 session; no bars drawn."


@pytest.mark.parametrize(("n", "has_bars"), [(80, True), (81, False)])
def test_too_many_runs_have_no_bars_and_small_dots(n: int, has_bars: bool) -> None:
    given = [row("Heron", 20.0, i, u_run_deg=0.2) for i in range(n)]
    top = order_figure(given, METRIC["c"], "In order").axes[0]
    assert bool(top.collections) is has_bars
    assert top.containers[0][0].get_markersize() == (5.0 if has_bars else 2.6)
    assert ("bars: " in top.figure.get_supxlabel()) is has_bars


def figures() -> "list[Figure]":
    """One of each."""
    with styled():
        made = [
            cells(cell("Heron", "baseline", 20.0), cell("Heron", "after 1", 18.0)),
            paired_figure([change("Heron", "rinse", 20.0, -2.0)], PLACE, "baseline", "after 1"),
            effects_figure(compared(effects=[effect(1.0)], before="a", after="b", n_bags=2)),
            climate(UNITS, *(row(one.bag, 20.0, surface_humidity_pct=50.0) for one in UNITS)),
            choice(20.0, 21.0),
            sets_figure(dict.fromkeys(UNITS, 20.0), dict.fromkeys("ABCD", "all"), "shed board"),
            order_figure(ordered(), METRIC["c"], "In order", "Plover"),
            order_figure([row("Heron", 20.0)], METRIC["c"], "In order"),
        ]
    return [one for one in made if one is not None]
