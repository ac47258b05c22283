"""Slide angle by run order, with the air that was there."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rig.quantities.shown import Shown
from rig.report.style import (
    COLOURS,
    FAINT,
    Look,
    finish,
    legend_above,
    looks,
    new_figure,
    short,
    value_axis,
)
from rig.study.rows import Row

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

REFERENCE = "reference bag"
MOST_BARS = 80
"""With more runs their bars would only blacken the figure."""


def order_figure(
    rows: Sequence[Row], temperature: Shown, title: str, reference: str | None = None
) -> "Figure":
    """Slide angles in the order of the runs, sessions apart, over humidity and temperature.

    Args:
        rows: at least one, in order of time.
        temperature: how temperatures are shown.
        title: of the figure.
        reference: name of the bag that watches the board.
    """
    figure = new_figure(4.9)
    top, middle, bottom = figure.subplots(3, 1, sharex=True, height_ratios=(3.4, 1.1, 1.1))
    place = list(range(1, len(rows) + 1))
    named = [_name(row, reference) for row in rows]
    drawn = looks(sorted(set(named), key=lambda name: (name == REFERENCE, name)))
    has_bars = len(rows) <= MOST_BARS and all(row.u_run_deg is not None for row in rows)
    size = 5.0 if len(rows) <= MOST_BARS else 2.6
    for name, one in drawn.items():
        own = [i for i, other in enumerate(named) if other == name]
        _dots(top, [place[i] for i in own], [rows[i] for i in own], one, size, has_bars, name)
    value_axis(top, "slide angle, °", "y")
    top.margins(y=0.12)
    legend_above(top)
    _air(middle, place, [row.surface_humidity_pct for row in rows], "%RH at\nthe board", 0)
    warm = [
        None if row.temperature_c is None else temperature.of(row.temperature_c) for row in rows
    ]
    _air(bottom, place, warm, f"air,\n{temperature.unit}", 1)
    _sessions((top, middle, bottom), rows)
    bottom.set_xlabel("run, in order of time")
    bottom.set_xlim(0.0, len(rows) + 1.0)
    bars = "bars: standard uncertainty of the run (k = 1)" if has_bars else "no bars drawn"
    n_sessions = len({row.session for row in rows})
    many = "sessions, parted by lines" if n_sessions > 1 else "session"
    finish(figure, title, f"n = {len(rows)} runs that count, {n_sessions} {many}; {bars}.")
    return figure


def _name(row: Row, reference: str | None) -> str:
    return REFERENCE if row.bag == reference else f"{short(row.face, 18)} down"


def _dots(
    axes: "Axes",
    place: Sequence[int],
    rows: Sequence[Row],
    one: Look,
    size: float,
    has_bars: bool,
    label: str,
) -> None:
    angles = [row.onset_angle_deg for row in rows]
    bars = [row.u_run_deg or 0.0 for row in rows] if has_bars else None
    axes.errorbar(
        place,
        angles,
        bars,
        linestyle="none",
        ecolor=one.colour,
        elinewidth=0.9,
        label=label,
        **one.marker(size),
    )


def _air(
    axes: "Axes", place: Sequence[int], values: Sequence[float | None], label: str, look: int
) -> None:
    known = [(p, v) for p, v in zip(place, values, strict=True) if v is not None]
    value_axis(axes, label, "y")
    if not known:
        axes.text(0.5, 0.5, "not recorded", transform=axes.transAxes, ha="center", color=FAINT)
        return
    x, y = zip(*known, strict=True)
    axes.plot(x, y, color=COLOURS[look], linewidth=0.0, marker="_", markersize=3.5)
    middle, half = (max(y) + min(y)) / 2.0, max((max(y) - min(y)) * 0.65, 1.0)
    axes.set_ylim(middle - half, middle + half)


def _sessions(panels: Sequence["Axes"], rows: Sequence[Row]) -> None:
    for i in range(1, len(rows)):
        if rows[i].session != rows[i - 1].session:
            for axes in panels:
                axes.axvline(i + 0.5, color=FAINT, linewidth=0.9)
