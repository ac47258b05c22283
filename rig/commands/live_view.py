"""The live view in a terminal: the same content as on the page, drawn with letters."""

import sys
from typing import Any

from rig.panel.course import Course
from rig.panel.render import course_title, notice_in, sections, time_left, what_runs
from rig.panel.slides import picture
from rig.panel.view import Snapshot
from rig.panel.words import Tone

COLOURS: dict[Tone, str] = {
    "rest": "default",
    "move": "yellow",
    "measure": "cyan",
    "wait": "magenta",
    "halt": "red",
}
TILT_DEG = 45.0
TILT_WIDE = 30
ROWS = 6
"""Lines of the picture of the last slides."""
PER_SECOND = 5


class LiveView:
    """A block at the end of the terminal that is drawn anew a few times a second.

    Args:
        stream: a terminal; stderr unless given.
    """

    def __init__(self, stream: Any = None) -> None:
        from rich.console import Console
        from rich.live import Live

        self._snap: Snapshot | None = None
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
        return "" if self._snap is None else drawn(self._snap)


def drawn(snap: Snapshot) -> Any:
    """A snapshot as a thing that rich can print; nothing in it is read as markup."""
    from rich import box
    from rich.console import Group
    from rich.panel import Panel
    from rich.text import Text

    parts = sections(snap, "metric")
    colour = COLOURS[parts["state"]["tone"]]
    lines: list[Any] = [Text(parts["state"]["text"], style="bold" if snap.wants else "")]
    lines.append(
        Text.assemble(("angle  ", "dim"), (f"{parts['angle']['text']:>8} ", "bold"), tilt(snap))
    )
    air, beam, angle = parts["air"], parts["beam"], parts["angle"]
    lines.append(
        Text(
            f"air    {air['temperature']}, {air['humidity']}, {air['pressure']}; sensor chip"
            f" {air['chip']}"
        )
    )
    lines.append(
        Text(
            f"beam   {beam['text'].lower()}; active inputs: {beam['inputs']}; across"
            f" {angle['across']}; by steps {angle['steps']}"
        )
    )
    if snap.course is not None:
        lines.append(Text(course_line(snap.course, is_busy=snap.is_busy)))
    if snap.dots:
        lines += [Text(line) for line in dot_lines(snap)]
    notice = notice_in(snap)
    if notice is not None:
        style = "bold red" if notice.kind == "fault" else ""
        lines.append(Text(f"{notice.title}: {notice.what} {notice.action}".rstrip(), style=style))
    title = Text(f" {parts['state']['word']} ", style=f"bold {colour}")
    return Panel(
        Group(*lines), title=title, title_align="left", border_style=colour, box=box.ROUNDED
    )


def tilt(snap: Snapshot) -> str:
    """The angle as a bar from 0 to 45°."""
    share = min(1.0, max(0.0, (snap.angle_deg or 0.0) / TILT_DEG))
    full = round(share * TILT_WIDE)
    return f"0° {'━' * full}{'·' * (TILT_WIDE - full)} {TILT_DEG:.0f}°"


def course_line(course: Course, *, is_busy: bool) -> str:
    """How far the series is, on one line."""
    parts = (course_title(course, is_busy=is_busy), time_left(course), what_runs(course))
    return "series " + "; ".join(part for part in parts if part)


def dot_lines(snap: Snapshot) -> list[str]:
    """The last slides as dots, angle upwards, one column each; o is one that does not count."""
    found = picture(snap.dots)
    ticks = found["ticks"]
    rows = [[" "] * len(found["dots"]) for _ in range(ROWS)]
    for column, dot in enumerate(found["dots"]):
        mark = ("●" if dot["valid"] else "o") if dot["y"] is not None else "x"
        row = ROWS - 1 - round((dot["y"] or 0.0) * (ROWS - 1))
        rows[row][column] = mark
    labels = [""] * ROWS
    labels[0], labels[-1] = ticks[-1]["text"], ticks[0]["text"]
    lines = [f"{label:>6} │{' '.join(row)}" for label, row in zip(labels, rows, strict=True)]
    return [f"slides {found['words']}", *lines]


def plain_line(snap: Snapshot) -> str:
    """Everything that matters on one line, where nothing can be drawn anew."""
    parts = sections(snap, "metric")
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
        words.append(snap.wants)
    return "  ".join(word for word in words if word not in ("", "–"))
