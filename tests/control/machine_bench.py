"""An opened machine on the twin, for tests of one part of its control; a move takes milliseconds.

The run file is a list of lines in memory, and every step pulse of either axis is noted.
"""

from collections.abc import Callable
from typing import Any, TypeVar

import msgspec

from rig.clock import At, Done, Task, VirtualClock
from rig.control.interlocks import check_interlocks
from rig.control.recorder import Recorder
from rig.control.states import STATES
from rig.errors import MachineFaultError
from rig.opening import open_twin
from rig.procedures.runs import start_watching, stop_watching
from rig.runfile.model import End, Event, Flag, Line, Outcome, Samples, State
from rig.settings.model import (
    BagSettings,
    Blade,
    BoardSettings,
    CycleSettings,
    MotionSettings,
    Pins,
    Screw,
    Settings,
)
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Scenario
from rig.twin.world import World

T = TypeVar("T")

SETTINGS = Settings(
    cycle=CycleSettings(dwell_s=0.5, placing_timeout_s=20.0),
    motion=MotionSettings(rate_deg_s=3.0, homing_rate_deg_s=2.0),
    screw=Screw(microsteps=1),
)
SCENARIO = changed(draw_scenario(3, face=plain_face(0.07, 0.05)), board={"start_angle_deg": 1.0})
"""A bag that slides near 4° on a board that stands a little above home, at 160 pulses/°."""

BLADE = msgspec.structs.replace(
    SETTINGS,
    pins=Pins(blade_step=13, blade_direction=19, blade_enable=21, blade_park=4),
    blade=Blade(
        fitted=True,
        microsteps=1,
        speed_mm_s=40.0,
        acceleration_mm_s2=800.0,
        ramp_jerk_mm_s3=20_000.0,
    ),
    bag=BagSettings(length_mm=60.0, width_mm=60.0),
    board=BoardSettings(catch_mm=470.0),
)
"""With a blade, and a short bag on a high catch."""
PER_MM = 5
"""200 full steps over 40 mm."""
BEAM = 615
"""Steps from the park place to where the blade's back face clears the beam: 590 + 3 - 470 mm."""
NO_SWITCH = msgspec.structs.replace(
    BLADE, pins=msgspec.structs.replace(BLADE.pins, blade_park=None)
)
EXACT = changed(
    SCENARIO,
    bag={"skew_deg": 0.0},
    beam={"hysteresis_mm": 0.0, "response_ms": 0.0},
    blade={"fold_share": 0.0, "play_mm": 0.0, "springback_mm": 1.0},
)
"""Beam and blade as the settings say, and a bag that never folds."""


class Lines:
    """A writer that keeps the lines in memory and fails when told to."""

    def __init__(self) -> None:
        self.lines: list[Line] = []
        self.fail = False
        self.closed = False

    def write(self, line: Line) -> None:
        if self.fail:
            raise MachineFaultError("disk", "The disk is full.")
        self.lines.append(line)

    def end(self, outcome: Outcome, flags: list[Flag], samples_lost: int, bus_retries: int) -> None:
        self.write(
            End(
                outcome=outcome,
                flags=list(flags),
                samples_lost=samples_lost,
                bus_retries=bus_retries,
                lines=len(self.lines),
            )
        )

    def close(self) -> None:
        self.closed = True

    def samples(self) -> list[Samples]:
        return [line for line in self.lines if isinstance(line, Samples)]

    def events(self, name: str) -> list[Event]:
        return [line for line in self.lines if isinstance(line, Event) and line.event == name]

    @property
    def last(self) -> End:
        end = self.lines[-1]
        assert isinstance(end, End)
        return end


class Bench:
    """The machine, the world behind it, and what its motors were sent.

    Args:
        settings: of the rig.
        scenario: what is true of it.
        reads: the sensors are read in a run, which takes most of its computing; otherwise the
            machine is told the true angle.
    """

    def __init__(
        self, settings: Settings = SETTINGS, scenario: Scenario = SCENARIO, *, reads: bool = True
    ) -> None:
        self._reads = reads
        self.rig = open_twin(settings, scenario, 3)
        self.machine = self.rig.machine
        clock = self.machine.clock
        assert isinstance(clock, VirtualClock)
        assert self.rig.twin is not None
        self.clock = clock
        self.world: World = self.rig.twin.world
        self.file_s = 0.0
        """When the file of the latest `recorder` began."""
        self.begun_s = 0.0
        """When the task of the latest `run` began; the sensors were read before."""
        self.lines = Lines()
        self.pulses: list[tuple[float, float]] = []
        """Of the board: time, and the inclination by the steps before it."""
        self.blade_pulses: list[tuple[float, int]] = []
        """Of the blade: time, and the steps before it."""
        self.on_pulse: Callable[[], None] = lambda: None
        """Called right after a pulse of either axis."""
        step, blade_step = self.world.on_step, self.world.on_blade_step

        def on_step() -> None:
            step()
            self.pulses.append((clock.time_s(), self.machine.step_angle_deg()))
            self.on_pulse()

        def on_blade_step() -> None:
            assert self.machine.blade is not None
            blade_step()
            self.blade_pulses.append((clock.time_s(), self.machine.blade.count))
            self.on_pulse()

        self.world.on_step = on_step  # type: ignore[method-assign]
        self.world.on_blade_step = on_blade_step  # type: ignore[method-assign]

    def run(self, task: Task[T], *beside: Task[Any]) -> T:
        """Run a task while the angle is known, as in a run, with other tasks beside it."""

        def main() -> Task[T]:
            if self._reads:
                watchers = start_watching(self.machine)
            else:
                watchers = [self.clock.spawn(self._tell_angle(), "angle")]
            yield At(self.clock.time_s() + 0.3)
            self.begun_s = self.clock.time_s()
            for other in beside:
                self.clock.spawn(other, "beside")
            try:
                return (yield from task)
            finally:
                yield from stop_watching(self.machine, watchers)
                for item in self.left():
                    if not isinstance(item, Done):
                        self.machine.events.put(item)

        return self.clock.run(main())

    def _tell_angle(self) -> Task[None]:
        live = self.machine.live
        while True:
            live.angle_deg, live.angle_seen_s = self.world.motor.angle_deg, self.clock.time_s()
            yield At(self.clock.time_s() + 0.05)

    def left(self) -> list[Any]:
        """Drain the machine's events."""
        return list(iter(self.machine.events.get_nowait, None))

    def after(self, seconds: float, act: Callable[[], Any]) -> Task[None]:
        """A task that does something after a while."""
        yield At(self.clock.time_s() + seconds)
        act()

    def when(self, is_so: Callable[[], bool], act: Callable[[], Any]) -> Task[None]:
        """A task that does something as soon as a condition holds, within 1 ms."""
        while not is_so():
            yield At(self.clock.time_s() + 1e-3)
        act()

    def drive(self, name: str, level: bool) -> None:
        """Put an input to a level."""
        self.world.pins[getattr(self.machine.settings.pins, name)].drive(level, self.clock.time_s())

    def hold(self, name: str, level: bool) -> None:
        """Put an input to a level at which it stays, regardless of the world."""
        self.drive(name, level)
        pin = self.world.pins[getattr(self.machine.settings.pins, name)]
        pin.drive = lambda *_: None  # type: ignore[method-assign]

    def let_go(self, name: str, level: bool) -> None:
        """Let the world drive an input again that was held, from this level on."""
        del self.world.pins[getattr(self.machine.settings.pins, name)].drive
        self.drive(name, level)

    def lose_an_edge(self) -> None:
        """Let an interlock be met that counts in every state."""
        self.machine.inputs.failed_callbacks = 1

    def put_at(self, angle_deg: float) -> None:
        """Let the steps say that the board has been homed and stands at this inclination."""
        self.machine.stepper.count = round(float(self.machine.linkage.count_at(angle_deg)))
        self.machine.is_homed = True

    def recorder(self, state: State) -> Recorder:
        """Of a run that has come to a state; the machine writes into it."""
        self.file_s = self.clock.time_s()
        recorder = Recorder(self.lines, self.file_s, 10.0)
        self.machine.recorder = recorder
        for each in STATES[1 : STATES.index(state) + 1]:
            self.machine.enter(each)
        return recorder

    def wrote_s(self, event: str, **detail: Any) -> float:
        """Time of the first event of this name in the file, on the machine's clock."""
        found = (e for e in self.lines.events(event) if detail.items() <= e.detail.items())
        return self.file_s + next(found).t_s

    def met(self, state: State = "raising") -> str | None:
        """The cause that the interlocks raise now; None when they find nothing."""
        try:
            check_interlocks(self.machine, state)
        except MachineFaultError as error:
            return error.cause
        return None

    def last_run(self) -> str | None:
        """The cause for which no other run may begin; None when there is none."""
        reason = self.machine.last_run_reason
        return None if reason is None else reason.cause


def caught(bench: Bench, task: Task[Any], *beside: Task[Any]) -> str:
    """The cause of the fault that ends a task."""
    try:
        bench.run(task, *beside)
    except MachineFaultError as error:
        return error.cause
    raise AssertionError("no fault came")
