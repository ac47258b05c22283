"""One style for all figures: for print and for a phone, in colour, in grey, for any eyes.

A colour stands for one meaning in all figures; groups differ in mark and filling. Figures are
so wide that their ten-point text is eight points where two stand side by side in print, and ten
pixels on a phone.
"""

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, cast

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#1d2b33"
FAINT = "#5c6b73"
GRID = "#d9dfe2"
WASH = "#eef2f3"
KNOWN = "#123f5c"
"""Deep water: what was measured, and where a bag is now."""
RECKONED = "#c28a2a"
"""Ochre: what is fitted, computed or forecast."""
TARGET = "#34836d"
"""Reed: what is wanted."""
LIMIT = "#9f3526"
"""Brick: a limit; nothing else."""
COLOURS = (KNOWN, LIMIT, TARGET, RECKONED)
"""One colour, one meaning; their lightness rises from one to the next."""
PAPER = "#ffffff"
PALE = "#82929a"
"""What is not shown."""
THEME = {
    INK: "ink",
    FAINT: "faint",
    GRID: "line",
    WASH: "wash",
    KNOWN: "known",
    RECKONED: "reckoned",
    TARGET: "target",
    LIMIT: "limit",
    PALE: "pale",
    PAPER: "paper",
}
"""The page's name for each colour, which it changes in the dark."""
MARKS = ("o", "s", "^", "D")
DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)))
HATCHES = ("", "//", "..")
FONTS = "'DejaVu Sans', sans-serif"
WIDTH_IN = 4.4
PNG_DPI = 200

Format = Literal["svg", "png"]

RC: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.5,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": GRID,
    "grid.linewidth": 0.7,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "text.color": INK,
    "lines.linewidth": 1.6,
    "lines.markersize": 5.5,
    "legend.framealpha": 0.9,
    "legend.edgecolor": PAPER,
    "legend.fancybox": False,
    "legend.borderpad": 0.2,
    "legend.fontsize": 8.5,
    "legend.handlelength": 1.8,
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "none",
    "svg.hashsalt": "rig",
    # A dollar in a bag's name is a dollar.
    "text.parse_math": False,
    "axes.unicode_minus": True,
}


class Look(NamedTuple):
    """How one group of a figure is drawn; all groups are measured, so all have that colour."""

    mark: str
    dash: Any
    is_open: bool

    def marker(self, size: float = 5.5) -> dict[str, Any]:
        """Arguments of a mark; the edge of paper parts marks that overlap."""
        return {
            "marker": self.mark,
            "markersize": size,
            "markerfacecolor": PAPER if self.is_open else KNOWN,
            "markeredgecolor": KNOWN if self.is_open else PAPER,
            "markeredgewidth": 1.3 if self.is_open else 0.6,
        }


def look(place: int) -> Look:
    """The look of the group at this place: filled and open by turns, each pair with its mark."""
    return Look(MARKS[place // 2 % len(MARKS)], DASHES[place % len(DASHES)], place % 2 == 1)


def looks(names: Sequence[str]) -> dict[str, Look]:
    """A look for each name, in order."""
    return {name: look(place) for place, name in enumerate(dict.fromkeys(names))}


class Picture(NamedTuple):
    """A drawn figure as SVG text and what it shows, in words."""

    name: str
    """Short and fit for a file's name."""
    title: str
    alt: str
    svg: str


@contextmanager
def styled() -> Iterator[None]:
    """Within this, matplotlib draws in the style; nothing of it is left behind."""
    import warnings

    import matplotlib

    with matplotlib.rc_context(cast(Any, RC)), warnings.catch_warnings():
        # A name may hold any sign; one that the font lacks is drawn as a box.
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


def new_figure(height_in: float) -> "Figure":
    """An empty figure that needs no screen."""
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDTH_IN, height_in), layout="constrained")


def finish(figure: "Figure", title: str, note: str) -> None:
    """The title above and the note below: units, n, what a bar means.

    The note is wrapped by hand, since a layout that wraps text itself changes with its size.
    """
    figure.suptitle(wrapped(title, 50), x=0.01, ha="left", fontsize=11, fontweight="bold")
    figure.supxlabel(wrapped(note, 66), x=0.01, ha="left", fontsize=8.5, color=FAINT)


def wrapped(text: str, columns: int) -> str:
    """Broken into lines of at most so many signs, where words allow."""
    from textwrap import wrap

    # A no-break space keeps a figure and its % sign on one line.
    return "\n".join(wrap(text.replace(" %", "\N{NO-BREAK SPACE}%"), columns))


def short(name: str, columns: int = 24) -> str:
    """A name that fits beside an axis."""
    return name if len(name) <= columns else name[: columns - 1] + "…"


def legend_above(axes: "Axes", handles: Sequence[Any] | None = None, columns: int = 4) -> None:
    """The legend over the right end of the panel, where no data are."""
    given: dict[str, Any] = {} if handles is None else {"handles": list(handles)}
    axes.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=columns, borderaxespad=0.15, **given
    )


def value_axis(axes: "Axes", label: str, which: Literal["x", "y"] = "x") -> None:
    """Label an axis of values, and keep grid lines along it only."""
    (axes.set_xlabel if which == "x" else axes.set_ylabel)(label)
    axes.grid(visible=False, axis="y" if which == "x" else "x")


def row_axis(axes: "Axes", names: Sequence[str]) -> None:
    """Names from top to bottom on the y axis."""
    axes.set_yticks(range(len(names)), [short(name) for name in names])
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(visible=False, axis="y")
    for place in range(1, len(names), 2):
        axes.axhspan(place - 0.5, place + 0.5, color=WASH, zorder=0, linewidth=0)


def svg_text(figure: "Figure") -> str:
    """The figure as one `<svg>` element, the same bytes for the same data.

    No date, no random identifiers, no comments (they would carry names), nothing but the element.
    Text stays text; coordinates have two digits, a thirtieth of a pixel.
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = io.StringIO()
    # Straight to the canvas: `savefig` would draw every figure twice.
    canvas: Any = FigureCanvasSVG(figure)
    canvas.print_svg(buffer, metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<!--.*?-->\n?", "", text, flags=re.DOTALL)
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL).strip()
    text = text.replace("font-family: 'DejaVu Sans'", f"font-family: {FONTS}")
    return re.sub(r"<[^>]*>", lambda tag: _rounded(tag[0]), text)


def _rounded(tag: str) -> str:
    return re.sub(r"(\d\.\d\d)\d+", r"\1", tag)


def themed(svg: str) -> str:
    """The same for a page: in the colours and the letters of the page."""
    svg = svg.replace(f" font-family: {FONTS};", "")
    return re.sub(r"#[0-9a-f]{6}\b", lambda colour: _variable(colour[0]), svg)


def _variable(colour: str) -> str:
    return f"var(--{THEME[colour]})" if colour in THEME else colour


def own_ids(svg: str, prefix: str) -> str:
    """The same with its identifiers made its own, for several in one page."""
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{prefix}-\1"', svg)
    return re.sub(r"(url\(#|href=\"#)", rf"\1{prefix}-", svg)


def png_bytes(figure: "Figure") -> bytes:
    """The figure as PNG for print."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return buffer.getvalue()
