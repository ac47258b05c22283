"""Beams, limit switches, emergency stop and buttons: edges go into a queue, levels can be asked.

All contacts go to ground against a pull-up. The limit switches and the emergency stop are closed
at rest, so a broken wire reads as a stop; the buttons are open at rest.
"""

from typing import Any, NamedTuple

from rig.clock import Clock, Queue
from rig.errors import BadInputError
from rig.settings.model import Pins

SAME_CLOCK_S = 1e-3
"""Pin stamps this near to the rig's clock are taken to be of the same clock."""

OLDEST_STAMP_S = 2.0
"""Largest plausible age of an edge; an older or future stamp is of another clock."""


class Edge(NamedTuple):
    """A change of an input; `active` means broken, reached, pressed."""

    t_s: float
    """Monotonic time, as the pin stamped it."""
    name: str
    active: bool


class _Watch:
    """Receives the edges of one pin. Pins hold it weakly: `Inputs` keeps it."""

    def __init__(self, inputs: "Inputs", name: str, device: Any, active_high: bool) -> None:
        self._inputs = inputs
        self._name = name
        self._active_high = active_high
        self.device = device
        self.pin = device.pin

    def changed(self, ticks: float, state: Any) -> None:
        """Queue the edge. An exception here would end the edges of every pin, so none gets out."""
        try:
            self._inputs.take(self._name, ticks, bool(state) == self._active_high)
        except Exception:
            self._inputs.failed_callbacks += 1

    @property
    def active(self) -> bool:
        return bool(self.pin.state) == self._active_high


class Inputs:
    """All inputs of the rig.

    Args:
        clock: the rig's clock.
        factory: a gpiozero pin factory; its `ticks()` is the clock of its stamps.
        pins: which pin is what.
        events: receives an `Edge` for every change.
        has_motor: without one there are no limit switches and no emergency stop.
    """

    def __init__(
        self, clock: Clock, factory: Any, pins: Pins, events: Queue, *, has_motor: bool = True
    ) -> None:
        self._clock = clock
        self._factory = factory
        self._events = events
        self._pins = pins
        self._has_motor = has_motor
        self._same_clock = True
        self._watches: dict[str, _Watch] = {}
        self.failed_callbacks = 0
        """Edges that could not be queued."""
        self.bad_stamps = 0
        """Edges whose stamp made no sense, so that the time of the call was taken."""

    def open(self) -> None:
        """Claim the pins and begin to queue edges.

        Raises:
            BadInputError: if a pin is in use or does not exist.
        """
        from gpiozero import InputDevice

        self._same_clock = abs(self._clock.time_s() - self._factory.ticks()) < SAME_CLOCK_S
        for name, number, active_high in self._wiring():
            try:
                device = InputDevice(number, pull_up=True, pin_factory=self._factory)
            except Exception as error:  # lgpio.error derives from Exception alone
                self.close()
                raise BadInputError(
                    f"GPIO {number} ({name} under [pins] in rig.toml) cannot be used: {error}."
                ) from error
            watch = _Watch(self, name, device, active_high)
            self._watches[name] = watch
            watch.pin.edges = "both"
            watch.pin.when_changed = watch.changed

    def close(self) -> None:
        """Release the pins; harmless when they are not open."""
        watches, self._watches = self._watches, {}
        for watch in watches.values():
            watch.pin.when_changed = None
            watch.device.close()

    def __enter__(self) -> "Inputs":
        self.open()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def beams(self) -> int:
        """Number of beams: 1 or 2."""
        return 1 if self._pins.beam_2 is None else 2

    @property
    def emergency_stop_pressed(self) -> bool:
        """Whether the emergency stop's second contact is open (or its wire broken)."""
        return self._has_motor and self._watches["emergency_stop"].active

    @property
    def limit_lower_reached(self) -> bool:
        """Whether the lower limit switch is open (or its wire broken)."""
        return self._has_motor and self._watches["limit_lower"].active

    @property
    def limit_upper_reached(self) -> bool:
        """Whether the upper limit switch is open (or its wire broken)."""
        return self._has_motor and self._watches["limit_upper"].active

    @property
    def start_pressed(self) -> bool:
        """Whether the start button is down, bounces included."""
        return self._watches["start_button"].active

    @property
    def stop_pressed(self) -> bool:
        """Whether the stop button is down, bounces included."""
        return self._watches["stop_button"].active

    @property
    def has_park_switch(self) -> bool:
        """Whether the blade has a park switch."""
        return self._pins.blade_park is not None

    @property
    def blade_parked(self) -> bool:
        """Whether the switch at the blade's park position is open (or its wire broken)."""
        return self._watches["blade_park"].active

    def beam_broken(self, beam: int = 1) -> bool:
        """Whether the beam is broken; `beam` is 1 or 2 (downhill)."""
        return self._watches[f"beam_{beam}"].active

    def levels(self) -> dict[str, bool]:
        """Whether each input is active, by name."""
        return {name: watch.active for name, watch in self._watches.items()}

    def take(self, name: str, ticks: float, active: bool) -> None:
        """Queue an edge (called from the pins)."""
        now_s = self._clock.time_s()
        if self._same_clock:
            t_s = ticks
        else:
            t_s = now_s - self._factory.ticks_diff(self._factory.ticks(), ticks)
        if not -SAME_CLOCK_S <= now_s - t_s <= OLDEST_STAMP_S:
            self.bad_stamps += 1
            t_s = now_s
        self._events.put(Edge(t_s, name, active))

    def _wiring(self) -> list[tuple[str, int, bool]]:
        """Name, pin, and whether a high line means active."""
        pins = self._pins
        wiring = [
            ("emergency_stop", pins.emergency_stop, True),
            ("limit_lower", pins.limit_lower, True),
            ("limit_upper", pins.limit_upper, True),
            ("beam_1", pins.beam_1, pins.beam_broken_is_high),
            ("start_button", pins.start_button, False),
            ("stop_button", pins.stop_button, False),
        ]
        if not self._has_motor:
            wiring = wiring[3:]
        if pins.beam_2 is not None:
            wiring.append(("beam_2", pins.beam_2, pins.beam_broken_is_high))
        if pins.blade_park is not None:
            wiring.append(("blade_park", pins.blade_park, True))
        return wiring
