"""What a person at the terminal reads and types: rows of runs, prompts, the live view."""

import io
import sys
from types import SimpleNamespace as Made
from typing import Any

import pytest
from msgspec.structs import replace

from rig.analysis.row import empty_row
from rig.calibration.plan import SpanPoint
from rig.calibration.reference import SineBar
from rig.commands.level.prompts import PromptingPerson
from rig.commands.run import live_view, progress
from rig.commands.run.live_view import LiveView, dot_lines, drawn, plain_line, tilt
from rig.commands.run.progress import ProgressView
from rig.commands.run.rows import head, row_of
from rig.panel.course import Course
from rig.panel.slides import Dot
from rig.panel.view import Notice
from tests.analysis.parts import bare_run
from tests.panel.paper import IDLE, snapshot

ROW = {
    "slide_number": 7,
    "onset_angle_deg": 20.126,
    "u_onset_angle_deg": 0.154,
    "angle_at_break_deg": 20.51,
    "mu_static": 0.36651,
    "u_mu_static": 0.0031,
    "mu_kinetic": 0.3336,
    "temperature_c": 22.46,
    "relative_humidity_pct": 51.6,
    "outcome": "slid",
}


def test_a_run_stands_under_the_head() -> None:
    made = replace(empty_row(bare_run(), []), **ROW, flags=["late_pulses", "few_edges"])
    row = row_of(made)
    assert row == (
        "    7  20.13 ± 0.15°    20.51°    0.3665      0.334   22.5    52  slid\n"
        f"{'':66}late_pulses\n{'':66}few_edges"
    )
    assert head().index("outcome") == row.index("slid")
    assert head().index("angle ± u") + len("angle ± u") == row.index("°") + 1
    assert max(map(len, (head(), *row.split("\n")))) <= 80
    narrow = (head(columns=60), row_of(made, columns=60))
    assert narrow[1].split() == "7 20.13 ± 0.15° 20.51° 0.3665 slid late_pulses few_edges".split()
    assert max(len(line) for text in narrow for line in text.split("\n")) <= 60


def test_a_run_in_the_readers_units() -> None:
    """22.46 °C are 72.4 °F."""
    row = row_of(replace(empty_row(bare_run(), []), **ROW), "us")
    assert "°F" in head("us")
    assert "°C" not in head("us")
    assert row.split()[-3:] == ["72.4", "52", "slid"]


def test_what_a_run_does_not_know_is_a_dash() -> None:
    plain = dict.fromkeys(ROW, None) | {"outcome": ""}
    words = row_of(replace(empty_row(bare_run(), []), **plain)).split()
    assert words == ["–"] * 7 + ["interrupted"]
    sure = plain | {"onset_angle_deg": 20.0, "mu_static": 0.4}
    assert row_of(replace(empty_row(bare_run(), []), **sure)).split()[1:4] == [
        "20.00",
        "–",
        "0.4000",
    ]


class Terminal:
    """Answers that were typed, and what was asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch, self._capsys = monkeypatch, capsys

    def type(self, *lines: str) -> None:
        self._monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    @property
    def asked(self) -> str:
        out, err = self._capsys.readouterr()
        assert out == ""
        return err


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Terminal:
    return Terminal(monkeypatch, capsys)


POINT = SpanPoint(angle_deg=20.0)


def test_a_level_has_a_size_and_a_high_end(terminal: Terminal) -> None:
    person = PromptingPerson("deg")
    for typed, turned, value in ((("0.2", "y"), False, 0.2), (("-0.2", "No"), True, -0.2)):
        terminal.type(*typed)
        assert person.level_deg("along", turned) == pytest.approx(value)
    asked = terminal.asked
    assert asked.index("Lay the level along") < asked.index("Turn the level end for end")
    assert "read its size in deg" in asked
    assert "Is the uphill end" in asked
    terminal.type("0.2", "Yes")
    assert person.level_deg("across", False) == pytest.approx(0.2)
    assert "Is the far (to which the hinge's axis points) end" in terminal.asked
    terminal.type("0")
    assert person.level_deg("along", False) == 0.0, "at nothing no end is high"


def test_a_bubble_is_asked_for_with_the_block_and_the_way(terminal: Terminal) -> None:
    person, bar = PromptingPerson("deg"), SineBar(68.404, 200.0)
    terminal.type("", "0,3")
    assert person.bubble_deg(bar, POINT, 19.987) == 0.0
    assert person.bubble_deg(bar, replace(POINT, turned=True), 19.987) == 0.3
    first, second = terminal.asked.split("centred)? ")[:2]
    assert first.startswith("19.99° by steps. Bar of 200.0 mm on a block of 68.404 mm")
    assert "level as at first" in first
    assert "level turned end for end" in second


def test_what_a_digital_level_shows_is_in_its_own_unit(terminal: Terminal) -> None:
    terminal.type("", "363.97", "20")
    assert PromptingPerson("deg", "mm/m").shown_deg(POINT, 19.98) == pytest.approx(20.0, abs=1e-3)
    assert PromptingPerson("mm/m").shown_deg(replace(POINT, turned=True), 19.98) == 20.0
    asked = terminal.asked
    assert "'' is not a number.\n" in asked, "only a bubble may be passed over"
    assert "20.0° by steps. Level as at first: what does it show, in mm/m?" in asked
    assert "Level turned end for end: what does it show, in deg?" in asked


def test_across_is_asked_only_where_wanted(terminal: Terminal) -> None:
    assert PromptingPerson("deg").across_deg(POINT) is None
    assert terminal.asked == ""
    terminal.type("0.1", "y")
    assert PromptingPerson("deg", ask_across=True).across_deg(POINT) == pytest.approx(0.1)
    assert "Lay the level across the board" in terminal.asked


def test_what_hands_have_to_do_is_said_and_waited_for(terminal: Terminal) -> None:
    person = PromptingPerson("deg")
    terminal.type("", "", "", "left over")
    assert person.position("-x") is None
    person.screw_on()
    assert person.warmed(22.04) is None
    first, second, third = terminal.asked.split("[Enter]")[:3]
    assert "-x side up" in first
    assert "Screw the sensor back" in second
    assert "The sensor is at 22.0 °C" in third
    assert sys.stdin.read() == "left over\n"


@pytest.mark.parametrize(
    ("typed", "answer"), [("", "on"), ("Y", "on"), ("R", "redo"), ("s", "stop")]
)
def test_after_a_step_a_letter_says_how_to_go_on(
    terminal: Terminal, typed: str, answer: str
) -> None:
    terminal.type("what", typed)
    assert PromptingPerson("deg").go_on("zero", "0.1°") == answer
    assert terminal.asked.count("zero: 0.1°. [Enter] keep") == 2


def on_terminal(snap: Any, columns: int = 80) -> str:
    from rich.console import Console

    out = io.StringIO()
    Console(file=out, width=columns).print(drawn(snap, "metric", columns))
    return out.getvalue()


def test_each_line_of_the_block_says_its_own() -> None:
    snap = snapshot(wants="Lay the bag on the board.", inputs=("upper limit",))
    said = on_terminal(snap)
    for label, words in (
        ("angle", "12.3"),
        ("also", "across"),
        ("air", "23.0 °C, 51 %RH"),
        ("chip", "25"),
        ("beam", "active inputs: "),
        ("series", "Run 2 of 3"),
        ("slides", "20.1"),
    ):
        (line,) = [line for line in said.splitlines() if line[2:].startswith(f"{label} ")]
        assert words in line
    assert "Lay the bag on the board." in said
    assert "●" in said
    bare = on_terminal(snapshot(course=None, dots=()))
    assert not any(line[2:].startswith(("series", "slides")) for line in bare.splitlines())
    assert "●" not in bare


def test_only_what_is_wanted_and_what_went_wrong_is_loud() -> None:
    from rich.console import Console

    def spans(snap: Any) -> dict[str, str]:
        lines = drawn(snap).renderable.renderables
        return {one.plain: str(one.style) for one in lines if hasattr(one, "plain")}

    quiet = snapshot(notice=Notice("note", "A note", "It ends."))
    assert spans(quiet)["A note: It ends."] == ""
    fault = spans(snapshot(notice=Notice("fault", "Fault", "It hangs.", "Help.")))
    assert fault["Fault: It hangs. Help."] == "bold red"
    assert spans(snapshot(wants="Press start."))["Press start."] == "bold"
    assert "bold" not in spans(snapshot()).values()
    panel = drawn(snapshot())
    assert (panel.title.plain.strip(), panel.title_align) == ("Raising", "left")
    assert str(panel.border_style) in str(panel.title.style)
    assert Console(file=io.StringIO()).is_terminal is False


@pytest.mark.parametrize(
    ("angle", "full"), [(0.0, 0), (45.0, 20), (22.5, 10), (-3.0, 0), (60.0, 20), (None, 0)]
)
def test_the_bar_is_full_at_45_degrees(angle: float | None, full: int) -> None:
    bar = tilt(snapshot(angle_deg=angle), 20)
    assert (bar.count("━"), bar.count("·")) == (full, 20 - full)
    assert (bar[:3], bar[-4:]) == ("0° ", " 45°")


def test_the_bar_takes_the_room_there_is() -> None:
    assert tilt(snapshot(), 7) == ""
    assert len(tilt(snapshot(), 8)) == 8 + 7
    assert len(tilt(snapshot(), 99)) == 30 + 7
    assert "45°" in on_terminal(snapshot(), 6 + 22 + 8)
    assert "45°" not in on_terminal(snapshot(), 6 + 22 + 7)


def test_dots_stand_higher_for_larger_angles() -> None:
    dots = (
        Dot(1, 20.0, None, True, ""),
        Dot(2, 30.0, None, True, ""),
        Dot(3, 25.0, None, False, "few_edges"),
        Dot(4, None, None, False, "no slide"),
    )
    *rows, legend = dot_lines(snapshot(dots=dots))
    assert len(rows) == 6
    assert [row.partition("│")[2].split(" ")[0] == "●" for row in rows].index(True) == 5
    columns = [[row.partition("│")[2][2 * k] for row in rows] for k in range(4)]
    assert [column.index(mark) for column, mark in zip(columns, "●●ox", strict=True)] == [
        *(5, 0),
        columns[2].index("o"),
        5,
    ]
    assert columns[2].index("o") in (2, 3)
    assert [sum(mark != " " for mark in column) for column in columns] == [1] * 4
    assert (rows[0].split()[0], rows[-1].split()[0]) == ("30°", "20°")
    assert [row.split("│")[0].strip() for row in rows[1:-1]] == [""] * 4
    assert legend.strip() == "o left out, x no angle"
    assert len(dot_lines(snapshot(dots=dots[:2]))) == 6
    last = dot_lines(snapshot(dots=dots), 1)
    assert sum(row.count("x") for row in last[:-1]) == 1
    assert not any("●" in row for row in last)


def test_one_line_says_what_matters() -> None:
    assert plain_line(snapshot(wants="Press start.")) == (
        "run 2 of 3  raising  12.3°  23.0 °C  51 %RH  about 60 s left  Press start."
    )
    begun = Course(3, 0, None, None)
    for bare in (snapshot(course=None), snapshot(course=begun)):
        assert plain_line(bare) == "raising  12.3°  23.0 °C  51 %RH"
    unknown = IDLE._replace(course=None, angle_deg=None, relative_humidity_pct=None)
    assert plain_line(unknown, "us") == "parked  73.4 °F"


class NotedLive:
    """Stands for the drawing library's block."""

    def __init__(self, **options: Any) -> None:
        self.options, self.is_started = options, False
        self.calls: list[str] = []
        self.console = Made(width=100)

    def start(self) -> None:
        self.calls.append("start")
        self.is_started = True

    def stop(self) -> None:
        self.calls.append("stop")
        self.is_started = False


def test_the_block_is_there_from_the_first_look_to_the_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("rich.live.Live", NotedLive)
    stream = io.StringIO()
    view = LiveView(stream, "us")
    live: Any = view._live  # noqa: SLF001
    assert live.options["console"].file is stream
    assert LiveView()._live.options["console"].file is sys.stderr  # type: ignore[attr-defined]  # noqa: SLF001
    assert live.options["transient"] is True
    assert live.options["refresh_per_second"] == 5
    draw = live.options["get_renderable"]
    assert draw() == ""
    view.stop()
    assert live.calls == []
    monkeypatch.setattr(live_view, "drawn", lambda *given: given)
    view.show(snapshot())
    view.show(IDLE)
    assert draw() == (IDLE, "us", 100)
    view.stop()
    view.stop()
    assert live.calls == ["start", "stop"]


class NotedViewer:
    """Stands for the one who looks at the machine."""

    def __init__(self, machine: Any) -> None:
        self.is_busy = False
        self.told: list[tuple[Any, ...]] = []

    def begin_series(self, *numbers: int) -> None:
        self.told.append(("series", *numbers))

    def begin_run(self, request: Any) -> None:
        self.told.append(("run", request))

    def made_run(self, result: Any) -> None:
        self.told.append(("made", result))

    def look(self) -> Any:
        return snapshot()


@pytest.mark.parametrize(("is_real", "lines"), [(True, 2), (False, 0)])
def test_progress_is_a_line_whenever_something_changes(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    is_real: bool,
    lines: int,
) -> None:
    monkeypatch.setattr(progress, "Viewer", NotedViewer)
    live = Made(state="raising", wants="")
    machine: Any = Made(clock=Made(time_s=lambda: 1.0), live=live)
    shown = ProgressView(machine, 5, is_real=is_real, n_before=2)
    shown.begin("request")  # type: ignore[arg-type]
    shown.made(None)
    viewer: Any = shown._viewer  # noqa: SLF001
    assert viewer.is_busy
    assert viewer.told == [("series", 5, 2), ("run", "request"), ("made", None)]
    task = shown.follow()
    assert next(task).time_s == pytest.approx(1.2)  # type: ignore[union-attr]
    next(task)
    live.wants = "Press start."
    next(task)
    task.close()
    assert capsys.readouterr().err.splitlines() == [plain_line(snapshot())] * lines


def test_on_a_terminal_progress_is_the_block(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    calls: list[Any] = []
    block = Made(show=calls.append, stop=lambda: calls.append("stop"))
    monkeypatch.setattr(progress, "Viewer", NotedViewer)
    monkeypatch.setattr(progress, "LiveView", lambda units: block)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    machine: Any = Made(clock=Made(time_s=lambda: 1.0), live=Made(state="raising", wants=""))
    task = ProgressView(machine, 5, is_real=True).follow()
    next(task)
    task.close()
    assert calls == [snapshot(), "stop"]
    assert capsys.readouterr().err == ""
