"""How well the rig knows: droop against slide angle, calibration, home readings, budgets."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from rig.analysis.budget.parts import Budget, Layer
from rig.calibration.history import HomeRecord
from rig.calibration.model import Calibration
from rig.calibration.show import u_over_range
from rig.quantities.figures import signed
from rig.quantities.shown import Shown
from rig.report.style import (
    FAINT,
    HATCHES,
    INK,
    KNOWN,
    LIMIT,
    PAPER,
    RECKONED,
    finish,
    legend_above,
    look,
    looks,
    new_figure,
    row_axis,
    short,
    value_axis,
)
from rig.study.droop import Association, DroopSummary
from rig.study.folder.catalogue import stage_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Key = tuple[str, str, str]
LAYERS: tuple[Layer, ...] = ("run", "series", "common")
LEAST_HOME_DEG = 0.1
"""Half the height of the home chart at least: noise must not look like a drift."""
LEAST_PAIRS = 3
"""Two points always lie on a line."""
LEAST_SHARE = 0.02
"""Components below this part of the whole are drawn as one bar."""


def droop_figure(
    droops: Sequence[DroopSummary],
    slide_deg: Mapping[Key, float],
    association: Association | None,
    length: Shown,
) -> "Figure | None":
    """Slide angle against bending length, with the line where there is one; None below three."""
    pairs = [(d, slide_deg[k]) for d in droops if (k := (d.bag, d.face, d.stage)) in slide_deg]
    if len(pairs) < LEAST_PAIRS:
        return None
    figure = new_figure(3.9)
    axes = figure.subplots()
    kinds = sorted({(d.face, d.stage) for d, _ in pairs}, key=_in_order)
    drawn = looks([f"{face}, {stage}" for face, stage in kinds])
    for name, one in drawn.items():
        own = [(d, a) for d, a in pairs if f"{d.face}, {d.stage}" == name]
        axes.errorbar(
            [length.of(d.bending_length_peirce_mm) for d, _ in own],
            [a for _, a in own],
            xerr=[length.of(d.u_bending_length_mm or 0.0) for d, _ in own],
            linestyle="none",
            ecolor=KNOWN,
            elinewidth=0.9,
            label=short(name, 26),
            **one.marker(),
        )
    if association is not None:
        ends = [
            min(d.bending_length_peirce_mm for d, _ in pairs),
            max(d.bending_length_peirce_mm for d, _ in pairs),
        ]
        axes.plot(
            [length.of(x) for x in ends],
            [association.intercept_deg + association.slope * x for x in ends],
            color=RECKONED,
            linestyle=(0, (5, 2)),
            linewidth=1.1,
        )
    axes.set_xlabel(f"bending length from droop (Peirce), {length.unit}   (left: softer)")
    axes.set_ylabel("slide angle, °")
    axes.legend(loc="best")
    r = "" if association is None else f"; r = {signed(association.correlation)}"
    finish(
        figure,
        "Droop against slide angle",
        f"n = {len(pairs)} bag faces and stages{r}. Bar: standard uncertainty (k = 1) of the mean "
        "bending length. A filled bag is not a strip of cloth, and no cause is shown.",
    )
    return figure


def _in_order(kind: tuple[str, str]) -> tuple[str, int]:
    """Face, and number of treatments before: 0 for the baseline, 2 for `after 2`."""
    face, stage = kind
    return face, stage_number(stage) or 0


def residuals_figure(calibration: Calibration) -> "Figure | None":
    """What the calibration left, in the order it was taken; None without residuals."""
    rest = calibration.residuals_deg
    if not rest:
        return None
    angles = calibration.angles_deg or tuple(float(i) for i in range(len(rest)))
    top = int(np.argmax(angles))
    figure = new_figure(4.4)
    axes, below = figure.subplots(2, 1, height_ratios=(3.0, 2.0))
    u = calibration.u_reference_deg
    if u > 0.0:
        axes.axhspan(-2.0 * u, 2.0 * u, color=FAINT, alpha=0.2, linewidth=0)
    axes.axhline(0.0, color=INK, linewidth=0.9)
    for k, (name, part) in enumerate((("up", slice(0, top + 1)), ("down", slice(top + 1, None)))):
        if angles[part]:
            one = look(k)
            axes.plot(
                angles[part],
                rest[part],
                color=KNOWN,
                linestyle=one.dash,
                linewidth=0.9,
                label=f"way {name}",
                **one.marker(),
            )
    value_axis(axes, "reference −\nsensor, °", "y")
    limit = 1.25 * max(*(abs(value) for value in rest), 2.0 * u)
    axes.set_ylim(-limit, limit)
    legend_above(axes)
    _calibration_alone(below, calibration)
    if calibration.angles_deg:
        axes.sharex(below)
        axes.tick_params(labelbottom=False)
    else:
        axes.set_xlabel("point")
    finish(
        figure,
        f"Calibration of {calibration.made_at[:10]}: what it leaves",
        f"n = {len(rest)} points, reference: {calibration.reference or 'not named'}. Shaded: ±2 "
        f"standard uncertainties of the reference ({u:.3f}°). Below: standard uncertainty (k = 1) "
        "of an inclination that comes from the calibration.",
    )
    return figure


def _calibration_alone(axes: "Axes", calibration: Calibration) -> None:
    """The standard uncertainty that the calibration gives, over the whole travel."""
    over = u_over_range(calibration)
    axes.plot([angle for angle, _ in over], [u for _, u in over], color=RECKONED)
    value_axis(axes, "u, °", "y")
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("inclination, °")


def home_figure(made_at: str, records: Sequence[HomeRecord], limit_deg: float) -> "Figure | None":
    """Home readings less the calibration's, over time; never subtracted from a result."""
    if not records:
        return None
    figure = new_figure(3.3)
    axes = figure.subplots()
    days = [record.day for record in records]
    for k, (name, values) in enumerate(
        (
            ("along the slide", [record.angle_deg for record in records]),
            ("across", [record.cross_deg for record in records]),
        )
    ):
        one = look(k)
        axes.plot(days, values, linestyle="none", label=name, **one.marker(4.0))
    axes.axhline(0.0, color=INK, linewidth=0.9)
    most = max(max(abs(record.angle_deg), abs(record.cross_deg)) for record in records)
    if most > 0.5 * limit_deg:
        for sign in (-1.0, 1.0):
            axes.axhline(sign * limit_deg, color=LIMIT, linewidth=1.1, linestyle=(0, (5, 2)))
    value_axis(axes, "home reading, °", "y")
    half = max(LEAST_HOME_DEG, 1.3 * most, 1.15 * limit_deg if most > 0.5 * limit_deg else 0.0)
    axes.set_ylim(-half, half)
    axes.set_xlabel(f"days since {records[0].started_at[:10]}")
    legend_above(axes)
    finish(
        figure,
        "Home readings over time",
        f"n = {len(records)} runs; board at its lower switch, less the calibration of "
        f"{made_at[:10]}. A home reading is charted, never subtracted: the floor’s tilt is real. "
        f"Limit: {limit_deg:g}°. No bars: single readings.",
    )
    return figure


def budget_figure(budget: Budget) -> "Figure | None":
    """What one run's uncertainty is made of, in the three layers."""
    whole = budget.u_onset_angle_deg()
    if whole <= 0.0:
        return None
    parts = sorted(budget.components, key=lambda part: -part.u_theta_deg)
    large = [part for part in parts if part.u_theta_deg >= LEAST_SHARE * whole]
    names = [part.name for part in large]
    values = [part.u_theta_deg for part in large]
    layers = [part.layer for part in large]
    figure = new_figure(1.8 + 0.27 * (len(large) + 4))
    axes = figure.subplots()
    sums = [(f"all {layer}", budget.u_onset_angle_deg((layer,)), layer) for layer in LAYERS]
    rows = [*zip(names, values, layers, strict=True), *sums, ("combined", whole, None)]
    row_axis(axes, [name for name, _, _ in rows])
    for y, (_, value, layer) in enumerate(rows):
        k = -1 if layer is None else LAYERS.index(layer)
        axes.barh(
            y,
            value,
            0.66,
            color=INK if k < 0 else RECKONED if k == 0 else PAPER,
            hatch="" if k < 0 else HATCHES[k],
            edgecolor=PAPER if k < 0 else RECKONED,
            linewidth=0.6,
        )
        axes.annotate(
            f"{value:.3f}°",
            (value, y),
            (4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
    axes.axhline(len(large) - 0.5, color=INK, linewidth=0.9)
    axes.set_xlim(0.0, 1.2 * whole)
    axes.grid(visible=True, axis="x")
    axes.set_xlabel("contribution to u of the slide angle, °")
    _layer_legend(axes)
    finish(
        figure,
        "What the uncertainty of one run is made of",
        "Bar: standard uncertainty (k = 1), not an interval; n = 1 run. The common layer does not "
        "shrink with repeats and cancels in differences; the scatter of runs comes on top. Left "
        "out: "
        f"{len(parts) - len(large)} components below {100 * LEAST_SHARE:.0f} % of the whole.",
    )
    return figure


def _layer_legend(axes: "Axes") -> None:
    from matplotlib.patches import Patch

    handles = [
        Patch(
            facecolor=RECKONED if k == 0 else PAPER,
            hatch=HATCHES[k],
            edgecolor=RECKONED,
            label=layer,
        )
        for k, layer in enumerate(LAYERS)
    ]
    legend_above(axes, handles)
