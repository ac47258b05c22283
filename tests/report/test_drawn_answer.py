"""Figures of a study from inputs made by hand: every value in its place, every word said."""

from types import SimpleNamespace as Made
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rig.quantities.shown import METRIC, US
from rig.report.figures_answer import (
    MOST_ROWS,
    Range,
    ShownInterval,
    day_figure,
    effects_figure,
    interval_figure,
    most_applications,
    name_panel,
    path_figure,
    ranges,
)
from rig.report.figures_series import order_figure
from rig.report.figures_weather import MOST_PANELS, weather_figure
from rig.report.paths import Stage, WayToTarget
from rig.report.style import (
    FAINT,
    INK,
    KNOWN,
    PALE,
    PAPER,
    RECKONED,
    TARGET,
    look,
    new_figure,
    styled,
)
from rig.report.weather import Humidity, Measured, WeatherBand
from rig.study.answer.answer import FaceTarget, Forecast
from rig.study.slides.slide import Slide
from tests.report.drawn import heights, legend, marks, patches, points, rows, xs, ys

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WANTED = FaceTarget(face="slick", angle_deg=18.0, tolerance_deg=0.5)


def stage(applications: int, angle: float, n_slides: int = 3) -> Stage:
    return Stage(
        stage=f"after {applications}",
        applications=applications,
        angle_deg=angle,
        lower_deg=angle - 0.5,
        upper_deg=angle + 1.0,
        n_slides=n_slides,
    )


def forecast(applications: int, angle: float, recipe: str = "soak") -> Forecast:
    return Forecast(
        recipe=recipe,
        applications=applications,
        angle_deg=angle,
        lower_deg=angle - applications,
        upper_deg=angle + applications,
        p_reaches=0.1,
        p_passes=0.1,
        p_nearer=0.5,
    )


HERON: Any = Made(
    bag="Heron",
    face="slick",
    forecast=(forecast(1, 19.5, "tumble"), forecast(1, 18.5), forecast(2, 17.5)),
)
WAY = WayToTarget(
    bag="Heron", face="slick", stages=(stage(0, 21.0), stage(1, 19.0, n_slides=0)), recipe="soak"
)


def way(target: FaceTarget | None = WANTED) -> "Figure":
    with styled():
        return path_figure(HERON, WAY, target, Range(16.0, 23.0), 4)


def test_a_way_is_the_stages_with_their_intervals_then_the_fan() -> None:
    (axes,) = way().axes
    line = next(one for one in axes.lines if one.get_color() == KNOWN and len(xs(one)) == 2)
    assert points(line) == [[0, 21], [1, 19]]
    bars = [one[2][0].get_segments()[0] for one in axes.containers]
    assert [[float(y) for _, y in bar] for bar in bars] == [[20.5, 22.0], [18.5, 20.0]]
    spots = [one for one in marks(axes) if one.get_marker() == "o"]
    assert [one.get_markerfacecolor() for one in spots] == [KNOWN, PAPER], "not measured since"
    ahead = next(one for one in axes.lines if one.get_color() == RECKONED)
    assert points(ahead) == [[1, 19], [2, 18.5], [3, 17.5]], "of the path's recipe alone"
    fan = axes.collections[0]
    edge = fan.get_paths()[0].vertices
    ends = {(float(x), float(y)) for x, y in np.asarray(edge)}
    assert {(1, 18.5), (1, 20), (2, 17.5), (2, 19.5), (3, 15.5), (3, 19.5)} <= ends
    band = patches(axes)[0]
    assert (band.get_y(), band.get_height()) == (17.5, 1.0)
    wanted = next(one for one in axes.lines if one.get_color() == TARGET)
    assert ys(wanted) == [18.0, 18.0]
    assert axes.get_ylim() == (16.0, 23.0)
    assert axes.get_xlim() == (-0.4, 4.4)
    assert axes.get_xticks().tolist() == [0, 1, 2, 3, 4]
    assert axes.get_xlabel() == "treatments"


def test_a_way_that_stands_by_itself_names_its_bag() -> None:
    figure = way()
    name_panel(figure)
    (axes,) = figure.axes
    assert axes.get_title(loc="left") == "Heron, slick"
    assert axes.get_position().y1 < 0.9, "there is room for it"
    wide = new_figure(1.0)
    name_panel(wide)
    assert wide.axes == []


def test_a_way_is_told_in_words() -> None:
    note = way().get_supxlabel()
    assert "n = 3 slides: after 0 21.0° (20.5 to 22.0); after 1 19.0°" in note
    assert "target 18.0°" in note
    assert note.endswith("Bars: 95 %. The fan is the forecast for more soak.")
    assert way().get_suptitle() == "Heron, slick: the way to its target"
    without = way(None)
    assert "no target" in without.get_supxlabel()
    assert not without.axes[0].patches


def test_all_panels_of_a_face_have_one_range() -> None:
    answer: Any = Made(
        bags=[HERON, Made(bag="Knot", face="grip", forecast=())],
        targets=[WANTED, FaceTarget(face="unmeasured", angle_deg=30.0, tolerance_deg=1.0)],
    )
    knot = WayToTarget(bag="Knot", face="grip", stages=(stage(0, 30.0),), recipe=None)
    found = ranges(answer, [WAY, knot])
    assert found["slick"] == (17.0, 22.5), "the last forecast's middle and the first bar's end"
    assert found["grip"] == (29.0, 31.5)
    assert most_applications(answer, [WAY, knot]) == 3
    low: Any = Made(bags=[HERON], targets=[FaceTarget(face="slick", angle_deg=9, tolerance_deg=1)])
    assert ranges(low, [WAY])["slick"].low == 7.5


def effect(recipe: str, deg: float, shown: bool, **more: Any) -> Any:
    return Made(
        recipe=recipe,
        model=more.get("model", ""),
        face=more.get("face", "slick"),
        effect_deg=deg,
        lower_deg=deg - 1.0,
        upper_deg=deg + 0.5,
        n_applications=2,
        shown=shown,
    )


def effects(*given: Any) -> "Figure":
    with styled():
        figure = effects_figure(Made(treatments=given, weather=given))  # type: ignore[arg-type]
    assert figure is not None
    return figure


def test_what_is_shown_is_dark_and_filled_what_is_not_pale_and_open() -> None:
    figure = effects(effect("soak", -1.5, True), effect("tumble", 0.2, False))
    (axes,) = figure.axes
    assert rows(axes) == ["soak, slick", "tumble, slick"]
    bars = [one for one in axes.lines if len(xs(one)) == 2 and ys(one)[0] == ys(one)[1]]
    assert [(points(one), one.get_color()) for one in bars] == [
        ([[-2.5, 0], [-1.0, 0]], KNOWN),
        ([[-0.8, 1], [0.7, 1]], PALE),
    ]
    spots = marks(axes)
    assert [points(one)[0] for one in spots] == [[-1.5, 0], [0.2, 1]]
    assert [one.get_markerfacecolor() for one in spots] == [KNOWN, PAPER]
    zero = next(one for one in axes.lines if xs(one) == [0.0, 0.0])
    assert zero.get_color() == INK
    assert "n = 4 applications" in figure.get_supxlabel()
    named = effects(effect("soak", 1, True, model="A"), effect("soak", 1, True, model="B"))
    assert rows(named.axes[0]) == ["soak, A slick", "soak, B slick"]
    assert "n = 4 app" in named.get_supxlabel(), "each model's bags had two of their own"
    faces = effects(effect("soak", 1, True), effect("soak", 2, True, face="grip"))
    assert "n = 2 app" in faces.get_supxlabel(), "one recipe's applications count once"
    assert effects_figure(Made(treatments=(), weather=())) is None  # type: ignore[arg-type]


def pick(bag: str, angle: float, face: str = "slick") -> Any:
    return Made(bag=bag, face=face, angle_deg=angle, lower_deg=angle - 1, upper_deg=angle + 1)


def day() -> "Figure":
    picks = [pick("Heron", 18.2), pick("Knot", 20.0, "grip"), pick("Dunlin", 19.0)]
    with styled():
        figure = day_figure(Made(picks=picks), WANTED)  # type: ignore[arg-type]
    assert figure is not None
    return figure


def test_the_choice_lies_against_its_target() -> None:
    figure = day()
    (axes,) = figure.axes
    assert rows(axes) == ["Heron", "Dunlin"], "of this face alone"
    band = patches(axes)[-1]
    assert (band.get_x(), band.get_width()) == (17.5, 1.0)
    assert [one.get_markerfacecolor() for one in marks(axes)] == [KNOWN, PAPER]
    assert {one.get_color() for one in axes.lines if len(xs(one)) == 2} == {KNOWN}, "all are known"
    assert not any(xs(one) == [0.0, 0.0] for one in axes.lines)
    assert figure.get_suptitle() == "Today’s choice, slick face"
    assert "n = 2 bags" in figure.get_supxlabel()


def test_a_long_list_says_what_is_not_drawn() -> None:
    many = [ShownInterval(str(i), 20.0, 19.0, 21.0, True) for i in range(MOST_ROWS + 3)]
    with styled():
        long = interval_figure(many, "°", "title", "note.")
        whole = interval_figure(many[:MOST_ROWS], "°", "title", "note.")
    assert long is not None
    assert whole is not None
    assert len(rows(long.axes[0])) == len(rows(whole.axes[0])) == MOST_ROWS
    assert long.get_supxlabel() == "note. 3 more are in the table."
    assert whole.get_supxlabel() == "note."


def band(face: str, model: str = "") -> WeatherBand:
    curve = tuple(
        Humidity(surface_humidity_pct=h, angle_deg=h / 5, lower_deg=h / 5 - 1, upper_deg=h / 5 + 2)
        for h in (40.0, 60.0)
    )
    series = (Measured(surface_humidity_pct=45.0, angle_deg=9.5),)
    return WeatherBand(model=model, face=face, n_bags=2, shown=True, curve=curve, series=series)


def weather(*bands: WeatherBand) -> "Figure":
    with styled():
        figure = weather_figure(bands, 55.0)
    assert figure is not None
    return figure


def test_the_weather_is_a_band_with_the_series_on_it() -> None:
    figure = weather(band("grip"), band("slick", "Tide"), band("third"))
    assert [axes.get_title("left") for axes in figure.axes] == ["grip", "Tide slick", "third"]
    axes = figure.axes[0]
    curve, measured, today = axes.lines
    assert (points(curve), curve.get_color()) == ([[40, 8], [60, 12]], RECKONED)
    assert (points(measured), measured.get_markerfacecolor()) == ([[45, 9.5]], KNOWN)
    assert (xs(today), today.get_color()) == ([55, 55], FAINT)
    ends = {
        (float(x), float(y)) for x, y in np.asarray(axes.collections[0].get_paths()[0].vertices)
    }
    assert {(40, 7), (40, 10), (60, 11), (60, 14)} <= ends
    assert "n = 3 series" in figure.get_supxlabel()
    assert (axes.get_ylabel(), axes.get_xlabel()) == ("slide angle, °", "%RH at the board")
    many = weather(*(band(str(i)) for i in range(MOST_PANELS + 2)))
    assert len(many.axes) == MOST_PANELS
    assert weather_figure([], 50.0) is None


def slide(angle: float, **changes: Any) -> Slide:
    values: dict[str, Any] = {
        "bag": "Heron",
        "face": "slick",
        "session": "s1",
        "surface_humidity_pct": 50.0,
        "temperature_c": 20.0,
    }
    return Slide(
        slide_id="x", source="rig", at="", onset_angle_deg=angle, valid=True, **values | changes
    )


def ordered() -> list[Slide]:
    return [
        slide(20.0),
        slide(22.0, role="reference"),
        slide(21.0, session="s2", surface_humidity_pct=60.0),
        slide(23.0, session="s2", face="grip", temperature_c=None),
    ]


def in_order(slides: list[Slide], units: Any = METRIC) -> "Figure":
    with styled():
        return order_figure(slides, units["c"], "In order")


def test_slides_stand_in_the_order_of_time_with_their_air_below() -> None:
    figure = in_order(ordered(), US)
    top, middle, bottom = figure.axes
    spots = {str(one.get_label()): points(one) for one in top.lines if len(legend(top)) == 3}
    assert {name: spots[name] for name in legend(top)} == {
        "grip down": [[4, 23]],
        "slick down": [[1, 20], [3, 21]],
        "reference bag": [[2, 22]],
    }
    assert legend(top)[-1] == "reference bag"
    drawn = [(one.get_marker(), one.get_markerfacecolor()) for one in top.lines[:3]]
    assert drawn == [("o", KNOWN), ("o", PAPER), (look(2).mark, KNOWN)]
    assert points(middle.lines[0]) == [[1, 50], [2, 50], [3, 60], [4, 50]]
    assert points(bottom.lines[0]) == [[1, 68], [2, 68], [3, 68]]
    assert middle.get_ylim() == pytest.approx((55.0 - 6.5, 55.0 + 6.5))
    assert bottom.get_ylim() == pytest.approx((67.0, 69.0)), "one degree at least to each side"
    assert [axes.get_ylabel() for axes in figure.axes] == [
        "slide angle, °",
        "%RH at\nthe board",
        "air,\n°F",
    ]
    for axes in figure.axes:
        assert xs(axes.lines[-1]) == [2.5, 2.5], "between two sessions"
    assert heights(top) == (3.4, 1.1, 1.1)
    assert bottom.get_xlim() == (0.0, 5.0)
    assert bottom.get_xlabel() == "slide, in order of time"
    note = " ".join(figure.get_supxlabel().split())
    assert note.startswith("n = 4 slides that count, 2 sessions, parted by lines.")


def test_air_that_was_not_recorded_has_no_panel() -> None:
    dark = [slide(20.0, surface_humidity_pct=None, temperature_c=None)]
    (only,) = in_order(dark).axes
    assert only.get_xlabel() == "slide, in order of time"
    assert "1 session." in only.figure.get_supxlabel()


@pytest.mark.parametrize(("n", "size"), [(80, 5.0), (81, 3.0)])
def test_many_slides_have_small_marks(n: int, size: float) -> None:
    top = in_order([slide(20.0)] * n).axes[0]
    assert top.lines[0].get_markersize() == size


def figures() -> "list[Figure]":
    """One of each that is as wide as a column; the panels of a way are smaller."""
    return [effects(effect("soak", -1.5, True)), day(), weather(band("grip")), in_order(ordered())]
