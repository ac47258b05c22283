"""What is on a figure, asked of its objects: nothing is drawn."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, cast

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.container import BarContainer
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle


def series(axes: "Axes") -> "dict[str, list[list[float]]]":
    """Points of each line with a label of its own."""
    return {
        str(line.get_label()): points(line)
        for line in axes.lines
        if not str(line.get_label()).startswith("_")
    }


def points(line: "Line2D") -> list[list[float]]:
    """Its points as pairs of numbers."""
    return [[x, y] for x, y in zip(xs(line), ys(line), strict=True)]


def xs(line: "Line2D") -> list[float]:
    """Where its points lie along the x axis."""
    return [float(x) for x in np.asarray(line.get_xdata())]


def ys(line: "Line2D") -> list[float]:
    """Where its points lie along the y axis."""
    return [float(y) for y in np.asarray(line.get_ydata())]


def marks(axes: "Axes") -> "list[Line2D]":
    """Lines that are one marked point."""
    return [line for line in axes.lines if len(xs(line)) == 1]


def words(axes: "Axes") -> list[str]:
    """Texts and annotations in a panel."""
    return [text.get_text() for text in axes.texts]


def texts(axes: "Axes") -> list[Any]:
    """Texts and annotations themselves; the library's types know neither `xy` nor `get_ha`."""
    return list(axes.texts)


def patches(axes: "Axes") -> "list[Rectangle]":
    """Shaded parts of a panel, all of them rectangles."""
    return cast("list[Rectangle]", list(axes.patches))


def rows(axes: "Axes") -> list[str]:
    """Names beside the y axis, from top to bottom."""
    return [label.get_text() for label in axes.get_yticklabels()]


def legend(axes: "Axes") -> list[str]:
    """Names in the legend."""
    found = axes.get_legend()
    return [] if found is None else [text.get_text() for text in found.get_texts()]


def bars(axes: "Axes") -> list[tuple[float, ...]]:
    """Left end, width, middle and height of each bar, in the order they were drawn."""
    return [
        tuple(
            round(float(x), 6)
            for x in (
                bar.get_x(),
                bar.get_width(),
                bar.get_y() + bar.get_height() / 2,
                bar.get_height(),
            )
        )
        for bar in bar_patches(axes)
    ]


def bar_patches(axes: "Axes") -> "list[Rectangle]":
    """The bars themselves, in the order they were drawn."""
    return [bar for one in axes.containers for bar in cast("BarContainer", one).patches]


def all_texts(figure: "Figure") -> Iterator[Any]:
    """Every text that a reader sees, of the figure and its panels."""
    from matplotlib.text import Text

    return (text for text in figure.findobj(Text) if text.get_text().strip())


def heights(axes: "Axes") -> Any:
    """Height ratios of the grid that these axes stand in."""
    grid = axes.get_gridspec()
    assert grid is not None
    return grid.get_height_ratios()
