"""Pins whose other ends are the simulated world, for gpiozero's own devices above."""

from typing import TYPE_CHECKING, Any

from gpiozero.exc import PinSetInput
from gpiozero.pins.mock import MockFactory, MockPin

if TYPE_CHECKING:
    from rig.clock import Clock
    from rig.twin.world import World


class TwinPin(MockPin):  # type: ignore[misc] # gpiozero has no types
    """A pin that keeps no list of its states, and whose input level is the world's.

    An input is driven by `drive` with the time of the edge; a pull resistor does not change a
    level that something in the world drives.
    """

    def __init__(self, factory: "TwinFactory", info: Any) -> None:
        super().__init__(factory, info)
        self.gpio = int(info.name[4:])
        self._state = factory.world.level(self.gpio)

    def drive(self, level: bool, ticks: float) -> None:
        """The world puts an input to a level at a time of the rig's clock."""
        if self._state == level or self._function != "input":
            return
        self._state = level
        if self._when_changed is not None and self._edges in (
            "both",
            "rising" if level else "falling",
        ):
            self._last_change = ticks
            self._call_when_changed()

    def _change_state(self, value: bool) -> bool:
        changed = bool(self._state != value)
        self._state = value
        return changed

    def _set_pull(self, value: str) -> None:
        self._pull = value


class OutputPin(TwinPin):
    """A line that the world listens to: direction, enable, lamps."""

    def _set_state(self, value: Any) -> None:
        super()._set_state(value)
        self._factory.world.on_output(self.gpio, self._state)

    def _set_function(self, value: str) -> None:
        was_output = self._function == "output"
        super()._set_function(value)
        if was_output and value == "input":
            # Released: the resistor on the driver's board pulls it low.
            self._state = False
            self._factory.world.on_output(self.gpio, False)


class StepPin(TwinPin):
    """The step line; each rising edge moves the world's motor, thousands of times a second."""

    def __init__(self, factory: "TwinFactory", info: Any) -> None:
        super().__init__(factory, info)
        self._on_step = factory.world.on_step

    def _set_state(self, value: Any) -> None:
        if value:
            if self._function != "output":
                raise PinSetInput(f"cannot set state of pin {self!r}")
            if not self._state:
                self._state = True
                self._on_step()
        else:
            self._state = False


class BladeStepPin(StepPin):
    """The step line of the blade."""

    def __init__(self, factory: "TwinFactory", info: Any) -> None:
        super().__init__(factory, info)
        self._on_step = factory.world.on_blade_step


class TwinFactory(MockFactory):  # type: ignore[misc] # gpiozero has no types
    """Makes the pins of one world; its ticks are the times of the rig's clock.

    Args:
        world: what is at the other ends.
        clock: the rig's clock.
    """

    def __init__(self, world: "World", clock: "Clock") -> None:
        super().__init__(pin_class=TwinPin)
        self.world = world
        self._clock = clock

    def pin(self, name: Any, pin_class: Any = None, **kwargs: Any) -> Any:
        """The pin of this name; what class it is depends on what it is wired to."""
        if pin_class is None:
            for _, info in self.board_info.find_pin(name):
                pin_class = self._class_of(int(info.name[4:]))
                break
        pin = super().pin(name, pin_class=pin_class, **kwargs)
        self.world.pins[pin.gpio] = pin
        return pin

    def _class_of(self, gpio: int) -> type[TwinPin]:
        wiring = self.world.settings.pins
        if gpio == wiring.step:
            return StepPin
        if gpio == wiring.blade_step:
            return BladeStepPin
        if gpio in (wiring.blade_direction, wiring.blade_enable):
            return OutputPin
        outputs = (wiring.direction, wiring.enable, wiring.lamp_red, wiring.lamp_green)
        if gpio in (*outputs, wiring.lamp_blue, wiring.buzzer):
            return OutputPin
        return TwinPin

    def close(self) -> None:
        """Release all pins; the world keeps running."""
        super().close()
        self.world.pins.clear()

    def ticks(self) -> float:
        """Now, on the rig's clock."""
        return self._clock.time_s()
