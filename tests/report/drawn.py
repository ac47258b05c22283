"""What is on a figure, asked of its objects: nothing is drawn."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D


def series(axes: "Axes") -> "dict[str, list[list[float]]]":
    """Points of each line with a label of its own."""
    return {
        str(line.get_label()): points(line)
        for line in axes.lines
        if not str(line.get_label()).startswith("_")
    }


def points(line: "Line2D") -> list[list[float]]:
    """Its points as pairs of numbers."""
    return [[float(x), float(y)] for x, y in zip(*line.get_data(), strict=True)]


def marks(axes: "Axes") -> "list[Line2D]":
    """Lines that are one marked point."""
    return [line for line in axes.lines if len(line.get_xdata()) == 1]


def words(axes: "Axes") -> list[str]:
    """Texts and annotations in a panel."""
    return [text.get_text() for text in axes.texts]


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
        for one in axes.containers
        for bar in one.patches  # type: ignore[attr-defined]
    ]


def all_texts(figure: "Figure") -> Iterator[Any]:
    """Every text that a reader sees, of the figure and its panels."""
    from matplotlib.text import Text

    return (text for text in figure.findobj(Text) if text.get_text().strip())
