"""Fonts that the drawing library opens once and keeps open."""

from rig.report.style import new_figure, styled, svg_text


def open_fonts() -> None:
    """Draw plain, bold and unknown signs, so that no test seems to leave a file open."""
    with styled():
        figure = new_figure(1.0)
        figure.text(0.1, 0.1, "plain \U0001f9ba")
        figure.text(0.1, 0.5, "bold", fontweight="bold")
        svg_text(figure)
