"""Anything in any order: the driver is off unless something moves, and a stop stops.

hypothesis plays a person, a clumsy electrician and time; the machine runs as the service does.
"""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from rig.clock import At, Done, Task, VirtualClock
from rig.control.states import MOVING
from rig.control.stop import StopRequest
from rig.opening import open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.procedures.standby import stand_by
from rig.runfile.reader import read_run
from tests.faults.harness import BLADE, HAND
from tests.twin_of import twin_of

SOON_S = 0.06
"""A little more than the control loop's look at the inputs."""


class RigUnderTest(RuleBasedStateMachine):
    """The service on the twin, the bag placed by hand."""

    bench = HAND

    @initialize()
    def begin(self) -> None:
        self.folder = TemporaryDirectory()
        self.rig = rig = open_twin(self.bench.settings, self.bench.scenario, 3)
        clock = rig.machine.clock
        assert isinstance(clock, VirtualClock)
        self.clock = clock
        self.world = twin_of(rig).world
        self.stop_since_s: float | None = None
        self.worst: list[str] = []
        self.world.on_step = self._watched("board", self.world.on_step)  # type: ignore[method-assign]
        self.world.on_blade_step = self._watched(  # type: ignore[method-assign]
            "blade", self.world.on_blade_step
        )
        rig.__enter__()
        self.ended = self.clock.queue()
        self.clock.spawn(stand_by(rig.machine, self._series), "service", report_to=self.ended)

    def _watched(self, axis: str, step: Callable[[], None]) -> Callable[[], None]:
        def on_step() -> None:
            at = f"a step of the {axis} at {self.clock.time_s():.4f} s"
            if self.stop_since_s is not None:
                self.worst.append(f"{at} with the stop level set")
            if self.rig.machine.latched is not None:
                self.worst.append(f"{at} with a latched fault")
            step()

        return on_step

    def _is_driven(self) -> bool:
        pusher = self.world.pusher
        return self.world.motor.is_enabled or (pusher is not None and pusher.body.is_enabled)

    def _series(self) -> Task[Any]:
        now = self.clock.utc_now()
        asked = plan_series(self.bench.settings, 2, source="twin", started=now)
        return make_runs(self.rig.machine, asked, Path(self.folder.name), start_now=True)

    def _waits(self, seconds: float) -> Task[None]:
        yield At(self.clock.time_s() + seconds)

    def teardown(self) -> None:
        if hasattr(self, "rig"):
            self.rig.machine.events.put(StopRequest("SIGTERM", ends_program=True))
            self.clock.run(self._waits(5.0))
            assert not self._is_driven()
            self.rig.__exit__(None, None, None)
            for path in Path(self.folder.name).rglob("*.run.jsonl"):
                run = read_run(path)
                assert run.end is not None
                assert run.problems == []
            self.folder.cleanup()

    @rule(seconds=st.sampled_from([0.01, 0.1, 0.5, 2.0, 2.0, 7.0]))
    def time_passes(self, seconds: float) -> None:
        self.clock.advance_to(self.clock.time_s() + seconds)

    @rule(seconds=st.sampled_from([0.005, 0.1, 0.2, 0.2, 1.0]))
    def start_is_pressed(self, seconds: float) -> None:
        self.time_passes(0.1)
        self.world.press("start_button", True)
        self.time_passes(seconds)
        self.world.press("start_button", False)
        self.time_passes(0.1)

    @rule(seconds=st.floats(0.3, 12.0))
    def a_run_is_begun(self, seconds: float) -> None:
        self.emergency_stop_is_released()
        self.start_is_pressed(0.2)
        self.time_passes(seconds)

    @rule()
    def stop_is_pressed(self) -> None:
        self.world.press("stop_button", True)
        self.time_passes(0.2)
        self.world.press("stop_button", False)

    @rule()
    def emergency_stop_is_pressed(self) -> None:
        if self.stop_since_s is None:
            self.stop_since_s = self.clock.time_s()
            self.world.press("emergency_stop", True)

    @rule()
    def emergency_stop_is_released(self) -> None:
        self.stop_since_s = None
        self.world.press("emergency_stop", False)

    @rule()
    def bag_is_placed(self) -> None:
        self.world.place_bag()

    @rule(name=st.sampled_from(["beam_1", "limit_upper"]))
    def a_wire_is_touched(self, name: str) -> None:
        pin = self.world.pins[getattr(self.bench.settings.pins, name)]
        pin.drive(True, self.clock.time_s())
        self.clock.advance_to(self.clock.time_s() + 0.002)
        pin.drive(False, self.clock.time_s())

    @rule(times=st.sampled_from([2, 60]))
    def the_bus_is_disturbed(self, times: int) -> None:
        twin_of(self.rig).bus.fail(1, times=times)

    @invariant()
    def the_driver_is_off_unless_something_moves(self) -> None:
        if hasattr(self, "rig") and self._is_driven():
            moving = MOVING if self.bench is BLADE else MOVING - {"placing"}
            assert self.rig.machine.live.state in moving
            assert self.stop_since_s is None or self.clock.time_s() - self.stop_since_s < SOON_S

    @invariant()
    def no_step_is_made_while_the_stop_level_is_set(self) -> None:
        assert getattr(self, "worst", []) == []

    @invariant()
    def the_service_goes_on(self) -> None:
        if hasattr(self, "ended"):
            done = self.ended.get_nowait()
            assert not isinstance(done, Done), done


class BladeUnderTest(RigUnderTest):
    """The same with a blade."""

    bench = BLADE


def _settings(max_examples: int) -> settings:
    return settings(
        max_examples=max_examples,
        stateful_step_count=20,
        deadline=None,
        derandomize=True,
        suppress_health_check=[HealthCheck.too_slow],
    )


TestInvariants = RigUnderTest.TestCase
TestInvariants.settings = _settings(12)
TestBlade = BladeUnderTest.TestCase
TestBlade.settings = _settings(6)
