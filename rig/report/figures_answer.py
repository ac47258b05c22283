"""Figures of the answer: a bag's way to its target, what treatments do, what to take today."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from rig.report.paths import WayToTarget
from rig.report.style import (
    INK,
    KNOWN,
    PALE,
    PAPER,
    RECKONED,
    TARGET,
    finish,
    new_figure,
    row_axis,
    value_axis,
)
from rig.study.answer.answer import Answer, BagAnswer, FaceTarget, Forecast
from rig.study.answer.words import several_models

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL_IN = (2.2, 1.6)
FRAME = (0.16, 0.24, 0.82, 0.71)
"""Of a panel's axes within its figure, the same in all so that they line up."""
SHADE = 0.3
MOST_ROWS = 20


class Range(NamedTuple):
    """Ends of an axis of angles, in degrees."""

    low: float
    high: float


def ranges(answer: Answer, paths: Sequence[WayToTarget]) -> dict[str, Range]:
    """For each face one range for all panels: what was, what is, the target and where it leads.

    Ends of forecasts may lie outside; a fan that leaves the panel says enough.
    """
    seen: dict[str, list[float]] = {}
    for one, path in zip(answer.bags, paths, strict=True):
        values = seen.setdefault(one.face, [])
        for stage in path.stages:
            values += [stage.lower_deg, stage.upper_deg]
        values += [each.angle_deg for each in _drawn(one, path)]
    for target in answer.targets:
        near = target.tolerance_deg
        seen.setdefault(target.face, []).extend([target.angle_deg - near, target.angle_deg + near])
    return {
        face: Range(min(values) - 0.5, max(values) + 0.5) for face, values in seen.items() if values
    }


def path_figure(
    one: BagAnswer, path: WayToTarget, target: FaceTarget | None, limits: Range, most: int
) -> "Figure":
    """Angle after each application with its interval, the target's band, the forecast's fan.

    Args:
        one: the bag face now.
        path: its stages.
        target: of the face.
        limits: of all panels of the face.
        most: applications that any panel goes to.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=PANEL_IN)
    axes = figure.add_axes(FRAME)
    if target is not None:
        low = target.angle_deg - target.tolerance_deg
        axes.axhspan(low, low + 2.0 * target.tolerance_deg, color=TARGET, alpha=SHADE, linewidth=0)
        axes.axhline(target.angle_deg, color=TARGET, linewidth=1.0)
    now = path.stages[-1]
    ahead = _drawn(one, path)
    if ahead:
        x = [now.applications, *(now.applications + each.applications for each in ahead)]
        lower = [now.lower_deg, *(each.lower_deg for each in ahead)]
        upper = [now.upper_deg, *(each.upper_deg for each in ahead)]
        middle = [now.angle_deg, *(each.angle_deg for each in ahead)]
        axes.fill_between(x, lower, upper, color=RECKONED, alpha=SHADE, linewidth=0)
        axes.plot(x, middle, color=RECKONED, linewidth=1.4, linestyle=(0, (4, 2)))
    axes.plot(
        [stage.applications for stage in path.stages],
        [stage.angle_deg for stage in path.stages],
        color=KNOWN,
        linewidth=1.4,
    )
    for stage in path.stages:
        _stage(axes, stage.applications, stage.angle_deg, stage.lower_deg, stage.upper_deg)
        axes.plot(
            [stage.applications],
            [stage.angle_deg],
            "o",
            markersize=5.0,
            markeredgecolor=KNOWN,
            markerfacecolor=KNOWN if stage.n_slides else PAPER,
            zorder=4,
        )
    axes.set_xlim(-0.4, most + 0.4)
    axes.set_xticks(range(most + 1))
    axes.set_ylim(*limits)
    axes.grid(visible=False, axis="x")
    axes.locator_params(axis="y", integer=True, nbins=5)
    axes.yaxis.set_major_formatter("{x:g}°")
    axes.tick_params(labelsize=8.5)
    axes.set_xlabel("treatments", labelpad=1.0, fontsize=8.5)
    name = f"{one.bag}, {one.face}"
    figure.suptitle(f"{name}: the way to its target", visible=False)
    figure.supxlabel(_note(path, target), visible=False)
    return figure


def name_panel(figure: "Figure") -> None:
    """Put its bag over a panel that stands by itself; on the page the name stands below."""
    if figure.get_suptitle() and tuple(figure.get_size_inches()) == PANEL_IN:
        axes = figure.axes[0]
        left, bottom, width, height = axes.get_position().bounds
        axes.set_position((left, bottom, width, 0.88 * height))
        name = figure.get_suptitle().partition(":")[0]
        axes.set_title(name, fontsize=8.5, fontweight="bold", loc="left")


def _stage(axes: "Axes", x: float, middle: float, lower: float, upper: float) -> None:
    axes.errorbar(
        [x],
        [middle],
        [[middle - lower], [upper - middle]],
        linestyle="none",
        ecolor=KNOWN,
        elinewidth=1.4,
    )


def _drawn(one: BagAnswer, path: WayToTarget) -> list[Forecast]:
    """The forecast that a panel shows: that of the path's recipe."""
    return [each for each in one.forecast if each.recipe == path.recipe]


def most_applications(answer: Answer, paths: Sequence[WayToTarget]) -> int:
    """Where the widest panel ends."""
    return max(
        (
            path.stages[-1].applications + max((f.applications for f in one.forecast), default=0)
            for one, path in zip(answer.bags, paths, strict=True)
        ),
        default=1,
    )


def _note(path: WayToTarget, target: FaceTarget | None) -> str:
    """The panel in words."""
    said = "; ".join(
        f"{stage.stage} {stage.angle_deg:.1f}° ({stage.lower_deg:.1f} to {stage.upper_deg:.1f})"
        for stage in path.stages
    )
    n = sum(stage.n_slides for stage in path.stages)
    wanted = "no target" if target is None else f"target {target.angle_deg:.1f}°"
    ahead = "" if path.recipe is None else f" The fan is the forecast for more {path.recipe}."
    return (
        f"Slide angle by number of treatments, n = {n} slides: {said}; {wanted}. Bars: 95 %.{ahead}"
    )


class ShownInterval(NamedTuple):
    """A row of a figure of intervals."""

    name: str
    middle: float
    lower: float
    upper: float
    is_strong: bool


def interval_figure(
    rows: Sequence[ShownInterval],
    label: str,
    title: str,
    note: str,
    *,
    zero: bool = False,
    target: FaceTarget | None = None,
    weak: str = KNOWN,
) -> "Figure | None":
    """Rows of marks with 95 % bars; strong ones filled, the others open.

    Args:
        rows: from top to bottom; the first `MOST_ROWS` are drawn.
        label: of the axis.
        title: of the figure.
        note: below it.
        zero: mark where nothing changes.
        target: its band.
        weak: colour of the rows that are not strong.
    """
    if not rows:
        return None
    left_out = len(rows) - MOST_ROWS
    rows = rows[:MOST_ROWS]
    figure = new_figure(1.5 + 0.26 * len(rows))
    axes = figure.subplots()
    row_axis(axes, [row.name for row in rows])
    if target is not None:
        low = target.angle_deg - target.tolerance_deg
        axes.axvspan(low, low + 2.0 * target.tolerance_deg, color=TARGET, alpha=SHADE, linewidth=0)
    if zero:
        axes.axvline(0.0, color=INK, linewidth=0.9)
    for y, row in enumerate(rows):
        colour = KNOWN if row.is_strong else weak
        axes.plot([row.lower, row.upper], [y, y], color=colour, linewidth=1.6)
        axes.plot(
            [row.middle],
            [y],
            "o",
            markersize=5.5,
            markeredgecolor=colour,
            markerfacecolor=colour if row.is_strong else PAPER,
        )
    value_axis(axes, label)
    axes.locator_params(axis="x", steps=[1, 2, 5, 10], nbins=7)
    more = f" {left_out} more are in the table." if left_out > 0 else ""
    finish(figure, title, f"{note}{more}")
    return figure


def effects_figure(answer: Answer) -> "Figure | None":
    """What a first application of each recipe does."""
    several = several_models(answer.weather)
    rows = [
        ShownInterval(
            f"{one.recipe}, {one.model + ' ' if several else ''}{one.face}",
            one.effect_deg,
            one.lower_deg,
            one.upper_deg,
            one.shown,
        )
        for one in answer.treatments
    ]
    n = sum({(one.recipe, one.model): one.n_applications for one in answer.treatments}.values())
    return interval_figure(
        rows,
        "change of the slide angle, °",
        "What one application does",
        f"n = {n} applications. Mark: median; bar: 95 % interval. Filled: shown; open: not shown,"
        " it may lie anywhere along the bar.",
        zero=True,
        weak=PALE,
    )


def day_figure(answer: Answer, target: FaceTarget) -> "Figure | None":
    """The bags on one face against its target, the likeliest to lie within it first."""
    rows = [
        ShownInterval(one.bag, one.angle_deg, one.lower_deg, one.upper_deg, one == answer.picks[0])
        for one in answer.picks
        if one.face == target.face
    ]
    return interval_figure(
        rows,
        "slide angle, °",
        f"Today’s choice, {target.face} face",
        f"n = {len(rows)} bags. Mark: median; bar: 95 % interval; band: the target. Filled:"
        " the pick.",
        target=target,
    )
