"""The live view in a terminal: the same content as on the page, drawn with letters."""

import sys
from typing import Any

from rig.panel.course import Course
from rig.panel.render import course_title, sections, time_left, what_runs
from rig.panel.slides import KEPT, picture
from rig.panel.view import Snapshot
from rig.panel.words import Tone, Units

COLOURS: dict[Tone, str] = {  # as the lamp has them, as far as a terminal can be read
    "rest": "green",
    "move": "yellow",
    "measure": "cyan",
    "wait": "green",
    "halt": "red",
}
TILT_DEG = 45.0
TILT_WIDE = 30
TILT_LEAST = 8
FRAME = LABEL = 6
"""Columns that the frame and the labels beside it take, with the space next to them."""
MARKS = {"o": "left out", "x": "no angle"}
NEEDLE_WIDE = 30
ROWS = 6
"""Lines of the picture of the last slides."""
PER_SECOND = 5


class LiveView:
    """A block at the end of the terminal that is redrawn a few times a second.

    Args:
        stream: a terminal; stderr unless given.
        units: what is shown in.
    """

    def __init__(self, stream: Any = None, units: Units = "metric") -> None:
        from rich.console import Console
        from rich.live import Live

        self._snap: Snapshot | None = None
        self._units: Units = units
        self._live = Live(
            console=Console(file=stream or sys.stderr),
            get_renderable=self._drawn,
            refresh_per_second=PER_SECOND,
            transient=True,
            redirect_stdout=sys.stdout.isatty(),
            redirect_stderr=sys.stderr.isatty(),
        )

    def show(self, snap: Snapshot) -> None:
        """Show this from now on; begins at the first call."""
        self._snap = snap
        if not self._live.is_started:
            self._live.start()

    def stop(self) -> None:
        """Take the block away; harmless if it is not there."""
        if self._live.is_started:
            self._live.stop()

    def _drawn(self) -> Any:
        return (
            "" if self._snap is None else drawn(self._snap, self._units, self._live.console.width)
        )


def drawn(snap: Snapshot, units: Units = "metric", columns: int = 80) -> Any:
    """A snapshot as a thing that rich can print; nothing in it is read as markup.

    Args:
        snap: what is shown.
        units: what it is shown in.
        columns: of the terminal; the picture is fitted into them.
    """
    from rich import box
    from rich.console import Group
    from rich.panel import Panel
    from rich.table import Table
    from rich.text import Text

    parts = sections(snap, units)
    colour = COLOURS[parts["state"]["tone"]]
    air, beam, angle = parts["air"], parts["beam"], parts["angle"]
    room = columns - FRAME
    table = Table.grid(padding=(0, 1))
    table.add_column(style="dim", no_wrap=True, width=LABEL)
    table.add_column()
    table.add_row("angle", Text.assemble((angle["text"], "bold"), "  ", tilt(snap, room - 22)))
    pace = parts["pace"]
    if pace["shown"]:
        table.add_row(
            "pace", Text.assemble((f"{pace['text']}  {pace['word']:<6}  ", "bold"), needle(pace))
        )
    by_steps = f", by steps {angle['steps']}" if angle["by_motor"] else ""
    table.add_row("also", Text(f"across {angle['across']}{by_steps}"))
    table.add_row("air", Text(f"{air['temperature']}, {air['humidity']}, {air['pressure']}"))
    table.add_row("chip", Text(air["chip"]))
    table.add_row("beam", Text(f"{beam['text'].lower()}; active inputs: {beam['inputs']}"))
    if snap.course is not None:
        table.add_row("series", Text(course_line(snap.course, units, is_busy=snap.is_busy)))
    if snap.dots:
        table.add_row("slides", Text(picture(snap.dots)["words"]))
    lines: list[Any] = [Text(parts["state"]["text"], style="bold" if snap.wants else ""), table]
    if snap.dots:
        lines += [Text(line, no_wrap=True) for line in dot_lines(snap, (columns - FRAME) // 2 - 3)]
    notice = parts["notice"]
    if notice["kind"]:
        text = f"{notice['title']}: {notice['what']} {notice['action']}".rstrip()
        lines.append(Text(text, style="bold red" if notice["kind"] == "fault" else ""))
    title = Text(f" {parts['state']['word']} ", style=f"bold {colour}")
    return Panel(
        Group(*lines), title=title, title_align="left", border_style=colour, box=box.ROUNDED
    )


def tilt(snap: Snapshot, columns: int) -> str:
    """The angle as a bar from 0 to 45°; nothing where there is no room for it."""
    wide = min(TILT_WIDE, columns)
    if wide < TILT_LEAST:
        return ""
    share = min(1.0, max(0.0, (snap.angle_deg or 0.0) / TILT_DEG))
    full = round(share * wide)
    return f"0° {'━' * full}{'·' * (wide - full)} {TILT_DEG:.0f}°"


def needle(pace: dict[str, Any]) -> str:
    """The pace from rest to twice as fast as asked; a slide counts within the brackets."""
    half = NEEDLE_WIDE // 2
    scale = ["·"] * (2 * half + 1)
    scale[half] = "┼"
    edge = round(pace["band"] * half)
    scale[half - edge], scale[half + edge] = "[", "]"
    scale[half + round(pace["needle"] * half)] = "▲"
    return "".join(scale)


def course_line(course: Course, units: Units = "metric", *, is_busy: bool) -> str:
    """How far the series is, on one line."""
    title = course_title(course, is_busy=is_busy)
    parts = (title, time_left(course), what_runs(course, units))
    return "; ".join(part for part in parts if part)


def dot_lines(snap: Snapshot, most: int = KEPT) -> list[str]:
    """The last slides as dots, angle upwards, one column each, no more of them than `most`."""
    found = picture(snap.dots[-most:])
    ticks = found["ticks"]
    rows = [[" "] * len(found["dots"]) for _ in range(ROWS)]
    marks = set()
    for column, dot in enumerate(found["dots"]):
        mark = ("●" if dot["valid"] else "o") if dot["y"] is not None else "x"
        row = ROWS - 1 - round((dot["y"] or 0.0) * (ROWS - 1))
        rows[row][column] = mark
        marks.add(mark)
    labels = [""] * ROWS
    labels[0], labels[-1] = ticks[-1]["text"], ticks[0]["text"]
    lines = [f"{label:>6} │{' '.join(row)}" for label, row in zip(labels, rows, strict=True)]
    meant = [f"{mark} {sense}" for mark, sense in MARKS.items() if mark in marks]
    return lines if not meant else [*lines, f"{'':6}  {', '.join(meant)}"]


def plain_line(snap: Snapshot, units: Units = "metric") -> str:
    """Everything that matters on one line, where nothing can be redrawn."""
    parts = sections(snap, units)
    words = [
        snap.state,
        parts["angle"]["text"],
        parts["air"]["temperature"],
        parts["air"]["humidity"],
    ]
    if snap.course is not None and snap.course.request is not None:
        words.insert(0, course_title(snap.course, is_busy=snap.is_busy).lower())
        words.append(time_left(snap.course))
    if snap.wants:
        words.append(parts["state"]["text"])
    return "  ".join(word for word in words if word not in ("", "–"))
