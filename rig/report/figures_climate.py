"""How the slide angle follows the air, and which bag to take on the day."""

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from rig.report.style import (
    COLOURS,
    FAINT,
    INK,
    WASH,
    finish,
    look,
    looks,
    new_figure,
    row_axis,
    short,
    value_axis,
)
from rig.study.cells import cells_of
from rig.study.choose import Choice, current_units
from rig.study.climate_model import HUMIDITY, Air, ClimateModel
from rig.study.rows import BagFace, Row, unit_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = 3
BEYOND_PCT = 6.0
MOST_PANELS, MOST_CANDIDATES = 24, 30


def climate_figure(
    model: ClimateModel, rows: Sequence[Row], face: str, board: str
) -> "Figure | None":
    """Curves with bands, one panel for each bag as it is now; None without humidities."""
    if HUMIDITY not in model.ranges:
        return None
    known = set(model.units())
    units = sorted(u for u in current_units(rows, board) if u.face == face and u in known)
    units = units[:MOST_PANELS]
    if not units:
        return None
    low, high = model.ranges[HUMIDITY]
    grid = np.linspace(max(low - BEYOND_PCT, 0.0), min(high + BEYOND_PCT, 100.0), 25)
    columns = min(COLUMNS, len(units))
    lines = ceil(len(units) / columns)
    figure = new_figure(1.5 + 1.5 * lines)
    panels = figure.subplots(lines, columns, sharex=True, sharey=True, squeeze=False)
    cells = cells_of(rows)
    for axes, unit in zip(panels.flat, units, strict=False):
        said = [model.predict(unit, Air(surface_humidity_pct=float(h))) for h in grid]
        axes.fill_between(
            grid,
            [one.lower_deg for one in said],
            [one.upper_deg for one in said],
            color=COLOURS[0],
            alpha=0.16,
            linewidth=0,
        )
        axes.plot(grid, [one.angle_deg for one in said], color=COLOURS[0])
        own = [c for c in cells if c.unit == unit and c.humidity_pct is not None]
        axes.plot(
            [c.humidity_pct for c in own],
            [c.angle_deg for c in own],
            linestyle="none",
            **look(1).marker(4.5),
        )
        axes.axvspan(low, high, color=WASH, zorder=0)
        axes.set_title(f"{short(unit.bag, 14)}\n{short(unit.stage, 14)}", fontsize=8.5)
    for axes in panels.flat[len(units) :]:
        axes.set_axis_off()
    for axes in panels[:, 0]:
        axes.set_ylabel("slide angle, °")
    for k in range(columns):
        last = max(i for i in range(lines) if i * columns + k < len(units))
        panels[last, k].tick_params(labelbottom=True)
        panels[last, k].set_xlabel("%RH at the board")
    slope = "no slope is known" if not model.slope_known else f"slopes: {model.slopes}"
    finish(
        figure,
        f"What the climate does, {short(face)} face on {short(board)}",
        f"Squares: means of sessions; n = {model.n_sessions} sessions; {slope}. Band: 95 % interval"
        " for one sitting in that air. Grey ground: measured range; outside it the band is too "
        "narrow." + (" PROVISIONAL: too few climates." if model.provisional else ""),
    )
    return figure


def choice_figure(choice: Choice) -> "Figure":
    """Faces ranked for the day's air and the wish."""
    listed = choice.candidates[:MOST_CANDIDATES]
    drawn = looks(sorted({one.face for one in listed}, reverse=True))
    figure = new_figure(1.7 + 0.27 * len(listed))
    axes = figure.subplots()
    wish = choice.wish
    row_axis(axes, [f"{short(one.bag, 16)} · {short(one.face, 10)}" for one in listed])
    axes.axvspan(
        wish.angle_deg - wish.tolerance_deg,
        wish.angle_deg + wish.tolerance_deg,
        color=COLOURS[3],
        alpha=0.35,
        linewidth=0,
    )
    axes.axvline(wish.angle_deg, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    for y, one in enumerate(listed):
        style = drawn[one.face]
        axes.plot([one.lower_deg, one.upper_deg], [y, y], color=style.colour)
        axes.plot([one.angle_deg], [y], **style.marker())
        axes.annotate(
            f"{one.chance_pct:.0f} %",
            (1.01, y),
            xycoords=("axes fraction", "data"),
            va="center",
            fontsize=8.5,
        )
    axes.annotate(
        "chance", (1.01, -0.75), xycoords=("axes fraction", "data"), fontsize=8, color=FAINT
    )
    axes.grid(visible=True, axis="x")
    value_axis(axes, "predicted slide angle, °")
    left = len(choice.candidates) - len(listed)
    finish(
        figure,
        f"Choice of the day on {short(choice.board)}, {choice.air.surface_humidity_pct:.0f} %RH",
        f"Bar: 95 % interval for one sitting; dashed line: wish {wish.angle_deg:.1f}°; shaded: "
        f"within {wish.tolerance_deg:.1f}° of it; chance: to lie there. "
        f"n = {len(choice.candidates)} faces" + (f", {left} not drawn." if left > 0 else "."),
    )
    return figure


def sets_figure(levels: dict[BagFace, float], sets: dict[str, str], board: str) -> "Figure | None":
    """Do the bags of a set match? Levels in the study's mean air, each bag at its last stage.

    Args:
        levels: slide angle of each unit, in degrees, at one humidity.
        sets: the set of each bag; bags without one are left out.
        board: the board.
    """
    own = {u: a for u, a in levels.items() if u.board == board and u.bag in sets}
    groups = sorted({(sets[u.bag], u.face) for u in own})
    if not groups:
        return None
    drawn = looks(sorted({face for _, face in groups}, reverse=True))
    figure = new_figure(1.5 + 0.5 * len(groups))
    axes = figure.subplots()
    row_axis(axes, [f"{short(name, 16)} · {short(face, 10)}" for name, face in groups])
    for y, (name, face) in enumerate(groups):
        inside = sorted((a, u) for u, a in own.items() if (sets[u.bag], u.face) == (name, face))
        values = [a for a, _ in inside]
        axes.plot([values[0], values[-1]], [y, y], color=drawn[face].colour, linewidth=1.0)
        for k, (value, unit) in enumerate(inside):
            axes.plot([value], [y], **drawn[face].marker())
            axes.annotate(
                short(unit.bag.removeprefix(name).strip() or unit.bag, 10),
                (value, y),
                (0, 6 if k % 2 == 0 else -7),
                textcoords="offset points",
                ha="center",
                va="bottom" if k % 2 == 0 else "top",
                fontsize=7.5,
            )
        axes.plot([sum(values) / len(values)], [y], "|", color=INK, markersize=13)
    axes.grid(visible=True, axis="x")
    value_axis(axes, "slide angle in the study’s mean air, °")
    finish(
        figure,
        f"Do the bags of a set match? On {short(board)}",
        f"A mark is one bag at its last stage, n = {len(own)} bag faces; line: smallest to largest "
        "of the set (no interval); upright stroke: mean.",
    )
    return figure


def last_levels(levels: dict[BagFace, float], rows: Sequence[Row]) -> dict[BagFace, float]:
    """The levels of each bag's face on each board at the last stage it was measured in."""
    boards = dict.fromkeys(unit_of(row).board for row in rows)
    now = {unit for board in boards for unit in current_units(rows, board)}
    return {unit: level for unit, level in levels.items() if unit in now}
