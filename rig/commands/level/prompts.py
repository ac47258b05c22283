"""A person at a terminal who reads a level."""

import sys
from collections.abc import Callable
from pathlib import Path

from rig.calibration.captures import Rest
from rig.calibration.plan import SpanPoint, Way
from rig.calibration.reference import SineBar, to_deg
from rig.commands.options import on_screen, say
from rig.control.process.signals import asking
from rig.errors import BadInputError
from rig.procedures.level.person import Answer, LevelPerson, Where
from rig.quantities.shown import System, system
from rig.quantities.typed import number

Ask = Callable[[str], str]
WORDS: dict[str, Answer] = {"": "on", "y": "on", "r": "redo", "s": "stop"}


class PromptingPerson(LevelPerson):
    """Asks on stderr, reads from stdin.

    Args:
        unit: of the level at zero.
        span_unit: of the digital level at the span points.
        ask_across: also ask for a reading across at every span point.
        ask: puts a question and returns the answer; at the terminal if not given.
        units: of lengths and temperatures.
    """

    def __init__(
        self,
        unit: str,
        span_unit: str = "deg",
        ask_across: bool = False,
        ask: Ask | None = None,
        units: System = "metric",
    ) -> None:
        self._unit = unit
        self._span_unit = span_unit
        self._ask_across = ask_across
        self._ask = ask or _ask
        self._shown_in = system(units)

    def level_deg(self, where: Where, turned: bool) -> float:
        """Ask for a size and for the end that is high: a level's own sign is not to be trusted."""
        lay = "Turn the level end for end in the same place" if turned else "Lay the level"
        high = "uphill" if where == "along" else "far (to which the hinge's axis points)"
        size = self._number(f"{lay} {where} the board and read its size in {self._unit}: ")
        if size == 0.0:
            return 0.0
        answer = self._ask(f"Is the {high} end of the board the higher one by this reading? [y/n] ")
        return to_deg(abs(size) if answer.lower().startswith("y") else -abs(size), self._unit)

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """Ask for a nudge until the bubble is centred."""
        way = "turned end for end" if point.turned else "as at first"
        mm = self._shown_in["mm"]
        return self._number(
            f"{steps_deg:.2f}° by steps. Bar of {mm.text(bar.length_mm, 1)} on a block of"
            f" {mm.text(bar.height_mm, 3)}, level {way}. Raise by how many degrees (- lowers,"
            " Enter: the bubble is centred)? ",
            empty=0.0,
        )

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """Ask for what the digital level shows."""
        way = "turned end for end" if point.turned else "as at first"
        shown = self._number(
            f"{steps_deg:.1f}° by steps. Level {way}: what does it show, in {self._span_unit}? "
        )
        return to_deg(shown, self._span_unit)

    def across_deg(self, point: SpanPoint) -> float | None:
        """Ask only if that was wanted."""
        if not self._ask_across:
            return None
        return self.level_deg("across", False)

    def position(self, way: Way) -> Rest | None:
        """Ask for the sensor to be held."""
        self._ask(
            f"Take the sensor off its board and hold it against something firm, {way} side up"
            " (within 30°). [Enter] when it is still: "
        )
        return None

    def screw_on(self) -> None:
        """Ask for the sensor to be put back."""
        self._ask(
            "Screw the sensor back onto its board, as it is to stay. [Enter] when it is fast: "
        )

    def warmed(self, first_c: float) -> Rest | None:
        """Ask for warmth; the procedure waits until it has come."""
        self._ask(
            f"The sensor is at {self._shown_in['c'].text(first_c, 1)}. Warm or cool the room or"
            f" the sensor by {self._shown_in['k'].text(5.0)} or more and touch neither board nor"
            " frame. [Enter] when you have begun: "
        )
        return None

    def go_on(self, step: str, found: str) -> Answer:
        """Enter continues, r repeats the step, s stops here."""
        while True:
            answer = self._ask(
                f"{step}: {found}. [Enter] keep, [r] again, [s] stop and go on later: "
            )
            if answer.lower() in WORDS:
                return WORDS[answer.lower()]

    def _number(self, question: str, empty: float | None = None) -> float:
        while True:
            answer = self._ask(question)
            if not answer and empty is not None:
                return empty
            try:
                value = number("The reading", answer)
            except BadInputError as error:
                say(f"{error}")
                continue
            if value is not None:
                return value
            say(f"{answer!r} is not a number.")


class RehearsingPerson(PromptingPerson):
    """Asks as on a real rig, and says what the simulated level shows.

    Args:
        shown: who reads the simulated level.
        unit: of the level at zero.
        ask_across: also ask for a reading across at every span point.
        ask: puts a question and returns the answer; at the terminal if not given.
        units: of lengths and temperatures.
    """

    def __init__(
        self,
        shown: LevelPerson,
        unit: str,
        ask_across: bool,
        ask: Ask | None,
        units: System = "metric",
    ) -> None:
        super().__init__(unit, ask_across=ask_across, ask=ask, units=units)
        self._shown = shown

    def level_deg(self, where: Where, turned: bool) -> float:
        """What a level on the simulated board shows, then the questions."""
        shown_deg = self._shown.level_deg(where, turned)
        high = "uphill" if where == "along" else "far"
        way = "higher" if shown_deg > 0.0 else "lower"
        end = f", the {high} end {way}" if shown_deg else ""
        size = abs(shown_deg) / to_deg(1.0, self._unit)
        say(f"(The simulated level shows {size:.2f} {self._unit}{end}.)")
        return super().level_deg(where, turned)

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """Where the bubble of the simulated level stands, then the question."""
        off_deg = self._shown.bubble_deg(bar, point, steps_deg)
        where = f"is centred after {off_deg:+.2f}°" if off_deg else "is centred"
        say(f"(The simulated bubble {where}.)")
        return super().bubble_deg(bar, point, steps_deg)

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """What the simulated digital level shows, then the question."""
        shown_deg = self._shown.shown_deg(point, steps_deg)
        say(f"(The simulated level shows {shown_deg / to_deg(1.0, self._span_unit):.2f}.)")
        return super().shown_deg(point, steps_deg)

    def position(self, way: Way) -> Rest | None:
        """The question; then the simulated sensor is held so."""
        super().position(way)
        return self._shown.position(way)

    def screw_on(self) -> None:
        """The question; then the simulated sensor is back."""
        super().screw_on()
        self._shown.screw_on()

    def warmed(self, first_c: float) -> Rest | None:
        """The question; then it is warm."""
        super().warmed(first_c)
        return self._shown.warmed(first_c)


def lines_of(file: Path) -> Ask:
    """Answers from the lines of a file, one for each question.

    Raises:
        BadInputError: it can't be read; later, when it has no line left.
    """
    try:
        lines = iter(file.read_text("utf-8").splitlines())
    except (OSError, UnicodeDecodeError) as error:
        raise BadInputError(f"The answers {file} can't be read: {error}.") from error

    def ask(question: str) -> str:
        answer = next(lines, None)
        if answer is None:
            raise BadInputError(f"{file} has no line left for the question: {question.strip()}")
        say(f"{question}{answer}")
        return answer.strip()

    return ask


def _ask(question: str) -> str:
    print(on_screen(question.rstrip()), end=" ", file=sys.stderr, flush=True)
    with asking():
        line = sys.stdin.readline()
    if not line:
        raise BadInputError(
            "Nobody is at the terminal to read the level; give the readings with --readings FILE."
        )
    return line.strip()
