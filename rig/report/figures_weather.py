"""The slide angle over humidity: the model's band, and what was measured."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rig.report.style import FAINT, RECKONED, finish, look, new_figure, short
from rig.report.weather import WeatherBand

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHADE = 0.3
COLUMNS = 2
MOST_PANELS = 6


def weather_figure(bands: Sequence[WeatherBand], humidity_pct: float) -> "Figure | None":
    """A panel for each model's face.

    Args:
        bands: the first `MOST_PANELS` are drawn.
        humidity_pct: at the surface, of the air that is asked for.
    """
    bands = bands[:MOST_PANELS]
    if not bands:
        return None
    n_rows = -(-len(bands) // COLUMNS)
    figure = new_figure(1.2 + 2.1 * n_rows)
    grid = figure.subplots(n_rows, min(COLUMNS, len(bands)), squeeze=False, sharex=True)
    panels = list(grid.flat)
    for axes, band in zip(panels, bands, strict=False):
        x = [one.surface_humidity_pct for one in band.curve]
        axes.fill_between(
            x,
            [one.lower_deg for one in band.curve],
            [one.upper_deg for one in band.curve],
            color=RECKONED,
            alpha=SHADE,
            linewidth=0,
        )
        axes.plot(x, [one.angle_deg for one in band.curve], color=RECKONED)
        axes.plot(
            [one.surface_humidity_pct for one in band.series],
            [one.angle_deg for one in band.series],
            linestyle="none",
            **look(0).marker(4.5),
        )
        axes.axvline(humidity_pct, color=FAINT, linewidth=0.9, linestyle=(0, (1.5, 1.5)))
        axes.set_title(short(" ".join(part for part in (band.model, band.face) if part), 26))
        axes.set_ylabel("slide angle, °")
        axes.set_xlabel("%RH at the board")
    for axes in panels[len(bands) :]:
        axes.remove()
    n = sum(len(band.series) for band in bands)
    finish(
        figure,
        "Slide angle over humidity",
        f"n = {n} series. Curve: mean of the bags as they are now; band: 95 % interval. Marks:"
        " series means, brought to that mean, as the model leaves them. Dotted: the air asked for.",
    )
    return figure
