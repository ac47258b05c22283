"""Figures of a rig and of a run: droop, calibration, home readings, budget, raise and onset."""

import math
from types import SimpleNamespace as Made
from typing import TYPE_CHECKING, Any, cast

import msgspec
import numpy as np
import pytest
from msgspec.structs import replace

from rig.analysis.budget.parts import Budget
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.calibration.history import HomeRecord
from rig.quantities.shown import METRIC, US
from rig.report.figures_rig import budget_figure, droop_figure, home_figure, residuals_figure
from rig.report.figures_run import onset_figure, run_figure, sensor_blocks
from rig.report.style import FAINT, HATCHES, INK, KNOWN, LIMIT, PAPER, RECKONED, styled
from rig.runfile.model import Event
from rig.runfile.reader import RunFile
from tests.analysis.parts import component
from tests.analysis.slides import one_beam, run_file, slide
from tests.calibration.example import calibration
from tests.report.drawn import (
    bar_patches,
    bars,
    heights,
    legend,
    patches,
    points,
    rows,
    series,
    texts,
    words,
    xs,
    ys,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def droop(bag: str, length_mm: float, u_mm: float | None, stage: str = "baseline") -> Any:
    return Made(
        bag=bag,
        face="slick",
        stage=stage,
        bending_length_peirce_mm=length_mm,
        u_bending_length_mm=u_mm,
    )


SLIDES = {
    ("Heron", "slick", "baseline"): 20.0,
    ("Dunlin", "slick", "baseline"): 22.0,
    ("Heron", "slick", "after 1"): 18.0,
}


def drooped(association: Any = None) -> "Figure":
    given = [
        droop("Heron", 25.4, 2.54, "after 1"),
        droop("Heron", 50.8, 2.54),
        droop("Dunlin", 76.2, None),
        droop("Plover", 90.0, 1.0),
    ]
    figure = droop_figure(given, SLIDES, association, US["mm"])
    assert figure is not None
    return figure


def test_droop_lies_against_the_slide_in_the_readers_unit() -> None:
    figure = drooped(Made(intercept_deg=15.0, slope=0.1, correlation=-0.5))
    (axes,) = figure.axes
    found = {str(one.get_label()): one for one in axes.containers}
    assert list(found) == ["slick, baseline", "slick, after 1"]
    assert points(found["slick, baseline"][0]) == [[2.0, 20.0], pytest.approx([3.0, 22.0])]
    assert points(found["slick, after 1"][0]) == [[1.0, 18.0]]
    widths = [
        [float(end[0]) for end in segment]
        for segment in found["slick, baseline"][2][0].get_segments()
    ]
    assert widths == [pytest.approx([1.9, 2.1]), pytest.approx([3.0, 3.0])]
    line = axes.lines[-1]
    assert points(line) == [pytest.approx([1.0, 17.54]), pytest.approx([3.0, 22.62])]
    assert line.get_color() == RECKONED
    assert axes.get_xlabel() == "bending length from droop (Peirce), in   (left: softer)"
    assert axes.get_ylabel() == "slide angle, °"
    assert legend(axes) == list(found)
    assert figure.get_suptitle() == "Droop against slide angle"
    assert "n = 3 bag faces and stages; r = −0.50." in figure.get_supxlabel()
    (without,) = drooped().axes
    assert len(without.lines) == 2
    assert "r = " not in without.figure.get_supxlabel()
    two = [droop("Heron", 50.8, 2.54), droop("Dunlin", 76.2, None), droop("Plover", 90.0, 1.0)]
    assert droop_figure(two, SLIDES, None, METRIC["mm"]) is None, "two points are no figure"


def rest(**changes: Any) -> "tuple[Axes, Axes]":
    values = {
        "angles_deg": (10.0, 20.0, 30.0, 25.0, 15.0),
        "residuals_deg": (0.01, -0.08, 0.02, 0.0, 0.03),
        "u_reference_deg": 0.03,
        "reference": "sine bar",
    }
    figure = residuals_figure(calibration(**(values | changes)))
    assert figure is not None
    axes, below = figure.axes
    return axes, below


def test_residuals_go_up_and_down_within_the_references_own_doubt() -> None:
    axes, below = rest()
    assert series(axes) == {
        "way up": [[10.0, 0.01], [20.0, -0.08], [30.0, 0.02]],
        "way down": [[25.0, 0.0], [15.0, 0.03]],
    }
    shaded = patches(axes)[0]
    ends = (shaded.get_y(), shaded.get_y() + shaded.get_height())
    assert ends == pytest.approx((-0.06, 0.06))
    assert axes.get_ylim() == pytest.approx((-0.1, 0.1)), "a quarter beyond the largest"
    zero = axes.lines[0]
    assert (ys(zero), zero.get_color()) == ([0.0, 0.0], INK)
    assert [line.get_color() for line in axes.lines[1:]] == [KNOWN, KNOWN]
    fills = [line.get_markerfacecolor() for line in axes.lines[1:]]
    assert fills == [KNOWN, PAPER]
    assert axes.get_ylabel() == "reference −\nsensor, °"
    assert legend(axes) == ["way up", "way down"]
    assert heights(axes) == (3.0, 2.0)
    assert axes.get_shared_x_axes().joined(axes, below)
    assert not axes.xaxis.get_tick_params()["labelbottom"]
    assert (below.get_ylim()[0], below.get_ylabel()) == (0.0, "u, °")
    assert below.get_xlabel() == "inclination, °"
    figure = axes.figure
    assert figure.get_suptitle() == "Calibration of 2026-10-01: what it leaves"
    note = " ".join(figure.get_supxlabel().split())
    assert "n = 5 points, reference: sine bar." in note
    assert "(0.030°)" in note


def test_a_doubt_larger_than_the_residuals_stays_in_view() -> None:
    assert rest(u_reference_deg=0.1)[0].get_ylim() == pytest.approx((-0.25, 0.25))


def test_residuals_without_angles_or_reference_are_counted() -> None:
    axes, below = rest(angles_deg=(), u_reference_deg=0.0, reference="")
    assert [x for one in series(axes).values() for x, _ in one] == [0, 1, 2, 3, 4]
    assert axes.get_xlabel() == "point"
    assert not axes.get_shared_x_axes().joined(axes, below)
    assert axes.xaxis.get_tick_params()["labelbottom"]
    assert not axes.patches
    assert "reference: not named" in " ".join(axes.figure.get_supxlabel().split())
    assert residuals_figure(calibration()) is None


def home(*given: tuple[float, float], limit_deg: float = 0.5) -> "Axes":
    records = [
        HomeRecord("2026-10-02T08:00:00Z", float(day), along, across)
        for day, (along, across) in enumerate(given)
    ]
    figure = home_figure("2026-10-01T08:00:00Z", records, limit_deg)
    assert figure is not None
    return figure.axes[0]


def test_home_readings_lie_over_days() -> None:
    axes = home((0.05, -0.02), (0.06, -0.04))
    assert series(axes) == {
        "along the slide": [[0.0, 0.05], [1.0, 0.06]],
        "across": [[0.0, -0.02], [1.0, -0.04]],
    }
    assert [line.get_color() for line in axes.lines if len(points(line)) == 2][2] == INK
    assert [line.get_markerfacecolor() for line in axes.lines[:2]] == [KNOWN, PAPER]
    assert legend(axes) == ["along the slide", "across"]
    assert axes.get_xlabel() == "days since 2026-10-02"
    assert axes.get_ylabel() == "home reading, °"
    assert not any(line.get_visible() for line in axes.get_xgridlines())
    assert axes.figure.get_suptitle() == "Home readings over time"
    note = " ".join(axes.figure.get_supxlabel().split())
    assert note.startswith("n = 2 runs;")
    assert "calibration of 2026-10-01" in note
    assert "Limit: 0.5°." in note


@pytest.mark.parametrize(
    ("most", "half", "limits"),
    [
        (0.01, 0.1, []),  # noise must not look like a drift
        (0.24, 1.3 * 0.24, []),
        (-0.26, 1.15 * 0.5, [-0.5, 0.5]),
        (0.6, 1.3 * 0.6, [-0.5, 0.5]),
    ],
)
@pytest.mark.parametrize("is_across", [False, True])
def test_the_limit_shows_once_readings_come_half_way(
    most: float, half: float, limits: list[float], is_across: bool
) -> None:
    axes = home((0.0, most) if is_across else (most, 0.0))
    assert axes.get_ylim() == pytest.approx((-half, half))
    drawn = [ys(line)[0] for line in axes.lines if line.get_color() == LIMIT]
    assert [y for y in drawn if abs(y) == 0.5] == limits


def test_no_home_reading_no_chart() -> None:
    assert home_figure("2026-10-01T08:00:00Z", [], 0.5) is None


PARTS = [
    component("gap", 0.3),
    component("zero", 0.4, "common"),
    component("mount", 1.2, "series"),
    # 2 % of the whole of 1.3° is 0.026°.
    component("just in", 0.027),
    component("just out", 0.025),
]


def test_a_budget_shows_its_parts_by_size_then_the_layers_then_all() -> None:
    figure = budget_figure(Budget(onset_angle_deg=20.0, components=PARTS))
    assert figure is not None
    (axes,) = figure.axes
    names = ["mount", "zero", "gap", "just in", "all run", "all series", "all common", "combined"]
    assert rows(axes) == names
    run, whole = math.hypot(0.3, 0.027, 0.025), math.hypot(0.3, 0.027, 0.025, 0.4, 1.2)
    values = [1.2, 0.4, 0.3, 0.027, run, 1.2, 0.4, whole]
    expected: list[Any] = [(0.0, pytest.approx(v, abs=1e-5), y, 0.66) for y, v in enumerate(values)]
    assert bars(axes) == expected
    assert words(axes) == [f"{value:.3f}°" for value in values]
    ends = [text.xy for text in texts(axes)]
    assert ends == [(pytest.approx(value), y) for y, value in enumerate(values)]
    assert {text.xyann for text in texts(axes)} == {(4, 0)}, "behind the bar's end"
    assert axes.get_xlim() == pytest.approx((0.0, 1.2 * whole)), "room for the figures"
    (rule,) = axes.lines
    assert ys(rule) == [3.5, 3.5], "between the parts and the sums"
    drawn = bar_patches(axes)
    places = [1, 2, 0, 0, 0, 1, 2]
    assert [bar.get_hatch() or "" for bar in drawn] == [*(HATCHES[k] for k in places), ""]
    from matplotlib.colors import to_rgba

    colours = [PAPER if k else RECKONED for k in places]
    assert [bar.get_facecolor() for bar in drawn] == [to_rgba(c) for c in (*colours, INK)]
    edge = to_rgba(RECKONED)
    assert [bar.get_edgecolor() for bar in drawn] == [*(edge for _ in places), to_rgba(PAPER)]
    assert legend(axes) == ["run", "series", "common"]
    shown = axes.get_legend()
    assert shown is not None
    handles = shown.get_patches()
    assert [patch.get_hatch() or "" for patch in handles] == list(HATCHES)
    assert [patch.get_edgecolor() for patch in handles] == [edge] * 3
    faces = [to_rgba(one) for one in (RECKONED, PAPER, PAPER)]
    assert [patch.get_facecolor() for patch in handles] == faces
    assert all(line.get_visible() for line in axes.get_xgridlines())
    assert axes.get_xlabel() == "contribution to u of the slide angle, °"
    assert "1 components below 2 % of" in " ".join(
        figure.get_supxlabel().replace("\u00a0", " ").split()
    )
    assert figure.get_suptitle() == "What the uncertainty of one run is made of"
    assert figure.get_figheight() == pytest.approx(1.8 + 0.27 * 8)
    assert budget_figure(Budget(onset_angle_deg=20.0, components=[])) is None


ONSET_DEG = math.degrees(math.atan(0.45))
MOTION = slide(0.45, 0.4, 1.0, [8.0, 160.0])


@pytest.fixture(scope="module")
def slid() -> RunAnalysis:
    return analyse_run(run_file(1.0, one_beam(MOTION.edges_s), bag="Heron", face="slick"))


def test_a_run_is_the_sensor_the_steps_and_the_onset(slid: RunAnalysis) -> None:
    figure = run_figure(slid)
    assert figure is not None
    top, middle, bottom = figure.axes
    shown = series(top)
    assert set(shown) == {"angle sensor", "step count"}
    late = [angle - (t - 10.0) for t, angle in shown["angle sensor"] if t > 12.0]
    assert max(map(abs, late)) < 0.01, "the ramp of 1 °/s from the 10th second"
    assert max(abs(angle - (t - 10.0)) for t, angle in shown["step count"] if t > 12.0) < 0.05
    (mark,) = [line for line in top.lines if line.get_marker() == "D"]
    # At 1 °/s the law leaves 0.1° open.
    assert points(mark)[0] == pytest.approx([10.0 + ONSET_DEG, ONSET_DEG], abs=0.2)
    (said,) = texts(top)
    assert said.get_text() == f"starts to slide at {slid.result.onset_angle_deg:.2f}°"
    assert (said.xy, said.xyann, said.get_ha()) == (tuple(points(mark)[0]), (-8, 4), "right")
    assert legend(top) == ["angle sensor", "step count"]
    assert [axes.get_ylabel() for axes in figure.axes[:2]] == [
        "inclination, °",
        "sensor −\nsteps, °",
    ]
    assert bottom.get_xlabel() == "time since the run began, s"
    end_s = shown["angle sensor"][-1][0]
    assert bottom.get_xlim() == pytest.approx((0.0, 1.01 * end_s))
    assert figure.get_suptitle() == "One run: Heron slick, raised at 1 °/s"
    note = " ".join(figure.get_supxlabel().split())
    assert f"means over 0.1 s of the angle sensor, n = {len(shown['angle sensor'])};" in note
    assert heights(top) == (3.2, 1.4, 1.1), "most room for the angle"
    zero, off = middle.lines
    assert ys(zero) == [0.0, 0.0]
    assert max(abs(y) for _, y in points(off)) < 0.06
    assert middle.get_ylim() == (-0.1, 0.1), "a tenth of a degree at least"


def test_a_run_without_an_onset_steps_or_names(slid: RunAnalysis) -> None:
    run = replace_run(slid.run, steps=[])
    run = replace_run(run, header=replace(run.header, bag=None, face=None))
    bare = slid._replace(run=run, solved=None)
    figure = run_figure(bare)
    assert figure is not None
    top, middle, _ = figure.axes
    assert set(series(top)) == {"angle sensor"}
    assert not top.texts
    assert words(middle) == ["no step count"]
    assert middle.texts[0].get_position() == (0.5, 0.5)
    assert run.header.run_id in figure.get_suptitle()
    assert run_figure(slid._replace(run=replace_run(slid.run, samples=[]))) is None


def replace_run(run: RunFile, **changes: Any) -> RunFile:
    kept = {name: getattr(run, name) for name in ("path", "header", "events", "samples")}
    kept |= {name: getattr(run, name) for name in ("climate", "steps", "end")}
    return RunFile(**(kept | changes))


def test_a_calibration_given_goes_before_the_runs_own(slid: RunAnalysis) -> None:
    used = slid.run.header.calibration
    assert used is not None
    late = replace(used, filter_delay_ms=1022.0)
    (own, _), (given, angle) = (sensor_blocks(slid.run, one) for one in (used, late))
    assert own[0] - given[0] == pytest.approx(1.0)
    assert np.diff(own)[:-1] == pytest.approx(0.1, abs=0.02)
    assert angle[-1] == pytest.approx(np.max(angle))
    for figure in (run_figure(slid, late), onset_figure(slid, METRIC["mm"], late)):
        assert figure is not None
        dots = next(one for name, one in series_in(figure).items() if "sensor" in name)
        assert np.mean([y - (x - 10.0) for x, y in dots if x > 12.0]) == pytest.approx(
            1.0, abs=0.02
        )
    nothing = replace_run(slid.run, header=replace(slid.run.header, calibration=None))
    assert not len(sensor_blocks(nothing, None)[0])
    assert not len(sensor_blocks(replace_run(slid.run, samples=[]), late)[0])


def series_in(figure: "Figure") -> dict[str, list[list[float]]]:
    return {name: one for axes in figure.axes for name, one in series(axes).items()}


def test_a_board_that_hangs_below_level_shows_below_zero(slid: RunAnalysis) -> None:
    def below(block: Any) -> Any:
        return replace(block, counts=[(-abs(x), y, z) for x, y, z in block.counts])

    turned = slid._replace(run=replace_run(slid.run, samples=[below(b) for b in slid.run.samples]))
    figure = run_figure(turned)
    assert figure is not None
    assert series(figure.axes[0])["angle sensor"][-1][1] < -20.0


def test_lost_steps_show_as_a_difference_of_either_sign() -> None:
    for lost in (0.5, -0.5):
        run = run_file(1.0, [], end_s=5.0, outcome="no_slide", lost_steps_deg=lost)
        figure = run_figure(analyse_run(run))
        assert figure is not None
        middle = figure.axes[1]
        assert points(middle.lines[1])[-1][1] == pytest.approx(-lost, abs=0.03)
        assert middle.get_ylim() == pytest.approx((-0.75, 0.75), abs=0.04)


def states(beams: int, *given: Event) -> "Axes":
    """The lowest panel of a run of 100 s."""
    from rig.report.figures_run import _states
    from rig.report.style import new_figure

    run: Any = Made(events=given, header=Made(settings=Made(beams=beams)))
    axes: Axes = new_figure(2.0).subplots()
    _states(axes, run, 100.0)
    return axes


def state(t_s: float, name: str) -> Event:
    return Event(t_s=t_s, event="state", detail={"state": name})


def edge(t_s: float, word: str, **detail: int) -> Event:
    return Event(t_s=t_s, event=f"beam_{word}", detail=detail)


def test_states_are_named_inside_where_they_have_room() -> None:
    axes = states(
        1,
        state(0.0, "homing"),
        state(10.0, "raising"),
        # 7 letters want 11.55 s.
        state(22.0, "waiting"),
        state(33.0, "parking"),
        # 1 s is the shortest that is named.
        state(34.1, "clearing"),
        state(35.0, "ready"),
    )
    assert bars(axes)[:6] == [
        (0.0, 10.0, 1.0, 0.8),
        (10.0, 12.0, 1.0, 0.8),
        (22.0, 11.0, 1.0, 0.8),
        (33.0, 1.1, 1.0, 0.8),
        (34.1, 0.9, 1.0, 0.8),
        (35.0, 65.0, 1.0, 0.8),
    ]
    placed = {text.get_text(): (*text.get_position(), text.get_va()) for text in texts(axes)}
    assert placed == {
        "homing": (5.0, 1.0, "center"),
        "raising": (16.0, 1.0, "center"),
        "waiting": (27.5, 1.5, "bottom"),
        "parking": (pytest.approx(33.55), 1.5, "bottom"),
        "ready": (67.5, 1.0, "center"),
    }
    drawn = [bar.get_facecolor() for bar in bar_patches(axes)]
    assert drawn[0] == drawn[2] != drawn[1] == drawn[3], "by turns"


def test_a_beam_is_a_bar_from_its_break_to_its_clear_edge() -> None:
    axes = states(
        2,
        edge(5.0, "clear", beam=1),
        edge(10.0, "broken"),
        edge(12.0, "broken", beam=1),
        edge(20.0, "broken", beam=2),
        edge(30.0, "clear", beam=1),
        edge(40.0, "clear", beam=1),
    )
    assert bars(axes) == [(10.0, 20.0, 0.0, 0.6), (20.0, 80.0, -1.0, 0.6)]
    assert axes.get_yticks().tolist() == [1.0, 0.0, -1.0]
    assert rows(axes) == ["state", "beam 1 broken", "beam 2 broken"]
    assert axes.get_ylim() == (-1.5, 2.1)
    assert [ys(line)[0] for line in axes.lines] == [-0.3, -1.3]
    assert not any(line.get_visible() for line in axes.get_ygridlines())
    assert not axes.spines["left"].get_visible()
    assert axes.yaxis.get_tick_params()["length"] == 0


def test_one_beam_has_one_row() -> None:
    axes = states(1, edge(10.0, "broken", beam=1), edge(20.0, "broken", beam=2))
    assert bars(axes) == [(10.0, 90.0, 0.0, 0.6)]
    assert rows(axes) == ["state", "beam broken"]
    assert axes.get_ylim() == (-0.5, 2.1)


def onset(analysis: RunAnalysis, length: Any = METRIC["mm"]) -> "tuple[Axes, Axes]":
    figure = onset_figure(analysis, length)
    assert figure is not None
    top, bottom = figure.axes
    return top, bottom


def test_the_onset_close_up(slid: RunAnalysis) -> None:
    top, bottom = onset(slid)
    assert slid.solved is not None
    assert slid.result.u_onset_angle_deg is not None
    began, (broke, cleared) = slid.solved.onset_s, (10.0 + t for t in MOTION.edges_s)
    span = cleared - began
    low, high = began - 0.6 * span, cleared + 0.25 * span
    assert bottom.get_xlim() == pytest.approx((low, high), abs=1e-3)
    dots, ramp = (series(bottom)[name] for name in ("sensor", "fitted ramp"))
    assert low <= dots[0][0] < low + 0.1
    assert high - 0.12 < dots[-1][0] <= high
    assert (ramp[0][0], ramp[-1][0]) == pytest.approx((low, high), abs=1e-3)
    assert ramp[-1][1] - ramp[0][1] == pytest.approx(high - low, abs=0.01), "1 °/s"
    assert ramp[60][1] == pytest.approx(ramp[60][0] - 10.0, abs=0.02)
    at_onset, at_break = slid.result.onset_angle_deg, slid.result.angle_at_break_deg
    assert words(bottom) == [f"onset {at_onset:.2f}°", f"at the break {at_break:.2f}°"]
    levels = [points(line) for line in bottom.lines if line.get_color() == FAINT][:2]
    assert levels[0] == [pytest.approx([low, at_onset], abs=1e-3), pytest.approx([began, at_onset])]
    assert levels[1][1] == pytest.approx([broke, at_break])
    # Each on its side of its line: the lines may lie close together.
    places = [(text.xyann, text.get_va()) for text in texts(bottom)]
    assert places == [((4, -3), "top"), ((4, 2), "bottom")]
    assert [text.xy[0] for text in texts(bottom)] == pytest.approx([low, low], abs=1e-3)
    for axes in (top, bottom):
        upright = [xs(line)[0] for line in axes.lines if ys(line) == [0, 1]]
        assert upright == pytest.approx([began, broke])
    assert heights(top) == (1.5, 1.0)
    assert bottom.get_xlabel() == "time since the run began, s"
    assert bottom.get_ylabel() == "inclination, °"
    assert legend(bottom) == ["sensor", "fitted ramp"]
    note = " ".join(top.figure.get_supxlabel().split())
    assert f"{at_onset:.2f}° ± {slid.result.u_onset_angle_deg:.2f}° (standard" in note
    assert top.figure.get_suptitle().startswith("The onset: where the fitted")
    unsure = slid._replace(result=replace(slid.result, u_onset_angle_deg=None))
    assert "±" not in onset(unsure)[0].figure.get_supxlabel()


def test_the_motion_starts_at_the_onset_and_meets_both_edges(slid: RunAnalysis) -> None:
    top, _ = onset(slid)
    assert slid.solved is not None
    (name, way), *_ = [pair for pair in series(top).items() if pair[0].startswith("fit")]
    assert name == f"fit, µk = {slid.solved.mu_kinetic:.3f}"
    began, cleared = slid.solved.onset_s, 10.0 + MOTION.edges_s[1]
    assert way[0] == pytest.approx([began, 0.0], abs=1e-6)
    assert way[-1][0] == pytest.approx(cleared + 0.06)
    first, second = [one for one in top.containers if hasattr(one, "has_yerr")]
    edges = [points(one[0])[0] for one in (first, second)]
    assert [t for t, _ in edges] == pytest.approx([10.0 + t for t in MOTION.edges_s])
    for t, mm in edges:
        assert np.interp(t, [x for x, _ in way], [y for _, y in way]) == pytest.approx(mm, abs=1.5)
    assert legend(top) == [name, "edges of the beam"]
    assert words(top) == ["beam breaks", "beam clears", "onset"]
    # Off the marks and off each other: below on the right, above on the left.
    assert [(text.xyann, text.get_ha(), text.get_va()) for text in texts(top)] == [
        ((9, -7), "left", "top"),
        ((-9, 3), "right", "bottom"),
        ((-4, 3), "right", "baseline"),
    ]
    assert [tuple(text.xy) for text in texts(top)] == [
        tuple(edges[0]),
        tuple(edges[1]),
        (began, 0.0),
    ]
    bar = second[2][0].get_segments()[0]
    assert bar[1][1] - bar[0][1] == pytest.approx(2 * math.hypot(1.0, 4.0), abs=0.6)
    assert [0.0, 0.0] in [list(np.asarray(line.get_ydata())) for line in top.lines], "where it lay"
    assert top.get_ylabel() == "path of the bag, mm"
    margins = top.margins()
    assert margins is not None
    assert margins[1] == 0.12
    us, _ = onset(slid, US["mm"])
    assert us.get_ylabel() == "path of the bag, in"
    inches = points(next(one for one in us.containers if hasattr(one, "has_yerr"))[0])[0][1]
    assert 25.4 * inches == pytest.approx(edges[0][1])
    curve = next(one for name, one in series(us).items() if name.startswith("fit"))
    assert 25.4 * curve[-1][1] == pytest.approx(way[-1][1])


def test_with_one_edge_no_motion_is_drawn(slid: RunAnalysis) -> None:
    assert slid.solved is not None
    assert slid.case is not None
    only = slid.case._replace(first=slid.case.first._replace(clear_s=None))
    bare = slid.solved._replace(method="one_edge")
    top, _ = onset(slid._replace(case=only, solved=bare))
    assert words(top) == ["beam breaks", "onset"]
    assert not [name for name in series(top) if name.startswith("fit")]
    assert top.get_title("left") or top.get_title() == "No motion fitted: only one edge is known"
    (one,) = [one for one in top.containers if hasattr(one, "has_yerr")]
    # The gap as placed.
    assert points(one[0])[0][1] == pytest.approx(8.0, abs=1.0)
    for gone in ({"solved": None}, {"case": None}, {"ramp": None}):
        assert onset_figure(slid._replace(**gone), METRIC["mm"]) is None  # type: ignore[arg-type]
    lost = msgspec.structs.replace(slid.result, onset_angle_deg=None)
    assert onset_figure(slid._replace(result=lost), METRIC["mm"]) is None
    no_break = msgspec.structs.replace(slid.result, angle_at_break_deg=None)
    assert len(words(onset(slid._replace(result=no_break))[1])) == 1


def whole(axes: "Axes") -> "Figure":
    return cast("Figure", axes.figure)


def figures(slid: RunAnalysis) -> "list[Figure]":
    """One of each."""
    with styled():
        made = [
            drooped(Made(intercept_deg=15.0, slope=0.1, correlation=-0.5)),
            whole(rest()[0]),
            whole(home((0.4, 0.0))),
            budget_figure(Budget(onset_angle_deg=20.0, components=PARTS)),
            run_figure(slid),
            onset_figure(slid, METRIC["mm"]),
        ]
    return [one for one in made if one is not None]
