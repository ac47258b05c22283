"""The state lamp (red, green and blue) and the buzzer: a pattern for each state of the rig."""

from typing import Any, NamedTuple

from rig.clock import Clock, Task, Until
from rig.errors import BadInputError
from rig.runfile.model import State
from rig.settings.model import Pins

BEEP_S = 0.15


class Pattern(NamedTuple):
    """Alternation of lit colours and dark; no dark time means steady."""

    colours: str
    """Letters of the lamps that are lit: r, g, b."""
    lit_s: float = 1.0
    dark_s: float = 0.0
    beep: bool = False
    """Whether the buzzer sounds once when the state begins."""


PATTERNS: dict[State, Pattern] = {
    "parked": Pattern("g"),
    "homing": Pattern("rg", 0.5, 0.5),
    "placing": Pattern("g", 0.5, 0.5, beep=True),
    "dwelling": Pattern("b"),
    "raising": Pattern("b", 0.2, 0.2),
    "sliding": Pattern("rgb"),
    "lowering": Pattern("rg", 0.2, 0.2),
    "halted": Pattern("r", 0.2, 0.2, beep=True),
}
"""Yellow (red and green) blinks while the board moves without measuring; blue is a measurement."""


class StateLamp:
    """Shows the state of the rig.

    Args:
        clock: the rig's clock.
        factory: a gpiozero pin factory.
        pins: which pin is what.
    """

    def __init__(self, clock: Clock, factory: Any, pins: Pins) -> None:
        self._clock = clock
        self._factory = factory
        self._numbers = {"r": pins.lamp_red, "g": pins.lamp_green, "b": pins.lamp_blue}
        if pins.buzzer is not None:
            self._numbers["buzzer"] = pins.buzzer
        self._lines: dict[str, Any] = {}
        self._states = clock.queue()

    def open(self) -> None:
        """Claim the pins, all dark.

        Raises:
            BadInputError: if a pin is in use or does not exist.
        """
        from gpiozero import OutputDevice

        for name, number in self._numbers.items():
            try:
                self._lines[name] = OutputDevice(number, pin_factory=self._factory)
            except Exception as error:  # lgpio.error derives from Exception alone
                self.close()
                raise BadInputError(
                    f"GPIO {number} (lamp or buzzer under [pins] in rig.toml) cannot be used: "
                    f"{error}."
                ) from error

    def close(self) -> None:
        """Go dark and release the pins; harmless when they are not open."""
        lines, self._lines = self._lines, {}
        for line in lines.values():
            line.off()
            line.close()

    def show(self, state: State) -> None:
        """Show another state from now on."""
        self._states.put(state)

    def blink(self) -> Task[None]:
        """The task that makes the patterns; spawn it after `open` and cancel it before `close`."""
        pattern = Pattern("")
        lit = True
        due_s: float | None = None
        try:
            while True:
                state: State | None = yield Until(self._states, due_s)
                if state is None:
                    lit = not lit
                else:
                    pattern, lit, due_s = PATTERNS[state], True, self._clock.time_s()
                    if pattern.beep:
                        yield from self._beep()
                self._light(pattern.colours if lit else "")
                if not pattern.dark_s:
                    due_s = None
                elif due_s is not None:
                    due_s += pattern.lit_s if lit else pattern.dark_s
        finally:
            self._light("")

    def _beep(self) -> Task[None]:
        if "buzzer" in self._lines:
            self._lines["buzzer"].on()
            yield Until(self._clock.queue(), self._clock.time_s() + BEEP_S)
            self._lines["buzzer"].off()

    def _light(self, colours: str) -> None:
        for name in "rgb":
            if name in self._lines:
                self._lines[name].value = name in colours
