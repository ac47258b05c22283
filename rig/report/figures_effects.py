"""What the treatments did: cells by treatment and climate, each bag before and after, effects."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rig.quantities.figures import signed
from rig.report.style import (
    COLOURS,
    FAINT,
    INK,
    finish,
    legend_above,
    look,
    looks,
    new_figure,
    row_axis,
    short,
)
from rig.study.compare import Comparison
from rig.study.compare_changes import BagChange, Place
from rig.study.compare_effects import grouped
from rig.study.compare_levels import CellMean
from rig.study.rows import BagInfo, stage_place

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEAD_IN, ROW_IN = 1.35, 0.27


def cells_figure(
    cells: Sequence[CellMean], bags: Mapping[str, BagInfo], place: Place
) -> "Figure | None":
    """Slide angles of all bags of one face and board, by climate, treatment and stage."""
    own = [c for c in cells if (c.face, c.board) == place]
    if not own:
        return None
    climates = sorted({c.climate for c in own})
    names = sorted({c.bag for c in own}, key=lambda bag: (_group(bag, bags), bag))
    stages = sorted({c.stage for c in own}, key=stage_place)
    drawn = looks(stages)
    rows_of = {
        k: [n for n in names if any(c.bag == n and c.climate == k for c in own)] for k in climates
    }
    heights = [len(rows_of[k]) + 1.0 for k in climates]
    figure = new_figure(HEAD_IN + ROW_IN * sum(heights))
    panels = figure.subplots(len(climates), 1, sharex=True, height_ratios=heights, squeeze=False)
    for axes, climate in zip(panels[:, 0], climates, strict=True):
        rows = rows_of[climate]
        row_axis(axes, [f"{short(n, 16)} · {short(_group(n, bags), 14)}" for n in rows])
        axes.set_title(f"{climate} at the board")
        axes.grid(visible=True, axis="x")
        for k, stage in enumerate(stages):
            shift = 0.0 if len(stages) == 1 else 0.36 * (k / (len(stages) - 1) - 0.5)
            for c in own:
                if c.stage != stage or c.climate != climate:
                    continue
                y = rows.index(c.bag) + shift
                if c.lower_deg is not None and c.upper_deg is not None:
                    axes.plot([c.lower_deg, c.upper_deg], [y, y], color=drawn[stage].colour)
                axes.plot([c.angle_deg], [y], linestyle="none", **drawn[stage].marker(5.0))
    panels[-1, 0].set_xlabel("slide angle, °")
    _legend(panels[0, 0], stages)
    runs = sum(c.n_runs for c in own)
    finish(
        figure,
        f"Slide angle, {short(place.face)} face on {short(place.board)}",
        f"n = {runs} runs of {len(names)} bags; bar: 95 % interval for that bag (none where its "
        "scatter is not known).",
    )
    return figure


def _group(bag: str, bags: Mapping[str, BagInfo]) -> str:
    info = bags.get(bag, BagInfo())
    return info.group() or "reference"


def _legend(axes: "Axes", stages: Sequence[str]) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], color=one.colour, label=short(stage), **one.marker(5.0))
        for stage, one in looks(stages).items()
    ]
    legend_above(axes, handles)


def paired_figure(changes: Sequence[BagChange], place: Place, before: str, after: str) -> "Figure":
    """Each bag before and after, a panel for each group; at least one bag."""
    groups = grouped(list(changes))
    figure = new_figure(3.6)
    panels = figure.subplots(1, len(groups), sharey=True, squeeze=False)[0]
    for place_in_row, (axes, (name, own)) in enumerate(zip(panels, groups.items(), strict=True)):
        one = look(place_in_row)
        for change in own:
            ends = [change.before_deg, change.before_deg + change.change_deg]
            axes.plot([0, 1], ends, color=one.colour, linestyle=one.dash, **one.marker())
        mean = sum(c.change_deg for c in own) / len(own)
        axes.set_title(f"{short(name, 40 // len(groups))}\n{signed(mean)}°, n = {len(own)}")
        axes.set_xticks([0, 1], [short(before, 9), short(after, 9)])
        axes.set_xlim(-0.3, 1.3)
        axes.grid(visible=False, axis="x")
    panels[0].set_ylabel("slide angle, °")
    finish(
        figure,
        f"Each bag before and after, {short(place.face)} face on {short(place.board)}",
        "A line is one bag, however many runs it has; “after” is moved to the air of “before” by "
        f"the climate model. Over each panel: mean change; n = {len(changes)} bags in all. "
        "No bars: see the effects.",
    )
    return figure


def effects_figure(c: Comparison) -> "Figure | None":
    """Effects with both intervals, zero in view; None where there is none."""
    if not c.effects:
        return None
    figure = new_figure(1.5 + 0.46 * len(c.effects))
    axes = figure.subplots()
    names = []
    for y, e in enumerate(c.effects):
        names.append(
            f"{short(e.treatment, 15)} − {short(e.against or 'nothing', 15)}\n"
            f"{short(e.face, 12)}, {short(e.board, 16)}"
        )
        colour = FAINT if e.blocked else COLOURS[0] if e.found_in_family else COLOURS[1]
        for low, high, width in (
            (e.family_lower_deg, e.family_upper_deg, 1.2),
            (e.lower_deg, e.upper_deg, 3.6),
        ):
            if high - low < float("inf"):
                axes.plot([low, high], [y, y], color=colour, linewidth=width, solid_capstyle="butt")
        axes.plot(
            [e.effect_deg],
            [y],
            marker="o" if e.found_in_family else "s" if e.found else "D",
            markersize=6.0,
            markerfacecolor=colour if e.found_in_family else "white",
            markeredgecolor=INK,
        )
    row_axis(axes, names)
    axes.set_yticks(range(len(names)), names)
    axes.axvline(0.0, color=INK, linewidth=1.0)
    axes.grid(visible=True, axis="x")
    axes.set_xlabel("effect on the slide angle, °  (left: slides earlier)")
    finish(
        figure,
        "What each treatment did, against another group",
        f"From {c.before} to {c.after}; n = {c.n_bags} bags. Thick bar: 95 % for this comparison "
        "alone; thin: 95 % for the family of its face and board (Tukey–Kramer). Filled circle: "
        "found in the family; open square: alone only; open diamond: not found.",
    )
    return figure
