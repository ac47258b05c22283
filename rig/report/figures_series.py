"""Slide angles in order of time, with the air that was there."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rig.quantities.shown import Shown
from rig.report.style import (
    FAINT,
    KNOWN,
    finish,
    legend_above,
    looks,
    new_figure,
    short,
    value_axis,
)
from rig.study.slides.slide import Slide

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

REFERENCE = "reference bag"
MANY = 80
"""With more slides their marks are small."""


def order_figure(slides: Sequence[Slide], temperature: Shown, title: str) -> "Figure":
    """Slide angles one after the other, sessions apart, over humidity and temperature.

    Args:
        slides: that count, at least one, in order of time.
        temperature: how temperatures are shown.
        title: of the figure.
    """
    warm = [None if s.temperature_c is None else temperature.of(s.temperature_c) for s in slides]
    airs = [
        ("%RH at\nthe board", [slide.surface_humidity_pct for slide in slides]),
        (f"air,\n{temperature.unit}", warm),
    ]
    airs = [(label, values) for label, values in airs if any(v is not None for v in values)]
    figure = new_figure(2.7 + 1.1 * len(airs))
    heights = (3.4, *(1.1 for _ in airs))
    panels = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights, squeeze=False)
    top, *below = panels[:, 0]
    named = [_name(slide) for slide in slides]
    size = 5.0 if len(slides) <= MANY else 3.0
    for name, one in looks(sorted(set(named), key=lambda name: (name == REFERENCE, name))).items():
        own = [i for i, other in enumerate(named) if other == name]
        top.plot(
            [i + 1 for i in own],
            [slides[i].onset_angle_deg for i in own],
            linestyle="none",
            label=name,
            **one.marker(size),
        )
    value_axis(top, "slide angle, °", "y")
    top.margins(y=0.12)
    legend_above(top)
    for axes, (label, values) in zip(below, airs, strict=True):
        _air(axes, values, label)
    _sessions((top, *below), slides)
    last = (top, *below)[-1]
    last.set_xlabel("slide, in order of time")
    last.set_xlim(0.0, len(slides) + 1.0)
    n_sessions = len({slide.session for slide in slides})
    many = "sessions, parted by lines" if n_sessions > 1 else "session"
    note = f"n = {len(slides)} slides that count, {n_sessions} {many}. No bars: single slides."
    finish(figure, title, note)
    return figure


def _name(slide: Slide) -> str:
    return REFERENCE if slide.role == "reference" else f"{short(slide.face or '', 18)} down"


def _air(axes: "Axes", values: Sequence[float | None], label: str) -> None:
    known = [(place, v) for place, v in enumerate(values, start=1) if v is not None]
    x, y = zip(*known, strict=True)
    value_axis(axes, label, "y")
    axes.plot(x, y, color=KNOWN, linewidth=0.0, marker="_", markersize=3.5)
    middle, half = (max(y) + min(y)) / 2.0, max((max(y) - min(y)) * 0.65, 1.0)
    axes.set_ylim(middle - half, middle + half)


def _sessions(panels: Sequence["Axes"], slides: Sequence[Slide]) -> None:
    for i in range(1, len(slides)):
        if slides[i].session != slides[i - 1].session:
            for axes in panels:
                axes.axvline(i + 0.5, color=FAINT, linewidth=0.9)
