"""The twin as a process of its own: its chips on a bus node, its world behind a GPIO chip.

The program under test knows nothing of it. This process reads the pulses from the kernel's record
of writes, drives the inputs, and answers each line of its own standard input by a line of JSON.
"""

import json
import os
import select
import sys
import time
from pathlib import Path
from typing import Any

import msgspec
from cuse_bus import CuseBus
from far_pins import SimChip, Write, Writes

from rig.clock import RealClock, Task
from rig.settings.load import load_settings
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from rig.twin.invented import face_named
from rig.twin.person import attend
from rig.twin.rig import TwinRig

SEED = 11
BAG, FACE = "Heron 1", "slick"
LOOK_MS = 4


class SeenClock(RealClock):
    """The monotonic clock; while something is looked at that has been, the time when it was."""

    def __init__(self) -> None:
        super().__init__()
        self.seen_s: float | None = None

    def time_s(self) -> float:
        return time.monotonic() if self.seen_s is None else self.seen_s

    def pause_s(self, seconds: float) -> None:
        """A transfer takes its own time here."""


class Line:
    """One input of the program, as the world drives it."""

    def __init__(self, chip: SimChip, gpio: int, level: bool) -> None:
        self._chip = chip
        self._gpio = gpio
        self.wanted = level
        self.drive(level)

    def drive(self, level: bool, time_s: float = 0.0) -> None:
        self.wanted = level
        self._chip.drive(self._gpio, level)

    def hold(self) -> None:
        """Claiming a line sets its pull; a contact is stronger than that."""
        if self._chip.level(self._gpio) != self.wanted:
            self._chip.drive(self._gpio, self.wanted)


def make_twin(settings: Settings, clock: RealClock) -> TwinRig:
    """The simulated rig that all processes of these tests speak of."""
    return TwinRig(settings, draw_scenario(SEED, face=face_named(SEED, BAG, FACE)), SEED, clock)


class TwinProcess:
    """The loop that serves bus and pins, in one thread.

    Args:
        settings: how the rig is wired.
        chip: the header.
        writes: to it.
        bus: the bus node.
    """

    def __init__(
        self, clock: SeenClock, twin: TwinRig, chip: SimChip, writes: Writes, bus: CuseBus
    ) -> None:
        self._clock = clock
        self._twin = twin
        self._world = world = twin.world
        self._chip = chip
        self._writes = writes
        self._bus = bus
        self._pins = twin.settings.pins
        self._lines = {
            gpio: Line(chip, gpio, world.level(gpio))
            for gpio in (
                self._pins.emergency_stop,
                self._pins.limit_lower,
                self._pins.limit_upper,
                self._pins.start_button,
                self._pins.stop_button,
                self._pins.beam_1,
            )
        }
        pins: dict[int, Any] = world.pins
        pins.update(self._lines)
        self._person: Task[None] = attend(world, clock)
        self._person_due_s = 0.0
        self.pulses = 0

    def serve(self) -> None:
        """Serve until standard input is closed."""
        poll = select.poll()
        poll.register(self._bus.fileno(), select.POLLIN)
        poll.register(sys.stdin.fileno(), select.POLLIN)
        while True:
            ready = [descriptor for descriptor, _ in poll.poll(LOOK_MS)]
            now_s = time.monotonic()
            self._catch_up()
            self._clock.seen_s = now_s
            if self._bus.fileno() in ready:
                self._bus.serve()
            if sys.stdin.fileno() in ready:
                command = os.read(sys.stdin.fileno(), 4096).decode().split()
                if not command:
                    return
                self._obey(*command)
            self._live(now_s)
            self._clock.seen_s = None

    def _catch_up(self) -> None:
        """Let everything happen that was written to the pins."""
        for write in self._writes.take():
            self._clock.seen_s = write.t_s
            self._take(write)
        if self._world.motor.is_enabled and not self._chip.level(self._pins.enable):
            self._world.on_output(self._pins.enable, False)  # let go, not written

    def _take(self, write: Write) -> None:
        if write.gpio != self._pins.step:
            self._world.on_output(write.gpio, write.level)
        elif write.level:
            self.pulses += 1
            self._world.on_step()

    def _live(self, now_s: float) -> None:
        if not self._world.motor.is_enabled:  # lines are claimed before anything moves
            for line in self._lines.values():
                line.hold()
        if now_s >= self._person_due_s:
            request = next(self._person)
            self._person_due_s = request.time_s  # type: ignore[union-attr]

    def _obey(self, verb: str, what: str = "", value: str = "") -> None:
        if verb in ("press", "release"):
            self._world.press(what, verb == "press")
        elif verb == "fallback":
            self._chip.drive(int(what), value == "high")
        motor = self._world.motor
        truths = msgspec.to_builtins(self._twin.truths)
        answer = {
            "angle_deg": motor.angle_deg,
            "is_enabled": motor.is_enabled,
            "pulses": self.pulses,
            "lost": motor.lost,
            "truths": truths,
        }
        print(json.dumps(answer), flush=True)


def main() -> None:
    settings = load_settings(Path(sys.argv[1]))
    clock = SeenClock()
    twin = make_twin(settings, clock)
    with (
        SimChip() as chip,
        Writes(chip.base, "twin") as writes,
        CuseBus(settings.bus.number, twin.bus) as bus,
    ):
        process = TwinProcess(clock, twin, chip, writes, bus)
        print("ready", flush=True)
        process.serve()


if __name__ == "__main__":
    main()
